"""The page of a report for the file: every reading, what was settled and changed, own errors."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime

from capture.composition.assessor import ERROR_HEADS, LIMITS_NOTE, WHY_MIN_PAIRS, SiteError
from capture.language.intents import length_from_plain
from capture.report.deviations import deviations
from capture.report.markup import escape, named, paragraphs, section, table_html
from capture.report.names import spaced
from capture.report.record import ReadingRecord, VisitRecord
from capture.report.remarks import remark_lines
from capture.report.results import sites_of_record
from capture.report.site_pictures import site_pictures
from capture.report.story import Story, method_lines
from capture.units import millimetres


def file_lines(story: Story) -> Iterator[str]:
    """The second page as lines: everything as it was taken."""
    visit = story.visit
    yield f'<article class="file"><h1>For the file: visit {escape(visit.id)}</h1>'
    signed = _signed(visit)
    yield (
        f"<p>Client {named(story.person.client)}. Assessor {named(story.person.assessor)}. "
        f"Begun {_moment(visit.started_at)}, last entry {_moment(visit.last_at)}. {signed}</p>"
    )
    yield from section("How it was measured", paragraphs(method_lines(story)), "small")
    found = deviations(visit)
    yield from section("Deviations", paragraphs(found or ("None on record.",)), "small")
    yield from section(
        "All readings", table_html(_HEADS, [_row(each) for each in visit.readings], "raw")
    )
    notes = remark_lines(visit)
    if notes:
        yield from section("Notes", paragraphs(notes))
    pictures = site_pictures(visit)
    if pictures:
        yield from section("How each site was found", pictures)
    if visit.tapes:
        yield from section("Tape marks", _tapes(visit))
    if visit.amendments:
        yield from section("Amendments", _amendments(visit))
    yield from section("The assessor's own error", _errors(story), "small")
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
        spaced(each.site),
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
            spaced(kind) if other is None else f"{spaced(kind)} {other / 10:.1f}"
            for kind, other in each.doubts
        ),
    )


def _signed(visit: VisitRecord) -> str:
    """By whom and when, as HTML."""
    by_name = visit.sign_off
    if by_name is not None:
        return f"Signed off by {named(by_name['by_name'])} on {_moment(by_name['at'])}."
    if visit.signed_at is not None:
        return f"Signed off at the visit, {_moment(visit.signed_at)}."
    return "Not signed off."


def _moment(at: str) -> str:
    """A moment with its offset, as HTML that is not broken: '2026-05-04 09:30:00 +02:00'."""
    try:
        whole = datetime.fromisoformat(at).isoformat(timespec="seconds")
    except ValueError:
        told = at
    else:
        told = f"{whole[:10]} {whole[11:19]} {whole[19:]}".rstrip()
    return f'<span class="whole">{escape(told)}</span>'


def _tapes(visit: VisitRecord) -> str:
    rows = []
    for site, fact in visit.tapes.items():
        length, mark = fact.get("length", {}), fact.get("mark", {})
        rows.append((spaced(site), _length(length), _length(mark)))
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
                spaced(where),
                spaced(each["kind"]) + ("" if value is None else f" {value / 10:.1f} mm"),
                each["reason"],
                "after sign-off" if each["after_sign_off"] else "",
            )
        )
    return table_html(("at", "by", "what", "change", "reason", ""), rows, "raw")


def _errors(story: Story) -> str:
    sites = sites_of_record(story.visit)
    own = [each for each in story.errors if each.site in sites]
    if not own:
        return paragraphs(["Not known yet: no two readings of a site are on record."])
    told = _error_table(own)
    between = [each for each in story.between if each.site in sites]
    if between:
        told += paragraphs(["Between this assessor and the one of the last visit:"])
        told += _error_table(between)
    return told


def _error_table(errors: Sequence[SiteError]) -> str:
    rows = [each.cells for each in errors if each.found is not None]
    few = [f"{spaced(each.site)} ({each.pairs})" for each in errors if not each.found]
    told = table_html(ERROR_HEADS, rows) + paragraphs([LIMITS_NOTE]) if rows else ""
    if few:
        told += paragraphs([f"Pairs too few at: {', '.join(few)}. {WHY_MIN_PAIRS}"])
    return told
