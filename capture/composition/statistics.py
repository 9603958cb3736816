"""Settling repeated readings, and saying how repeatable an assessor is.

Readings are whole tenths of a millimetre. Errors are in mm, relative ones in percent.

Formulas: Ulijaszek SJ, Kerr DA. Anthropometric measurement error and the assessment of
nutritional status. British Journal of Nutrition 1999;82:165-177 (read in secondary texts).
"""

import math
import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction

from capture.composition.forms import Confirmed


class Settlement(Enum):
    """How the readings of one site became one value."""

    ONE_READING = "one reading"
    MEAN_OF_TWO = "mean of two"
    MEDIAN_OF_THREE = "median of three"
    MEDIAN_OF_ALL = "median of all"
    """Of more than three; with an even number, the mean of the two in the middle."""


@dataclass(frozen=True, slots=True)
class Settled:
    """One site's value, exact: the mean of two tenths may be half a tenth."""

    value_tenths_mm: Fraction
    how: Settlement
    spread_tenths_mm: int
    """Largest less smallest reading."""

    @property
    def value_mm(self) -> float:
        """The value in mm, unrounded."""
        return float(self.value_tenths_mm / 10)

    @property
    def counts_for(self) -> int:
        """How many independent readings the value is as sure as: one, or two for more.

        The median of three scatters by 0.67 of what one reading does (order statistics of a
        normal variable), a mean of two by 0.71; a third reading is moreover taken only after a
        disagreement. It counts as two, which errs on the wide side.
        """
        return 1 if self.how is Settlement.ONE_READING else 2


def settle(readings_tenths_mm: Sequence[int]) -> Settled:
    """One value from the readings of a site: the reading, mean of two, or median of three.

    The median of three lets one slip do no harm; the rule is that of the international
    kinanthropometry society (third reading and median in secondary texts). Nothing is rounded
    here: sums are made of exact values, and `shown_tenths` rounds once, for the eye.

    No readings, or one that is not above zero, is a ValueError: a site that could not be
    measured has no value, not a zero.

    >>> settle([124, 127]).value_mm
    12.55
    """
    if not readings_tenths_mm:
        raise ValueError("no readings to settle")
    if min(readings_tenths_mm) <= 0:
        raise ValueError("a reading is above 0 mm")
    how = {
        1: Settlement.ONE_READING,
        2: Settlement.MEAN_OF_TWO,
        3: Settlement.MEDIAN_OF_THREE,
    }.get(len(readings_tenths_mm), Settlement.MEDIAN_OF_ALL)
    # For one reading and for two, the median is the reading and the mean.
    # Of whole numbers it is whole or a half, which a float holds exactly.
    value = Fraction(statistics.median(readings_tenths_mm))
    return Settled(value, how, max(readings_tenths_mm) - min(readings_tenths_mm))


def shown_tenths(value_tenths_mm: Fraction) -> int:
    """An exact value as whole tenths of a mm for showing; half a tenth goes up.

    >>> shown_tenths(Fraction(251, 2))
    126
    """
    return math.floor(value_tenths_mm + Fraction(1, 2))


def tem_pairs(first_mm: Sequence[float], second_mm: Sequence[float]) -> float:
    """Technical error of measurement from two readings each: sqrt(sum of d² / 2N), in mm."""
    if len(first_mm) != len(second_mm) or not first_mm:
        raise ValueError("as many first as second readings, and at least one of each")
    squares = math.fsum((a - b) ** 2 for a, b in zip(first_mm, second_mm, strict=True))
    return math.sqrt(squares / (2 * len(first_mm)))


def tem_trials(rows_mm: Sequence[Sequence[float]]) -> float:
    """Technical error from K readings of each of N people, in mm; one row for each person.

    It is the root of all squared deviations from the row's own mean, divided by N (K - 1). With
    two readings it equals `tem_pairs`. (A formula with the divisor under its second term alone,
    seen in one text, does not.)
    """
    trials = len(rows_mm[0]) if rows_mm else 0
    if trials < 2 or any(len(row) != trials for row in rows_mm):
        raise ValueError("at least one row, every row with the same two or more readings")
    squares = math.fsum(
        (reading - math.fsum(row) / trials) ** 2 for row in rows_mm for reading in row
    )
    return math.sqrt(squares / (len(rows_mm) * (trials - 1)))


def relative_tem_percent(tem_mm: float, mean_mm: float) -> float:
    """Technical error in percent of the grand mean of all readings."""
    if mean_mm <= 0:
        raise ValueError("a mean of folds is above 0 mm")
    return 100 * tem_mm / mean_mm


def total_tem(intra_tems_mm: Sequence[float], inter_tem_mm: float) -> float:
    """Technical error of several assessors together, from those within each and between them."""
    within = math.fsum(tem * tem for tem in intra_tems_mm) / len(intra_tems_mm)
    return math.sqrt(within + inter_tem_mm * inter_tem_mm)


def reliability(tem_mm: float, sd_mm: float) -> float:
    """Coefficient of reliability 1 - TEM² / SD²; SD is that of all readings (n - 1)."""
    if sd_mm <= 0:
        raise ValueError("readings that are all alike have no reliability")
    return 1 - (tem_mm / sd_mm) ** 2


def reliability_of_mean(single: float, trials: int) -> float:
    """Reliability of the mean of n trials from that of one (Spearman-Brown)."""
    return trials * single / (1 + (trials - 1) * single)


def tem_of_mean(tem_mm: float, trials: int) -> float:
    """Technical error of the mean of n trials: that of one divided by the root of n."""
    if trials < 1:
        raise ValueError("a mean has at least one trial")
    return tem_mm / math.sqrt(trials)


def smallest_real_change_mm(tem_mm: float, trials: int = 1) -> float:
    """Smallest change between two visits that is more than measurement error, in mm, at 95 %.

    It is 1.96 * sqrt(2) * TEM, with the error of the mean where a value is the mean of n trials.
    """
    return 1.96 * math.sqrt(2) * tem_of_mean(tem_mm, trials)


@dataclass(frozen=True, slots=True)
class Repeatability:
    """How well two readings of each of several people agree."""

    people: int
    mean_mm: float
    sd_mm: float
    tem_mm: float
    relative_tem_percent: float
    reliability: float | None
    """None where all readings are alike."""
    smallest_real_change_mm: float


def repeatability(first_mm: Sequence[float], second_mm: Sequence[float]) -> Repeatability:
    """Every figure of agreement from pairs of readings."""
    tem_mm = tem_pairs(first_mm, second_mm)
    everything = [*first_mm, *second_mm]
    mean_mm = statistics.fmean(everything)
    sd_mm = statistics.stdev(everything)
    return Repeatability(
        people=len(first_mm),
        mean_mm=mean_mm,
        sd_mm=sd_mm,
        tem_mm=tem_mm,
        relative_tem_percent=relative_tem_percent(tem_mm, mean_mm),
        reliability=reliability(tem_mm, sd_mm) if sd_mm > 0 else None,
        smallest_real_change_mm=smallest_real_change_mm(tem_mm),
    )


class Agreement(Enum):
    """Whose readings were compared."""

    WITHIN_ONE_ASSESSOR = "within one assessor"
    BETWEEN_ASSESSORS = "between assessors"


class TemLevel(Enum):
    """What a relative technical error of skinfolds is accepted as."""

    EXPERIENCED = "accepted for an experienced assessor"
    BEGINNER = "accepted for a beginner"
    TOO_LARGE = "larger than accepted"


TEM_LIMITS_SOURCE = (
    "Perini TA and others, Revista Brasileira de Medicina do Esporte 2005;11:86-90, after Gore, "
    "Norton and Olds"
)
TEM_LIMITS_CONFIRMED = Confirmed.MEMORY
TEM_LIMITS_PERCENT = {
    Agreement.WITHIN_ONE_ASSESSOR: {TemLevel.EXPERIENCED: 5.0, TemLevel.BEGINNER: 7.5},
    Agreement.BETWEEN_ASSESSORS: {TemLevel.EXPERIENCED: 7.5, TemLevel.BEGINNER: 10.0},
}
"""Largest accepted relative technical error of skinfolds, in percent (from memory)."""


def tem_level(relative_percent: float, agreement: Agreement) -> TemLevel:
    """The level a relative technical error reaches.

    >>> tem_level(6.0, Agreement.WITHIN_ONE_ASSESSOR).value
    'accepted for a beginner'
    """
    limits = TEM_LIMITS_PERCENT[agreement]
    reached: Iterable[TemLevel] = (
        level
        for level in (TemLevel.EXPERIENCED, TemLevel.BEGINNER)
        if relative_percent <= limits[level]
    )
    return next(iter(reached), TemLevel.TOO_LARGE)
