"""A report as one self-contained HTML page: no script, no link, prints on A4 and Letter."""

from collections.abc import Iterator, Mapping, Sequence
from html import escape

from capture.composition.results import VisitResult
from capture.composition.uncertainty import one_decimal
from capture.language.intents import length_from_plain
from capture.report.body import body_svg
from capture.report.charts import Point, profile_svg, table_html, trend_svg
from capture.report.record import ReadingRecord, VisitRecord
from capture.report.results import sites_of_record
from capture.report.story import Story, client_lines, deviations, method_lines
from capture.report.summary import CAUTION
from capture.units import millimetres

_PROFILES = 3
"""Visits in the profile; more bars a site could not be told apart."""

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
_CSS = """
@page { margin: 12mm }
* { box-sizing: border-box }
body { font: 11pt/1.4 sans-serif; color: #111; max-width: 186mm; margin: 6mm auto; padding: 0 3mm }
h1 { font-size: 17pt; margin: 0 } h2 { font-size: 12.5pt; margin: 5mm 0 1.5mm }
header p { margin: 0.5mm 0 3mm; color: #444 }
.plain { font-size: 13pt; border-left: 1.2mm solid #c8743a; padding: 0.5mm 0 0.5mm 4mm }
.plain p { margin: 1.2mm 0 }
svg { max-width: 100%; display: block; margin: 0 auto }
svg.pygal-chart { height: auto; width: 100% }
table { border-collapse: collapse; width: 100%; font-size: 9pt; margin: 1mm 0 2mm }
th, td { text-align: left; padding: 0.7mm 1.5mm; border-bottom: 0.2mm solid #bbb }
td { vertical-align: top } th { border-bottom: 0.4mm solid #555 }
td.n { text-align: right; font-variant-numeric: tabular-nums }
.raw { font-size: 7.6pt; line-height: 1.25 } .raw td, .raw th { padding: 0.4mm 1mm }
.small { font-size: 9pt; color: #333 } .small p { margin: 0.7mm 0 }
section { break-inside: avoid } .file { break-before: page } .file section { break-inside: auto }
thead { display: table-header-group } tr { break-inside: avoid }
@media print { body { margin: 0; max-width: none; padding: 0 } }
"""


def page_lines(story: Story) -> Iterator[str]:
    """The page as lines; everything that came from outside is escaped."""
    visit = story.visit
    day = visit.started_at[:10]
    yield "<!DOCTYPE html>"
    yield '<html lang="en"><head><meta charset="utf-8">'
    yield f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">'
    yield '<meta name="referrer" content="no-referrer">'
    yield f"<title>Skinfolds of {escape(story.person.client)}, {day}</title>"
    yield f"<style>{_CSS}</style></head><body><main>"
    yield f"<header><h1>{escape(story.person.client)}</h1>"
    yield f"<p>Skinfolds of {day}, measured by {escape(story.person.assessor)}</p></header>"
    yield from _section("In plain words", _paragraphs(client_lines(story)), "plain")
    yield from _folds(story)
    yield from _profile(story)
    yield from _trends(story)
    yield from _section("How it was measured", _paragraphs(method_lines(story)), "small")
    yield from _section("The assessor's own error", _errors(story), "small")
    yield from _section("Cautions", _paragraphs(CAUTION), "small")
    yield "</main>"
    yield from _file(story)
    yield "</body></html>"


def _section(title: str, inside: str, css: str = "") -> Iterator[str]:
    yield f'<section><h2>{escape(title)}</h2><div class="{css}">{inside}</div></section>'


def _paragraphs(lines: Sequence[str]) -> str:
    return "".join(f"<p>{escape(line)}</p>" for line in lines)


def _folds(story: Story) -> Iterator[str]:
    if story.result is None or not story.result.sites:
        return
    values = {each.site: each.settled.value_mm for each in story.result.sites}
    yield from _section("Where the folds were measured", body_svg(values))


def _with_values(story: Story) -> list[tuple[VisitRecord, VisitResult]]:
    """The visit and the earlier ones that have any folds, the newest first."""
    listed = [(story.visit, story.result), *story.earlier]
    return [(visit, result) for visit, result in listed if result is not None and result.sites]


def _profile(story: Story) -> Iterator[str]:
    shown = _with_values(story)[:_PROFILES]
    if not shown or shown[0][0] is not story.visit:
        return
    sites = sites_of_record(story.visit)
    bars = []
    for visit, result in shown:
        values = {each.site: each.settled.value_mm for each in result.sites}
        bars.append((visit.started_at[:10], [values.get(site) for site in sites]))
    chart = profile_svg("Folds by site, mm", sites, bars)
    yield from _section("Site by site", chart + _changes(story))


def _changes(story: Story) -> str:
    if story.change is None:
        return ""
    rows = []
    for each in story.change.sites:
        change = each.change_mm
        limit = each.smallest_real_change_mm
        words = each.verdict.value
        if change is None:
            words = each.text.partition(": ")[2]
        rows.append(
            (
                each.what.replace("_", " "),
                "" if each.before_mm is None else f"{each.before_mm:.1f}",
                "" if each.now_mm is None else f"{each.now_mm:.1f}",
                "" if change is None else f"{change:+.1f}".replace("-", "−"),
                "" if limit is None else one_decimal(limit),
                words,
            )
        )
    return table_html(
        ("site", "before, mm", "now, mm", "change, mm", "smallest real change, mm", "that is"), rows
    )


def _trends(story: Story) -> Iterator[str]:
    shown = list(reversed(_with_values(story)))
    sums = [(v, r) for v, r in shown if r.sum_mm is not None and r.sum_mm]
    if len(sums) < 2:
        return
    tem = story.tem_sum_mm
    points = []
    for visit, result in sums:
        value = result.sum_mm or 0.0
        reach = None if tem is None else 1.96 * tem / 2**0.5
        low, high = (None, None) if reach is None else (value - reach, value + reach)
        points.append(Point(visit.started_at[:10], value, low, high))
    bars = (
        "Bars: 95 percent range of the assessor's own error, from two readings a site."
        if tem is not None
        else "No error bars: the assessor's own error is not known at every site yet."
    )
    chart = trend_svg("Sum of folds, mm", "mm", points)
    yield from _section("The sum over time", f"{chart}<p class='small'>{bars}</p>")
    if story.show_fat:
        yield from _fat_trend(shown)


def _fat_trend(shown: Sequence[tuple[VisitRecord, VisitResult]]) -> Iterator[str]:
    points = []
    for visit, result in shown:
        if result.fat_percent is None:
            continue
        spread = None if result.prediction is None else result.prediction.spread
        low, high = (None, None) if spread is None else (spread.low, spread.high)
        points.append(Point(visit.started_at[:10], result.fat_percent, low, high))
    if len(points) > 1:
        chart = trend_svg("Estimated body fat, percent", "%", points)
        note = "Bars: the estimate plus and minus its standard error; the same person's errors"
        yield from _section(
            "The estimate over time",
            f"{chart}<p class='small'>{note} lean the same way each time, so changes are surer "
            "than the level.</p>",
        )


def _errors(story: Story) -> str:
    lines = [each.text for each in story.errors]
    return _paragraphs(lines or ["Not known yet: no two readings of a site are on record."])


def _file(story: Story) -> Iterator[str]:
    """The second page: everything as it was taken."""
    visit = story.visit
    yield f'<article class="file"><h1>For the file: visit {escape(visit.id)}</h1>'
    signed = _signed(visit)
    yield _paragraphs(
        (
            f"Client {story.person.client}. Assessor {story.person.assessor}. "
            f"Begun {visit.started_at}, last entry {visit.last_at}. {signed}",
        )
    )
    found = deviations(visit)
    yield from _section("Deviations", _paragraphs(found or ("None on record.",)), "small")
    yield from _section(
        "All readings", table_html(_HEADS, [_row(each) for each in visit.readings], "raw")
    )
    if visit.tapes:
        yield from _section("Tape marks", _tapes(visit))
    if visit.amendments:
        yield from _section("Amendments", _amendments(visit))
    yield "</article>"


_HEADS = (
    "no.", "site", "circuit", "mm", "state", "counts", "heard", "sure", "runner-up", "by", "time",
    "doubts",
)  # fmt: skip


def _row(each: ReadingRecord) -> tuple[str, ...]:
    counts = each.counts_tenths_mm
    rival = each.runner_up
    return (
        str(each.number),
        each.site.replace("_", " "),
        str(each.circuit),
        millimetres(each.value_tenths_mm),
        each.state,
        "" if counts is None else millimetres(counts),
        each.words,
        "" if each.confidence is None else f"{each.confidence * 100:.0f} %",
        "" if rival is None else f"{rival[0]} {rival[1] * 100:.0f} %",
        each.source,
        each.heard_at[11:19],
        ", ".join(
            kind.replace("_", " ")
            if other is None
            else f"{kind.replace('_', ' ')} {other / 10:.1f}"
            for kind, other in each.doubts
        ),
    )


def _signed(visit: VisitRecord) -> str:
    named = visit.sign_off
    if named is not None:
        return f"Signed off by {named['by_name']} on {named['at']}."
    if visit.signed_at is not None:
        return f"Signed off at the visit, {visit.signed_at}."
    return "Not signed off."


def _tapes(visit: VisitRecord) -> str:
    rows = []
    for site, fact in visit.tapes.items():
        length, mark = fact.get("length", {}), fact.get("mark", {})
        rows.append((site.replace("_", " "), _length(length), _length(mark)))
    return table_html(("site", "length", "mark"), rows, "raw")


def _length(plain: Mapping[str, int]) -> str:
    try:
        return str(length_from_plain(plain))
    except (KeyError, TypeError):
        return "not readable"


def _amendments(visit: VisitRecord) -> str:
    by_number = {each.number: each for each in visit.readings}
    rows = []
    for each in visit.amendments:
        reading = by_number.get(each["number"])
        where = "visit" if reading is None else f"{reading.site} {reading.circuit}"
        value = each["value_tenths_mm"]
        rows.append(
            (
                each["at"],
                each["by_name"],
                where.replace("_", " "),
                each["kind"].replace("_", " ") + ("" if value is None else f" {value / 10:.1f} mm"),
                each["reason"],
                "after sign-off" if each["after_sign_off"] else "",
            )
        )
    return table_html(("at", "by", "what", "change", "reason", ""), rows, "raw")
