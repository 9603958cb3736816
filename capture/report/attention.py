"""What in a visit wants a second look, the gravest first.

What a visit says of itself is its `Brief`; it is small, and the store keeps it, so that a list of
thousands need not read their journals. What changed since the last visit is told from two briefs.
The limits are our own choice, no source, unless another constant is named.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import IntEnum
from typing import Any

from capture.composition.statistics import settle
from capture.report.deviations import (
    before_touching,
    out_of_turn,
    permissions_missing,
    permissions_refused,
    turned,
)
from capture.report.names import spaced
from capture.report.record import HEARD, LEFT, ReadingRecord, VisitRecord
from capture.report.remarks import dwell_lines
from capture.report.results import circuits_of, protocol_of, sites_of_record

RULES = 3
"""The version of what is looked for. Kept briefs of another version are made anew: raise it
whenever a brief of the same visit would come out otherwise."""

SUDDEN_PERCENT = 20
"""A fold that changed by more than this share since the last visit is looked at again."""
SUDDEN_TENTHS_MM = 30
"""And by more than this, in tenths of a mm: a thin fold changes by a fifth with one reading."""

LOW_CONFIDENCE = 0.8
"""Confirmed readings that were heard with less are told. Own choice, no source."""


class Weight(IntEnum):
    """How much a finding matters in the order of the day's list."""

    SAY = 1
    LOOK = 4
    ASK = 12


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing to look at, in words, with its weight."""

    text: str
    weight: Weight


@dataclass(frozen=True, slots=True)
class Brief:
    """What a visit says of itself: its findings, and the settled fold in mm of each site."""

    started_at: str
    found: tuple[Finding, ...]
    folds_mm: Mapping[str, float]

    def to_plain(self) -> dict[str, Any]:
        """The brief as a JSON object for the store."""
        return {
            "started_at": self.started_at,
            "found": [[each.text, each.weight.value] for each in self.found],
            "folds_mm": dict(self.folds_mm),
        }

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> "Brief":
        """The brief that `to_plain` wrote."""
        found = tuple(Finding(text, Weight(weight)) for text, weight in plain["found"])
        return cls(plain["started_at"], found, plain["folds_mm"])


def brief_of(visit: VisitRecord) -> Brief:
    """What a visit says of itself."""
    trials = {site: visit.trials(site) for site in sites_of_record(visit)}
    found = (
        *_permissions(visit),
        *_forks(visit),
        *_outstanding(visit, trials),
        *_otherwise(visit),
        *_doubtful(visit),
        *_mended(visit),
        *_noted(visit),
    )
    folds_mm = {site: settle(taken).value_mm for site, taken in trials.items() if taken}
    return Brief(visit.started_at, found, folds_mm)


def findings_of(visit: Brief, last: Brief | None = None) -> tuple[Finding, ...]:
    """What wants a look, the gravest first; `last` is the person's visit before this one."""
    sudden = () if last is None else _sudden(visit, last)
    return tuple(sorted((*visit.found, *sudden), key=lambda each: -each.weight))


def findings(visit: VisitRecord, last: VisitRecord | None = None) -> tuple[Finding, ...]:
    """The same from the records themselves."""
    return findings_of(brief_of(visit), None if last is None else brief_of(last))


def urgency(found: tuple[Finding, ...]) -> int:
    """The sum of the weights: what the day's list is ordered by."""
    return sum(each.weight for each in found)


def _permissions(visit: VisitRecord) -> Iterator[Finding]:
    missing, refused = permissions_missing(visit), permissions_refused(visit)
    if missing and visit.readings and not visit.from_table:
        yield Finding(f"permission not asked: {', '.join(missing)}", Weight.ASK)
    if refused:
        yield Finding(f"permission refused: {', '.join(refused)}", Weight.ASK)


def _forks(visit: VisitRecord) -> Iterator[Finding]:
    forked = [f"{spaced(each.site)} {each.circuit}" for each in visit.readings if each.is_forked]
    if forked:
        yield Finding(f"amended in two ways: {', '.join(forked)}", Weight.ASK)


def _outstanding(visit: VisitRecord, trials_of: Mapping[str, tuple[int, ...]]) -> Iterator[Finding]:
    protocol, circuits = protocol_of(visit), circuits_of(visit)
    thirds, short = [], []
    skipped = {site for site, circuit in visit.skips if circuit}
    for site, trials in trials_of.items():
        if protocol is not None and protocol.third_due(trials):
            thirds.append(spaced(site))
        if len(trials) < circuits and site not in skipped:
            short.append(spaced(site))
    if thirds:
        yield Finding(f"third outstanding: {', '.join(thirds)}", Weight.ASK)
    if short:
        yield Finding(f"not all readings: {', '.join(short)}", Weight.LOOK)
    waits = [f"{spaced(each.site)} {each.circuit}" for each in visit.readings if _waits(each)]
    if waits:
        yield Finding(f"never confirmed: {', '.join(waits)}", Weight.LOOK)
    if visit.skips:
        told = ", ".join(
            f"{spaced(site)} ({reason.replace('_', ' ')})"
            for (site, _), reason in visit.skips.items()
        )
        yield Finding(f"skipped: {told}", Weight.LOOK)
    if visit.through_cloth:
        yield Finding(f"through cloth: {', '.join(map(spaced, visit.through_cloth))}", Weight.LOOK)


def _otherwise(visit: VisitRecord) -> Iterator[Finding]:
    """What was not done as the protocol and the visit before have it."""
    ways = [f"{spaced(site)} {how}" for site, how in turned(visit)]
    if ways:
        yield Finding(f"not as the protocol has it: {'; '.join(ways)}", Weight.LOOK)
    for told in before_touching(visit):
        yield Finding(told, Weight.LOOK)
    if visit.facts_of("finished_early"):
        yield Finding("finished early", Weight.LOOK)
    for told in out_of_turn(visit):
        yield Finding(told, Weight.SAY)


def _doubtful(visit: VisitRecord) -> Iterator[Finding]:
    counted = [each for each in visit.readings if each.counts_tenths_mm is not None]
    doubted = [each for each in counted if each.doubts and not each.amendments]
    if doubted:
        told = ", ".join(f"{spaced(each.site)} {each.circuit}" for each in doubted)
        yield Finding(f"doubtful: {told}", Weight.LOOK)
    unsure = [
        each for each in counted if each.confidence is not None and each.confidence < LOW_CONFIDENCE
    ]
    if unsure:
        lowest = min(each.confidence or 0.0 for each in unsure)
        yield Finding(f"low confidence: {len(unsure)}, down to {lowest * 100:.0f} %", Weight.SAY)


def _sudden(visit: Brief, last: Brief) -> Iterator[Finding]:
    told = []
    for site, now in visit.folds_mm.items():
        before = last.folds_mm.get(site)
        if before is None:
            continue
        change = now - before
        if abs(change) > max(before * SUDDEN_PERCENT / 100, SUDDEN_TENTHS_MM / 10):
            told.append(f"{spaced(site)} {change:+.1f} mm".replace("-", "−"))
    if told:
        yield Finding(f"changed since {last.started_at[:10]}: {', '.join(told)}", Weight.LOOK)


def _mended(visit: VisitRecord) -> Iterator[Finding]:
    count = sum(each.state in LEFT for each in visit.readings)
    if count:
        yield Finding(f"corrections: {count}", Weight.SAY)
    late = [each for each in visit.amendments if each["after_sign_off"]]
    if late:
        yield Finding(f"amended after sign-off: {len(late)}", Weight.LOOK)


def _noted(visit: VisitRecord) -> Iterator[Finding]:
    if visit.cautions:
        yield Finding(f"caution: {', '.join(map(spaced, visit.cautions))}", Weight.SAY)
    for name, option in visit.instead.items():
        yield Finding(f"instead of the permission {name}: {spaced(option)}", Weight.SAY)
    for told in dwell_lines(visit):
        yield Finding(told, Weight.SAY)
    notes = len(visit.facts_of("remark"))
    if notes:
        yield Finding(f"{notes} note{'s' if notes > 1 else ''}", Weight.SAY)


def _waits(reading: ReadingRecord) -> bool:
    return reading.state == HEARD
