"""The page of a report for the file: every reading, what was settled, what was changed."""

from collections.abc import Iterator, Mapping

from capture.language.intents import length_from_plain
from capture.report.deviations import deviations
from capture.report.markup import escape, paragraphs, section, table_html
from capture.report.names import spaced
from capture.report.record import ReadingRecord, VisitRecord
from capture.report.remarks import remark_lines
from capture.report.site_pictures import site_pictures
from capture.report.story import Story
from capture.units import millimetres


def file_lines(story: Story) -> Iterator[str]:
    """The second page as lines: everything as it was taken."""
    visit = story.visit
    yield f'<article class="file"><h1>For the file: visit {escape(visit.id)}</h1>'
    signed = _signed(visit)
    yield paragraphs(
        (
            f"Client {story.person.client}. Assessor {story.person.assessor}. "
            f"Begun {visit.started_at}, last entry {visit.last_at}. {signed}",
        )
    )
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
