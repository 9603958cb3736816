"""The sum of folds and the percent from visit to visit: which visits belong in one line, and why.

A line joins only what was measured the same way as at the present visit. What is left out is told
with what differs, so that a gap is not taken for a missing visit.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from capture.composition.measured import MeasuredVisit, differences
from capture.composition.results import VisitResult
from capture.report.names import spaced
from capture.report.record import VisitRecord
from capture.report.results import error_of_sum_mm, measured, sites_of_record, sum_over_mm

RANGE_95 = 1.96
"""Standard errors to either side that hold 95 of 100 (normal distribution)."""


@dataclass(frozen=True, slots=True)
class Point:
    """One visit in a trend: its date, the value, and its range where it is known."""

    date: str
    value: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Trend:
    """Points in the order of time, and what must be said beside them.

    `left_out` names the visits that are not among them, empty if all are. `digits` are the
    decimals that a value deserves, `range_digits` those of its range.
    """

    points: tuple[Point, ...]
    notes: tuple[str, ...]
    left_out: str = ""
    digits: int = 1
    range_digits: int = 1


Pair = tuple[VisitRecord, VisitResult | None]


def sum_trend(visits: Iterable[Pair], now: VisitRecord, tems_mm: Mapping[str, float]) -> Trend:
    """The sum over the present protocol's sites at each visit that has them, the oldest first.

    `tems_mm` are the technical errors of the present assessor by site; visits of another one get
    no range, since theirs are not known here.
    """
    sites, present = sites_of_record(now), measured(now)
    points, left_out, others = [], [], []
    listed = [visit for visit, _ in visits]
    names = visit_names(listed)
    for visit in listed:
        value_mm, date = sum_over_mm(visit, sites), names[visit.id]
        why = _why_not(measured(visit), present, sites)
        if why or value_mm is None:
            left_out.append(f"{date} ({why})")
            continue
        error = None
        if visit.assessor_id == now.assessor_id:
            error = error_of_sum_mm(visit, sites, tems_mm)
        else:
            others.append(date)
        reach = None if error is None else RANGE_95 * error
        points.append(_point(date, value_mm, reach))
    notes = [
        "Bars: where the sum lies 95 times of 100, by the assessor's own error of measuring."
        if any(point.low is not None for point in points)
        else "No error bars: the assessor's own error is not known at every site yet."
    ]
    if others:
        notes.append(f"Measured by another assessor, no bar: {', '.join(others)}.")
    return Trend(tuple(points), tuple(notes), _left_out(left_out))


def fat_trend(visits: Iterable[Pair], now: VisitRecord, result: VisitResult) -> Trend:
    """The percent by the present visit's equation and conversion, the oldest first."""
    present = measured(now)
    points, left_out, outside = [], [], []
    listed = list(visits)
    names = visit_names([visit for visit, _ in listed])
    for visit, found in listed:
        date = names[visit.id]
        why = _why_not(measured(visit), present, result.summed_sites)
        if not why and found is not None and found.equation.id != result.equation.id:
            why = f"another equation, {found.equation.name}"
        if why or found is None or found.prediction is None or found.fat_percent is None:
            why = why or "no percent"
            left_out.append(f"{date} ({why})")
            continue
        if found.outside:
            outside.append(date)
        spread = found.prediction.spread
        low, high = (None, None) if spread is None else (spread.low, spread.high)
        points.append(Point(date, found.fat_percent, low, high))
    known = any(point.low is not None for point in points)
    notes = [f"Equation: {result.equation.name}."]
    notes.append(
        "Bars: the estimate plus and minus its standard error. The same person's errors lean the "
        "same way each time, so changes are surer than the level."
        if known
        else "No error bars: the standard error of this equation is not known here."
    )
    if outside:
        notes.append(f"Outside the equation's sample, may be off by more: {', '.join(outside)}.")
    # As in words: the decimal stands only where a range says how little it weighs.
    return Trend(
        tuple(points), tuple(notes), _left_out(left_out), digits=1 if known else 0, range_digits=0
    )


def _why_not(then: MeasuredVisit, now: MeasuredVisit, sites: tuple[str, ...]) -> str:
    """What keeps a visit out of the line, empty if nothing does."""
    missing: list[str] = []
    told: dict[str, list[str]] = {}
    for site in sites:
        before, today = then.at(site), now.at(site)
        if before is None:
            missing.append(spaced(site))
        elif today is not None:
            for each in differences(before.conditions, today.conditions):
                told.setdefault(each.text, []).append(spaced(site))
    if missing:
        return f"not measured: {', '.join(missing)}"
    return " ".join(
        text if len(where) == len(sites) else f"{', '.join(where)}: {text}"
        for text, where in told.items()
    ).rstrip(".")


def _left_out(told: list[str]) -> str:
    return f"Left out, not measured the same way: {'; '.join(told)}." if told else ""


def _point(date: str, value: float, reach: float | None) -> Point:
    if reach is None:
        return Point(date, value)
    return Point(date, value, max(0.0, value - reach), value + reach)


def visit_names(visits: Iterable[VisitRecord]) -> dict[str, str]:
    """A name for each visit: its day, with the time where two fall on one day."""
    listed = list(visits)
    days = [visit.started_at[:10] for visit in listed]
    return {
        visit.id: day if days.count(day) == 1 else f"{day} {visit.started_at[11:16]}"
        for visit, day in zip(listed, days, strict=True)
    }
