"""What has changed since the last visit, and whether that is more than measurement error.

Only values taken the same way are compared; for the others it is said what differs. A change is
real, with 95 percent confidence, where it exceeds 1.96 * TEM * sqrt(1/n before + 1/n now), with n
the readings behind each value. For one reading each that is 2.77 * TEM.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import Enum

from capture.composition.assessor import SiteError, between_assessors, within_assessor
from capture.composition.measured import (
    Condition,
    Difference,
    MeasuredVisit,
    SiteMeasurement,
    differences,
    unrecorded,
)
from capture.composition.uncertainty import one_decimal, tem_of_sum_mm


class Verdict(Enum):
    """What may be said of a difference between two visits."""

    REAL = "more than measurement error"
    WITHIN_ERROR = "within measurement error"
    ERROR_UNKNOWN = "measurement error not known"
    NOT_COMPARED = "not compared"


@dataclass(frozen=True, slots=True)
class Change:
    """The change of one value from one visit to the next, in mm.

    `what` is a site, or "sum". `change_mm` is None where the two are not compared. `differences`
    says why. `unrecorded` are conditions that neither visit recorded: they may differ unseen.
    """

    what: str
    before_mm: float | None
    now_mm: float | None
    smallest_real_change_mm: float | None
    verdict: Verdict
    differences: tuple[Difference, ...] = ()
    unrecorded: tuple[Condition, ...] = ()
    note: str = ""

    @property
    def change_mm(self) -> float | None:
        """Now less before, None where the two are not compared."""
        if self.verdict is Verdict.NOT_COMPARED or self.before_mm is None or self.now_mm is None:
            return None
        return self.now_mm - self.before_mm

    @property
    def text(self) -> str:
        """The change in one line."""
        name = self.what.replace("_", " ")
        change = self.change_mm
        if change is None:
            reasons = " ".join(each.text for each in self.differences) or self.note
            return f"{name}: not compared. {reasons}".rstrip()
        words = f"{name}: {'-' if change < 0 else '+'}{one_decimal(abs(change))} mm"
        if self.smallest_real_change_mm is None:
            return f"{words}, {self.verdict.value}. {self.note}".rstrip()
        limit = one_decimal(self.smallest_real_change_mm)
        return f"{words}, {self.verdict.value} ({limit} mm)"

    def to_plain(self) -> dict[str, object]:
        """As a JSON object."""
        return {
            "what": self.what,
            "before_mm": self.before_mm,
            "now_mm": self.now_mm,
            "change_mm": self.change_mm,
            "smallest_real_change_mm": self.smallest_real_change_mm,
            "verdict": self.verdict.value,
            "differences": [each.text for each in self.differences],
            "unrecorded": [each.value for each in self.unrecorded],
            "note": self.note,
            "text": self.text,
        }


@dataclass(frozen=True, slots=True)
class VisitChange:
    """Every change between two visits: the sum of the folds first, then each site.

    `summed_sites` are the sites in both sums: those taken the same way at both visits.
    """

    sum: Change
    summed_sites: tuple[str, ...]
    sites: tuple[Change, ...]

    def to_plain(self) -> dict[str, object]:
        """As a JSON object."""
        return {
            "sum": self.sum.to_plain(),
            "summed_sites": list(self.summed_sites),
            "sites": [site.to_plain() for site in self.sites],
        }


def change_since(
    before: MeasuredVisit,
    now: MeasuredVisit,
    tems_mm: Mapping[str, float],
    inter_tems_mm: Mapping[str, float] | None = None,
) -> VisitChange:
    """Compare a visit with the one before it.

    `tems_mm` are the assessor's technical errors by site, in mm. Where two assessors measured, the
    error between them counts as well: `inter_tems_mm` by site, without which nothing is said of
    measurement error. Visits of two clients are a ValueError, and so is a TEM below zero.
    """
    if before.client != now.client:
        raise ValueError("these are visits of two clients")
    sites = dict.fromkeys(each.site for visit in (before, now) for each in visit.measurements)
    two_assessors = before.assessor != now.assessor
    changes, spreads, used = [], [], []
    for site in sites:
        then, today = before.at(site), now.at(site)
        spread_mm, note = None, ""
        if then is not None and today is not None:
            spread_mm, note = _spread_mm(
                then, today, tems_mm.get(site), (inter_tems_mm or {}).get(site), two_assessors
            )
        change = _site_change(site, then, today, spread_mm, note)
        changes.append(change)
        if change.verdict is not Verdict.NOT_COMPARED:
            spreads.append(spread_mm)
            used.append(change)
    return VisitChange(_sum_change(used, spreads, changes), _names(used), tuple(changes))


def last_change(
    visits: Iterable[MeasuredVisit], client: str
) -> tuple[MeasuredVisit, MeasuredVisit, VisitChange] | None:
    """A client's last two visits by date, and the change between them; None with fewer than two.

    The technical errors are found from all the visits: those of the assessor who measured last,
    and, where another one measured before, those between the two.
    """
    known = tuple(visits)
    theirs = sorted((each for each in known if each.client == client), key=lambda each: each.date)
    if len(theirs) < 2:
        return None
    before, now = theirs[-2:]
    between = None
    if before.assessor != now.assessor:
        between = _tems(between_assessors(known, before.assessor, now.assessor))
    own = _tems(within_assessor(known, now.assessor))
    return before, now, change_since(before, now, own, between)


def _tems(errors: Iterable[SiteError]) -> dict[str, float]:
    return {error.site: error.tem_mm for error in errors if error.tem_mm is not None}


def _names(changes: Iterable[Change]) -> tuple[str, ...]:
    return tuple(each.what for each in changes)


def _spread_mm(
    then: SiteMeasurement,
    today: SiteMeasurement,
    tem_mm: float | None,
    inter_tem_mm: float | None,
    two_assessors: bool,
) -> tuple[float | None, str]:
    """Standard error of the difference of two values in mm, or None and why."""
    given = [each for each in (tem_mm, inter_tem_mm) if each is not None]
    if any(not (math.isfinite(each) and each >= 0) for each in given):
        raise ValueError("a technical error is 0 mm or more")
    if tem_mm is None:
        return None, "The assessor's technical error at this site is not known yet."
    own = tem_mm * math.sqrt(1 / then.settled.counts_for + 1 / today.settled.counts_for)
    if not two_assessors:
        return own, ""
    if inter_tem_mm is None:
        return None, "Another assessor measured before; the error between the two is not known."
    # What the two differ by does not shrink with more readings.
    return math.hypot(own, inter_tem_mm * math.sqrt(2)), ""


def _site_change(
    site: str,
    then: SiteMeasurement | None,
    today: SiteMeasurement | None,
    spread_mm: float | None,
    note: str,
) -> Change:
    before_mm = None if then is None else then.settled.value_mm
    now_mm = None if today is None else today.settled.value_mm
    if then is None or today is None:
        when = "before" if then is None else "now"
        note = f"Not measured {when}."
        return Change(site, before_mm, now_mm, None, Verdict.NOT_COMPARED, note=note)
    found = differences(then.conditions, today.conditions)
    missing = unrecorded(then.conditions, today.conditions)
    if found:
        return Change(site, before_mm, now_mm, None, Verdict.NOT_COMPARED, found, missing)
    return _judged(site, then.settled.value_mm, today.settled.value_mm, spread_mm, missing, note)


def _judged(
    what: str,
    before_mm: float,
    now_mm: float,
    spread_mm: float | None,
    missing: tuple[Condition, ...],
    note: str,
) -> Change:
    if spread_mm is None:
        verdict, limit_mm = Verdict.ERROR_UNKNOWN, None
    else:
        limit_mm = 1.96 * spread_mm
        # Readings are whole tenths; a difference of floats may miss its limit by a hair.
        real = abs(now_mm - before_mm) > limit_mm + 1e-9
        verdict = Verdict.REAL if real else Verdict.WITHIN_ERROR
    return Change(what, before_mm, now_mm, limit_mm, verdict, unrecorded=missing, note=note)


def _sum_change(
    used: list[Change], spreads: list[float | None], everything: list[Change]
) -> Change:
    """Change of the sum over the sites compared; the errors of the sites add as squares."""
    left_out = [each.what.replace("_", " ") for each in everything if each not in used]
    without = f"Without {', '.join(left_out)}." if left_out else ""
    if not used:
        return Change(
            "sum", None, None, None, Verdict.NOT_COMPARED, note="No site can be compared."
        )
    known = [each for each in spreads if each is not None]
    spread_mm = tem_of_sum_mm(known) if len(known) == len(spreads) else None
    unknown = "" if spread_mm is not None else "The technical error is not known at every site."
    return _judged(
        "sum",
        math.fsum(each.before_mm or 0.0 for each in used),
        math.fsum(each.now_mm or 0.0 for each in used),
        spread_mm,
        tuple(dict.fromkeys(one for each in used for one in each.unrecorded)),
        f"{without} {unknown}".strip(),
    )
