"""Equations held against other published figures, where no printed value of theirs is known.

Weaker than a check value: two equations of one sample, or a data set, must come near each other,
not agree. Such a comparison finds a wrong digit in a leading coefficient, not one at the end. How
near is near enough is said beside each.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from capture.composition.conversion import conversion
from capture.composition.equations import Equation, equation
from capture.composition.forms import Confirmed, Gives


@dataclass(frozen=True, slots=True)
class CrossCheck:
    """One equation and what it is held against, over some sums (mm) and ages (years).

    `other` gives the percent that it should come near, from a sum and an age. `near` is the
    largest difference allowed, in percent of body mass.
    """

    equation_id: str
    against: str
    confirmed: Confirmed
    sums_mm: tuple[int, ...]
    ages_years: tuple[int, ...]
    near: float
    other: Callable[[float, float], float]

    @property
    def worst(self) -> float:
        """The largest difference, ours less the other's, in percent of body mass."""
        ours = equation(self.equation_id)
        found = [
            _percent(ours, sum_mm, age) - self.other(sum_mm, age)
            for sum_mm in self.sums_mm
            for age in self.ages_years
        ]
        return max(found, key=abs)

    @property
    def within(self) -> bool:
        """Whether the two come as near as they should."""
        return abs(self.worst) <= self.near


@dataclass(frozen=True, slots=True)
class SampleMean:
    """What an equation must give on the average of the sample that it was fitted to.

    A least-squares fit meets the mean. For c0 - c1 S + c2 S² - c3 age that mean is
    c0 - c1 m + c2 (m² + sd²) - c3 times the mean age: the scatter of the sums enters it.
    """

    equation_id: str
    source: str
    mean_mm: float
    deviation_mm: float
    mean_age_years: float
    density_g_cm3: float
    near_g_cm3: float

    @property
    def difference(self) -> float:
        """Ours less the sample's, in g/cm³."""
        # At the mean the square of the mean stands already; the scatter adds its own square.
        low = equation(self.equation_id).density_g_cm3(
            self.mean_mm - self.deviation_mm, self.mean_age_years
        )
        high = equation(self.equation_id).density_g_cm3(
            self.mean_mm + self.deviation_mm, self.mean_age_years
        )
        return (low + high) / 2 - self.density_g_cm3

    @property
    def within(self) -> bool:
        """Whether it meets the mean as nearly as the figures are known."""
        return abs(self.difference) <= self.near_g_cm3


def _percent(using: Equation, sum_mm: float, age_years: float) -> float:
    if using.gives is Gives.FAT_PERCENT:
        return using.direct_fat_percent(sum_mm, age_years)
    return conversion("siri").fat_percent(using.density_g_cm3(sum_mm, age_years))


def _siri(density_g_cm3: float) -> float:
    return conversion("siri").fat_percent(density_g_cm3)


def _of(id_: str) -> Callable[[float, float], float]:
    using = equation(id_)
    return lambda sum_mm, age_years: _percent(using, sum_mm, age_years)


def _log_men(sum_mm: float, age_years: float) -> float:
    return _siri(1.21394 - 0.03101 * math.log(sum_mm) - 0.00029 * age_years)


def _log_women(sum_mm: float, age_years: float) -> float:
    return _siri(1.23173 - 0.03841 * math.log(sum_mm) - 0.00015 * age_years)


def _athletes_line(sum_mm: float, _: float) -> float:
    return 0.849 + 0.16338 * sum_mm


def _children_boys(sum_mm: float, _: float) -> float:
    return _siri(1.166 - 0.070 * math.log10(sum_mm))


def _children_girls(sum_mm: float, _: float) -> float:
    return _siri(1.144 - 0.060 * math.log10(sum_mm))


_PERCENT_FORM = (
    "the percent equation for the same sites, Jackson & Pollock 1985 (another form by the same "
    "authors)"
)
_LOG_FORM = "the logarithmic form for the same sum in the same paper, as reproduced"
_AIS = (
    "the line through recorded percent and recorded sum of folds of 102 male athletes, Telford & "
    "Cunningham 1991, data set ais; its sites and its equation are not documented"
)
_JOHNSTON = (
    "Johnston and others, children of 8 to 14 years, the same four folds, as reproduced (another "
    "sample)"
)

CROSS_CHECKS = (
    CrossCheck(
        "jackson_pollock_1978_men_7",
        _LOG_FORM,
        Confirmed.SECONDARY,
        tuple(range(70, 181, 10)),
        (20, 30, 40, 50, 60),
        1.5,
        _log_men,
    ),
    CrossCheck(
        "jackson_pollock_ward_1980_women_7",
        _LOG_FORM,
        Confirmed.SECONDARY,
        tuple(range(70, 181, 10)),
        (20, 30, 40, 50),
        1.5,
        _log_women,
    ),
    CrossCheck(
        "jackson_pollock_ward_1980_women_4",
        _PERCENT_FORM,
        Confirmed.SECONDARY,
        tuple(range(30, 131, 10)),
        (20, 30, 40, 50),
        1.0,
        _of("jackson_pollock_1985_women_4_percent"),
    ),
    CrossCheck(
        "jackson_pollock_ward_1980_women_3_abdominal",
        _PERCENT_FORM,
        Confirmed.SECONDARY,
        tuple(range(20, 111, 10)),
        (20, 30, 40, 50),
        1.0,
        _of("jackson_pollock_1985_women_3_percent"),
    ),
    CrossCheck(
        "withers_1987_men_7",
        _AIS,
        Confirmed.VERIFIED,
        tuple(range(30, 101, 10)),
        (24,),
        0.5,
        _athletes_line,
    ),
    CrossCheck(
        "durnin_rahaman_1967_boys",
        _JOHNSTON,
        Confirmed.SECONDARY,
        tuple(range(15, 81, 5)),
        (13,),
        3.5,
        _children_boys,
    ),
    CrossCheck(
        "durnin_rahaman_1967_girls",
        _JOHNSTON,
        Confirmed.SECONDARY,
        tuple(range(15, 81, 5)),
        (14,),
        3.5,
        _children_girls,
    ),
)

SAMPLE_MEANS = (
    SampleMean(
        "jackson_pollock_1978_men_7",
        "Jackson & Pollock 1978, Table 1, from memory",
        123, 52, 33, 1.0586, 0.001,
    ),
    SampleMean(
        "jackson_pollock_1978_men_3",
        "Jackson & Pollock 1978, Table 1, from memory",
        59, 25, 33, 1.0586, 0.001,
    ),
    SampleMean(
        "jackson_pollock_ward_1980_women_7",
        "Jackson, Pollock & Ward 1980, Table 1, from memory",
        126, 42, 31, 1.044, 0.001,
    ),
)  # fmt: skip


def markdown_lines() -> Iterator[str]:
    """The table of cross-checks for the documentation."""
    yield "| equation | held against | known how | sums, mm | worst difference | near enough |"
    yield "| --- | --- | --- | --- | ---: | ---: |"
    for each in CROSS_CHECKS:
        yield (
            f"| `{each.equation_id}` Siri | {each.against} | {each.confirmed.value} | "
            f"{each.sums_mm[0]} to {each.sums_mm[-1]} | {each.worst:+.2f} % fat | {each.near:g} |"
        )
    for mean in SAMPLE_MEANS:
        yield (
            f"| `{mean.equation_id}` | the mean density of its own sample, {mean.source} | "
            f"{Confirmed.MEMORY.value} | {mean.mean_mm:g} ± {mean.deviation_mm:g} | "
            f"{mean.difference:+.4f} g/cm³ | {mean.near_g_cm3:g} |"
        )
