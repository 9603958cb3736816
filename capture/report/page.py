"""A report as one self-contained HTML page: no script, no link, prints on A4 and Letter."""

from collections.abc import Iterator, Sequence

from capture.composition.change import Change
from capture.composition.measured import Side
from capture.composition.uncertainty import one_decimal
from capture.report.body import body_svg
from capture.report.charts import profile_svg, trend_svg
from capture.report.file_page import file_lines
from capture.report.markup import escape, named, paragraphs, section, table_html
from capture.report.names import spaced
from capture.report.record import VisitRecord
from capture.report.results import measured, sites_of_record
from capture.report.story import Story, client_lines, differing
from capture.report.summary import CAUTION
from capture.report.trend import Pair, Trend, fat_trend, sum_trend, visit_names

_ERROR = 4
"""The column of the table of changes that holds the error of measuring."""

_PROFILES = 3
"""Visits in the profile; more bars a site could not be told apart."""

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
_CSS = """
@page {
  margin: 12mm 12mm 14mm;
  @bottom-left { content: "@named"; font: 8pt sans-serif; color: #555 }
  @bottom-right { content: counter(page) " of " counter(pages); font: 8pt sans-serif; color: #555 }
}
* { box-sizing: border-box }
body { overflow-wrap: break-word }
body { font: 11pt/1.4 sans-serif; color: #111; max-width: 186mm; margin: 6mm auto; padding: 0 3mm }
h1 { font-size: 17pt; margin: 0; overflow-wrap: anywhere }
h2 { font-size: 12pt; margin: 4mm 0 1mm; break-after: avoid }
.whole { white-space: nowrap }
header p { margin: 0.5mm 0 2mm; color: #444 }
.plain { font-size: 12.5pt; border-left: 1.2mm solid #c8743a; padding: 0.5mm 0 0.5mm 4mm }
.plain p { margin: 1mm 0 }
svg { max-width: 100%; display: block; margin: 0 auto } svg.body { height: auto }
svg.pygal-chart { height: auto; width: 100% }
svg.pygal-chart .text-overlay text.value {
  transform: translate(0, -24px); paint-order: stroke; stroke: #fff; stroke-width: 5px
}
table { border-collapse: collapse; width: 100%; font-size: 9pt; margin: 1mm 0 1.5mm }
th, td { text-align: left; padding: 0.5mm 1.5mm; border-bottom: 0.2mm solid #bbb }
td { vertical-align: top; overflow-wrap: anywhere } th { border-bottom: 0.4mm solid #555 }
td.n, th.n { text-align: right; font-variant-numeric: tabular-nums; white-space: nowrap }
table.change tbody tr:first-child td { font-weight: bold }
table.change td:first-child, table.change th { white-space: nowrap }
.raw { font-size: 7.6pt; line-height: 1.25 } .raw td, .raw th { padding: 0.4mm 1mm }
.raw td { overflow-wrap: break-word } .raw td:nth-child(8) { white-space: nowrap }
.raw td:nth-child(7), .raw td:nth-child(9), .raw td:last-child { overflow-wrap: anywhere }
.small { font-size: 9pt; color: #333 } .small p, p.small { margin: 0.5mm 0 }
.sites { display: grid; grid-template-columns: repeat(4, 1fr); gap: 2mm 3mm; margin: 1mm 0 }
.sites { break-inside: avoid }
figure.site { margin: 0; break-inside: avoid } figure.site svg { height: 38mm }
figcaption { font-size: 7.6pt; line-height: 1.25; overflow-wrap: anywhere }
section { break-inside: avoid } .file section { break-inside: auto }
.file { break-before: page; margin-top: 8mm } .file h1 { font-size: 14pt }
thead { display: table-header-group } tr { break-inside: avoid }
@media print { body { margin: 0; max-width: none; padding: 0 } .file { margin-top: 0 } }
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
    # The name last: written from right to left it would take what follows it along.
    yield f"<title>Skinfolds of {day}: {escape(story.person.client)}</title>"
    # Sheets that come apart are put together by day, visit and page; a name would be in the way
    # where the paper is shown around.
    css = _CSS.replace("@named", f"{_digits(day)}, visit {_digits(visit.id[:8])}")
    yield f"<style>{css}</style></head><body><main>"
    yield f"<header><h1>{named(story.person.client)}</h1>"
    yield f"<p>Skinfolds of {day}, measured by {named(story.person.assessor)}</p></header>"
    yield from section("In plain words", paragraphs(client_lines(story)), "plain")
    yield from _folds(story)
    yield from _change(story)
    yield from _profile(story)
    yield from _trends(story)
    yield from _meaning(story)
    yield from section("Cautions", paragraphs(_cautions(story)), "small")
    yield "</main>"
    yield from file_lines(story)
    yield "</body></html>"


def _digits(text: str) -> str:
    """Only what a date or an identifier is made of: it goes into the style sheet."""
    return "".join(each for each in text if each.isascii() and (each.isalnum() or each == "-"))


def _folds(story: Story) -> Iterator[str]:
    taken = measured(story.visit).measurements
    if not taken:
        return
    values = _values(story.visit)
    left = [each.site for each in taken if each.conditions.side is Side.LEFT]
    yield from section("Where the folds were measured", body_svg(values, left))


def _with_values(story: Story) -> list[Pair]:
    """The visit and the earlier ones that have any folds, the newest first."""
    listed = [(story.visit, story.result), *story.earlier]
    return [(visit, result) for visit, result in listed if _values(visit)]


def _values(visit: VisitRecord) -> dict[str, float]:
    """The settled folds in mm by site; they need neither sex nor age nor an equation."""
    return {each.site: each.settled.value_mm for each in measured(visit).measurements}


def _change(story: Story) -> Iterator[str]:
    """Sum and sites against the last visit, each with what measuring alone could do."""
    if story.change is None or story.before is None:
        return
    rows = [_change_row(each) for each in (story.change.sum, *story.change.sites)]
    when = story.before.started_at[:10]
    heads = [
        "", f"{when}, mm", "now, mm", "change, mm", "error, mm", "that is",
    ]  # fmt: skip
    notes = []
    if any(row[_ERROR] for row in rows):
        notes.append(
            "Beside each change the error of measuring: measuring alone makes a smaller difference "
            "95 times of 100, so a larger change is held to be real."
        )
    else:
        # Of none of them more can be said than the note below says once.
        alike = len({row[_ERROR + 1] for row in rows}) == 1
        gone = slice(_ERROR, _ERROR + (2 if alike else 1))
        del heads[gone]
        rows = [(*row[:_ERROR], *row[gone.stop :]) for row in rows]
    if story.change.sum.note:
        notes.append(f"The sum: {story.change.sum.note}")
    notes.extend(differing(story.change))
    yield from section(
        "The change since the last visit",
        f'{table_html(heads, rows, "change")}<div class="small">{paragraphs(notes)}</div>',
    )


def _change_row(each: Change) -> tuple[str, ...]:
    change, limit = each.change_mm, each.smallest_real_change_mm
    words = each.verdict.value
    return (
        spaced(each.what),
        "" if each.before_mm is None else one_decimal(each.before_mm),
        "" if each.now_mm is None else one_decimal(each.now_mm),
        "" if change is None else f"{'−' if change < 0 else '+'}{one_decimal(abs(change))}",
        "" if limit is None else one_decimal(limit),
        words,
    )


def _profile(story: Story) -> Iterator[str]:
    shown = _with_values(story)[:_PROFILES]
    # Alone, a visit's folds stand on the outline already.
    if len(shown) < 2 or shown[0][0] is not story.visit:
        return
    sites, names = sites_of_record(story.visit), visit_names([visit for visit, _ in shown])
    bars = []
    for visit, _ in shown:
        values = _values(visit)
        bars.append((names[visit.id], [values.get(site) for site in sites]))
    yield from section("Site by site", profile_svg("Folds by site, mm", sites, bars))


def _trends(story: Story) -> Iterator[str]:
    shown = list(reversed(_with_values(story)))
    found = sum_trend(shown, story.visit, story.tems_mm)
    yield from _trend("The sum over time", "Sum of folds, mm", "mm", found)
    result = story.result
    if story.show_fat and result is not None and result.fat_percent is not None:
        found = fat_trend(shown, story.visit, result)
        yield from _trend("The estimate over time", "Estimated body fat, percent", "%", found)


def _trend(title: str, chart: str, unit: str, found: Trend) -> Iterator[str]:
    if len(found.points) < 2:
        if found.left_out:
            told = ("There are no two visits that were measured the same way.", found.left_out)
            yield from section(title, paragraphs(told), "small")
        return
    lines = (*found.notes, *([found.left_out] if found.left_out else []))
    notes = f'<div class="small">{paragraphs(lines)}</div>'
    yield from section(title, trend_svg(chart, unit, found) + notes)


def _meaning(story: Story) -> Iterator[str]:
    shown = story.shown
    lines = () if shown is None else tuple(shown.what_follows())
    if lines:
        yield from section("What follows from the estimate", paragraphs(lines), "small")


def _cautions(story: Story) -> Sequence[str]:
    return (*CAUTION, *(() if story.shown is None else story.shown.cautions))
