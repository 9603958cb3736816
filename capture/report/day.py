"""The day's list and one visit as plain lines, for a reviewer."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from capture.composition.client import ClientDefaults
from capture.composition.statistics import settle
from capture.composition.uncertainty import one_decimal
from capture.report.amendments import Amendment
from capture.report.attention import Finding, urgency
from capture.report.details import settled_lines, setup_lines
from capture.report.names import spaced
from capture.report.record import CONFIRMED, ReadingRecord, VisitRecord
from capture.report.remarks import dwell_words, remark_lines
from capture.report.results import (
    AS_USUAL,
    circuits_of,
    fold_sum,
    result_of,
    sites_of_record,
)
from capture.showable import cut, one_line, padded
from capture.units import millimetres

WIDE, NAME, NARROW_NAME = 100, 24, 16
"""Columns from which on a name has the more room, and both rooms."""


@dataclass(frozen=True, slots=True)
class DayRow:
    """One visit in the list, with what wants a look."""

    visit_id: str
    started_at: str
    client: str
    assessor: str
    signed: bool
    findings: tuple[Finding, ...]

    @property
    def told(self) -> str:
        """The findings in words."""
        return "; ".join(each.text for each in self.findings)


def ordered(rows: Sequence[DayRow]) -> list[DayRow]:
    """What needs attention first; among equals those not signed off, then by time."""
    return sorted(
        rows, key=lambda row: (-urgency(row.findings), row.signed, row.started_at, row.visit_id)
    )


def matching(rows: Sequence[DayRow], text: str) -> list[DayRow]:
    """The rows that hold every word of a text: names, date, identifier, findings, "unsigned"."""
    words = text.casefold().split()
    found = []
    for row in rows:
        state = "signed" if row.signed else "unsigned"
        held = f"{row.client} {row.assessor} {row.started_at} {row.visit_id} {row.told}"
        # "signed" is part of "unsigned": a state is compared as a whole word.
        if all(word == state or word in one_line(held).casefold() for word in words):
            found.append(row)
    return found


def day_lines(rows: Sequence[DayRow], width: int = 1000, first: int = 1) -> list[str]:
    """One line a visit; `first` is the number of the first of them."""
    lines = []
    room = NAME if width >= WIDE else NARROW_NAME
    for number, row in enumerate(rows, first):
        state = "signed" if row.signed else "OPEN"
        head = f"{number:>4} {row.started_at[:10]} {row.started_at[11:16]} {state:<6} "
        names = f"{padded(one_line(row.client), room)}  "
        told = one_line(row.told) or "nothing to look at"
        lines.append(cut(f"{head}{names}{told}", width))
    return lines


def visit_lines(
    visit: VisitRecord,
    row: DayRow,
    defaults: ClientDefaults = AS_USUAL,
    kept: Collection[int] = (),
) -> list[str]:
    """Everything a reviewer looks at in one visit, the readings in the middle.

    `defaults` are the client's: whose equation is used, and whether a percent is shown. `kept`
    are the journal entries whose sound is kept.
    """
    lines = [
        f"{one_line(row.client)}, {visit.started_at[:16].replace('T', ' ')}, measured by "
        f"{one_line(row.assessor)}",
        f"visit {visit.id}: {_signed(visit)}",
        *(f"  ! {each.text}" for each in row.findings),
        "",
        *_site_lines(visit),
        *_result_lines(visit, defaults),
        "",
        f"{'no.':>5} {'site':<13}{'c':>2} {'mm':>6} {'counts':>9}  {'time':<9}{'by':<7}"
        f"{'sure':>4}  heard",
    ]
    for each in visit.readings:
        lines.extend(_reading_lines(visit, each, each.number in kept))
    for fact, told in zip(visit.facts_of("remark"), remark_lines(visit), strict=True):
        sound = "; its sound is kept" if fact["entry"] in kept else ""
        lines.append(f"{fact['entry']:>5} NOTE {one_line(told)}{sound}")
    lines.extend(_amendment(amendment) for amendment in visit.amendments)
    return [*lines, "", *settled_lines(visit), "", *setup_lines(visit)]


def _site_lines(visit: VisitRecord) -> list[str]:
    circuits = circuits_of(visit)
    heads = "".join(f"{f'circuit {number}':>11}" for number in range(1, circuits + 2))
    lines = [f"{'site':<14}{heads}{'spread':>9}{'value':>8}"]
    for site in sites_of_record(visit):
        trials = visit.trials(site)
        cells = {
            each.circuit: millimetres(each.counts_tenths_mm)
            for each in visit.readings
            if each.site == site and each.counts_tenths_mm is not None
        }
        told = "".join(f"{cells.get(number, ''):>11}" for number in range(1, circuits + 2))
        if trials:
            settled = settle(trials)
            told += f"{settled.spread_tenths_mm / 10:>9.1f}{one_decimal(settled.value_mm):>8}"
        lines.append(f"{spaced(site):<14}{told}".rstrip())
    return lines


def _result_lines(visit: VisitRecord, defaults: ClientDefaults) -> Iterator[str]:
    """The sum, then the percent or why there is none, where the client is shown one."""
    total = fold_sum(visit)
    if total.sum_mm is not None:
        yield f"sum of {len(total.sites)}: {one_decimal(total.sum_mm)} mm"
    result = result_of(visit, defaults)
    if not defaults.show_fat_percent or result is None or not result.sites:
        return
    if result.plain_range is not None and result.prediction is not None:
        yield f"fat {result.plain_range}: {result.prediction.method}"
    else:
        yield f"no percent by {result.equation.id}: {' '.join(result.why_not)}"


def _reading_lines(visit: VisitRecord, each: ReadingRecord, has_sound: bool) -> list[str]:
    # What does not count says why: its state, or a dash where it was withdrawn.
    counts = "-" if each.state == CONFIRMED else each.state
    if each.counts_tenths_mm is not None:
        counts = millimetres(each.counts_tenths_mm)
    sure = "" if each.confidence is None else f"{each.confidence * 100:.0f}%"
    rival = each.runner_up
    lines = [
        f"{each.number:>5} {spaced(each.site):<13}{each.circuit:>2} "
        f"{millimetres(each.value_tenths_mm):>6} {counts:>9}  "
        f"{each.heard_at[11:19]:<9}{each.source:<7}{sure:>4}  {one_line(each.words)}"
    ]
    notes = []
    if rival is not None:
        notes.append(f"runner-up {one_line(rival[0])!r} {rival[1] * 100:.0f}%")
    if each.doubts:
        notes.append(
            "doubt: "
            + ", ".join(
                spaced(kind) + ("" if other is None else f" {millimetres(other)}")
                for kind, other in each.doubts
            )
        )
    if each.dwell_s is not None:
        notes.append(dwell_words(each) or f"called {each.dwell_s:.1f} s after the jaws were on")
    if each.cloth_tenths_mm:
        notes.append(f"two layers of cloth of {millimetres(each.cloth_tenths_mm)} mm taken off")
    before = visit.before(each)
    if before and each.counts_tenths_mm is not None:
        told = ", ".join(f"{millimetres(one.value_tenths_mm)} {one.state}" for one in before)
        notes.append(f"before it: {told}")
    if each.is_forked:
        notes.append("amended in two ways: neither counts until it is amended again")
    if has_sound:
        notes.append("its sound is kept")
    if notes:
        lines.append(f"{'':>6}{'; '.join(notes)}")
    return lines


def _amendment(amendment: Amendment) -> str:
    value = amendment["value_tenths_mm"]
    what = spaced(str(amendment["kind"]))
    if isinstance(value, int):
        what = f"is {millimetres(value)} mm"
    where = "" if amendment["number"] is None else f"reading {amendment['number']} "
    late = " (after sign-off)" if amendment["after_sign_off"] else ""
    return (
        f"AMENDED  {str(amendment['at'])[:16].replace('T', ' ')}  {where}{what}, by "
        f"{one_line(str(amendment['by_name']))}: {one_line(str(amendment['reason']))}{late}"
    )


def _signed(visit: VisitRecord) -> str:
    named = visit.sign_off
    if named is not None:
        return (
            f"signed off by {one_line(named['by_name'])}; every change is an amendment that shows"
        )
    if visit.signed_at is not None:
        return "signed off at the visit; every change is an amendment that shows"
    return "not signed off"
