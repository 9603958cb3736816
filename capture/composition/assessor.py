"""How well an assessor repeats their own readings, and agrees with another, from their visits.

Within one assessor each visit with two readings of a site gives a pair: the first two, in order. A
third reading is left out, since it is taken only where the first two disagree. Between two
assessors a pair is two visits of one client on one day, taken the same way, each with the value
its readings settled to.

Two cautions. Readings of one visit share their marks, so that the error between two visits is
somewhat larger than the one found here. And an assessor who remembers the first reading repeats
it too well.
"""

import math
import statistics
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from capture.composition.forms import Confirmed
from capture.composition.measured import MeasuredVisit, differences, sites_of
from capture.composition.statistics import (
    TEM_LIMITS_CONFIRMED,
    TEM_LIMITS_SOURCE,
    Agreement,
    Repeatability,
    TemLevel,
    repeatability,
    tem_level,
)
from capture.composition.uncertainty import one_decimal

MIN_PAIRS = 10
"""Below so many pairs a technical error is not shown.

An error found from n pairs is itself uncertain: with 95 percent confidence the true one of ten
pairs is 0.7 to 1.75 times the one found, of five pairs up to 2.5 times (chi-square with n degrees
of freedom). With a factor near two the levels of practice, 5 and 7.5 percent, could not be told
apart. Where exactly to stop is our own choice, no source.
"""
MIN_PAIRS_CONFIRMED = Confirmed.OWN_CHOICE
WHY_MIN_PAIRS = (
    f"Not shown below {MIN_PAIRS} pairs: the true error could then be nearly twice the one found, "
    "or more."
)

ERROR_HEADS = (
    "site", "error, mm", "likely", "error, %", "reliability", "pairs", "people",
    "level of practice",
)  # fmt: skip
LIMITS_NOTE = f"Limits of the levels: {TEM_LIMITS_SOURCE} ({TEM_LIMITS_CONFIRMED.in_words})."


@dataclass(frozen=True, slots=True)
class SiteError:
    """The technical error at one site.

    `pairs` counts the pairs, `clients` the people behind them. `found` is None below `MIN_PAIRS`.
    `reliability` is about telling people apart, so it is None below `MIN_PAIRS` people too.
    `left_out` counts pairs of visits that were not taken the same way.
    """

    site: str
    agreement: Agreement
    pairs: int
    clients: int
    found: Repeatability | None
    left_out: int = 0

    @property
    def tem_mm(self) -> float | None:
        """The absolute technical error in mm, None where it is not shown."""
        return None if self.found is None else self.found.tem_mm

    @property
    def tem_range_mm(self) -> tuple[float, float] | None:
        """The range of the true error in mm with 95 percent confidence."""
        return None if self.found is None else tem_range_mm(self.found.tem_mm, self.pairs)

    @property
    def reliability(self) -> float | None:
        """Coefficient of reliability, None where people or pairs are too few."""
        if self.found is None or self.clients < MIN_PAIRS:
            return None
        return self.found.reliability

    @property
    def level(self) -> TemLevel | None:
        """The level of practice that the relative error reaches (limits from memory)."""
        if self.found is None:
            return None
        return tem_level(self.found.relative_tem_percent, self.agreement)

    @property
    def text(self) -> str:
        """The error in one line, to no more digits than so few pairs deserve."""
        if self.found is None:
            name = self.site.replace("_", " ")
            return f"{name}: {self.pairs} pairs of {self.clients} people. {WHY_MIN_PAIRS}"
        name, tem, spread, share, reliability, pairs, people, level = self.cells
        sure = f", reliability {reliability}" if reliability else ""
        return (
            f"{name}: {tem} mm, likely {spread}, or {share} %{sure}, from {pairs} pairs of "
            f"{people} people: {level} (limits from {TEM_LIMITS_CONFIRMED.value})"
        )

    @property
    def cells(self) -> tuple[str, ...]:
        """The error as the cells of a table under `ERROR_HEADS`; empty where it is not shown."""
        if self.found is None or self.tem_range_mm is None or self.level is None:
            return ()
        low, high = (one_decimal(end) for end in self.tem_range_mm)
        sure = self.reliability
        return (
            self.site.replace("_", " "),
            one_decimal(self.found.tem_mm),
            f"{low} to {high}",
            one_decimal(self.found.relative_tem_percent),
            # Rounded down: 0.996 is not yet 1.
            "" if sure is None else f"{math.floor(sure * 100) / 100:.2f}",
            str(self.pairs),
            str(self.clients),
            self.level.value,
        )

    def to_plain(self) -> dict[str, object]:
        """As a JSON object."""
        found, spread = self.found, self.tem_range_mm
        return {
            "site": self.site,
            "agreement": self.agreement.value,
            "pairs": self.pairs,
            "clients": self.clients,
            "left_out": self.left_out,
            "tem_mm": self.tem_mm,
            "tem_low_mm": None if spread is None else spread[0],
            "tem_high_mm": None if spread is None else spread[1],
            "relative_tem_percent": None if found is None else found.relative_tem_percent,
            "reliability": self.reliability,
            "smallest_real_change_mm": None if found is None else found.smallest_real_change_mm,
            "level": None if self.level is None else self.level.value,
            "limits_source": TEM_LIMITS_SOURCE,
            "limits_confirmed": TEM_LIMITS_CONFIRMED.value,
            "why_not": "" if found is not None else WHY_MIN_PAIRS,
        }


def tem_range_mm(tem_mm: float, pairs: int, confidence: float = 0.95) -> tuple[float, float]:
    """Range of the true technical error, in mm, from the one found in n pairs.

    TEM * sqrt(n / chi²) at both tails, n degrees of freedom. Chi² by Wilson and Hilferty's cube
    (Proceedings of the National Academy of Sciences 1931;17:684-688, from memory), which is within
    two percent of the exact one from ten pairs on. No pairs are a ValueError.
    """
    if pairs < 1:
        raise ValueError("an error needs at least one pair")
    tail = statistics.NormalDist().inv_cdf((1 + confidence) / 2)
    step = 2 / (9 * pairs)
    low, high = (1 - step + z * math.sqrt(step) for z in (tail, -tail))
    # For one or two pairs the cube can fall to zero and below: no upper end at all.
    return tem_mm / math.sqrt(low**3), tem_mm / math.sqrt(high**3) if high > 0 else math.inf


def _site_error(
    site: str,
    agreement: Agreement,
    pairs: Sequence[tuple[str, float, float]],
    left_out: int = 0,
) -> SiteError:
    enough = len(pairs) >= MIN_PAIRS
    return SiteError(
        site=site,
        agreement=agreement,
        pairs=len(pairs),
        clients=len({client for client, _, _ in pairs}),
        found=repeatability([a for _, a, _ in pairs], [b for _, _, b in pairs]) if enough else None,
        left_out=left_out,
    )


def within_assessor(visits: Iterable[MeasuredVisit], assessor: str) -> tuple[SiteError, ...]:
    """Technical error of one assessor at each site, from the duplicates of their own visits."""
    ours = tuple(visit for visit in visits if visit.assessor == assessor)
    return tuple(
        _site_error(site, Agreement.WITHIN_ONE_ASSESSOR, list(_duplicates(ours, site)))
        for site in sites_of(ours)
    )


def _duplicates(visits: Iterable[MeasuredVisit], site: str) -> Iterator[tuple[str, float, float]]:
    for visit in visits:
        measured = visit.at(site)
        if measured is not None and len(measured.readings_tenths_mm) >= 2:
            first, second = measured.readings_tenths_mm[:2]
            yield visit.client, first / 10, second / 10


def between_assessors(
    visits: Iterable[MeasuredVisit], one: str, other: str
) -> tuple[SiteError, ...]:
    """Technical error between two assessors at each site, from their paired visits.

    The same assessor twice is a ValueError.
    """
    if one == other:
        raise ValueError("the error between assessors needs two of them")
    pairs = paired_visits(visits, one, other)
    errors = []
    for site in sites_of(tuple(visit for pair in pairs for visit in pair)):
        values, left_out = [], 0
        for first, second in pairs:
            before, now = first.at(site), second.at(site)
            if before is None or now is None:
                continue
            if differences(before.conditions, now.conditions):
                left_out += 1
                continue
            values.append((first.client, before.settled.value_mm, now.settled.value_mm))
        errors.append(_site_error(site, Agreement.BETWEEN_ASSESSORS, values, left_out))
    return tuple(errors)


def paired_visits(
    visits: Iterable[MeasuredVisit], one: str, other: str
) -> tuple[tuple[MeasuredVisit, MeasuredVisit], ...]:
    """Visits of one client on one day by both assessors; each visit is used once at most."""
    waiting: dict[tuple[str, str], list[MeasuredVisit]] = {}
    known = tuple(visits)
    for visit in known:
        if visit.assessor == other:
            waiting.setdefault((visit.client, visit.date), []).append(visit)
    pairs = []
    for visit in known:
        partners = waiting.get((visit.client, visit.date), [])
        if visit.assessor == one and partners:
            pairs.append((visit, partners.pop(0)))
    return tuple(pairs)
