"""How far a fat percent may be off: from the standard error of a density to plain words.

First-order propagation: a small error in one figure becomes an error in the next one times the
slope between them; errors that do not depend on each other add as squares.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from capture.composition.conversion import Conversion
from capture.composition.forms import Equation


@dataclass(frozen=True, slots=True)
class Masses:
    """Fat and fat-free mass in kg, each with its standard error, None where that is not known."""

    fat_mass_kg: float
    fat_free_mass_kg: float
    fat_mass_standard_error_kg: float | None
    fat_free_mass_standard_error_kg: float | None


def tem_of_sum_mm(site_tems_mm: Iterable[float]) -> float:
    """Technical error of a sum of folds from those of its sites, in mm.

    It takes the errors of the sites as independent of each other.
    """
    return math.hypot(*site_tems_mm)


def _tem(tem_sum_mm: float | None) -> float:
    if tem_sum_mm is None:
        return 0.0
    if not (math.isfinite(tem_sum_mm) and tem_sum_mm >= 0):
        raise ValueError(f"a technical error is 0 mm or more, not {tem_sum_mm}")
    return tem_sum_mm


def density_standard_error_g_cm3(
    equation: Equation, sum_mm: float, age_years: float, tem_sum_mm: float | None = None
) -> float | None:
    """Standard error of a predicted density, or None where the equation's own is not known.

    `tem_sum_mm` is the assessor's technical error of the sum; it enters through the derivative
    of the equation. The published error already holds the measurement error of its own
    assessors, so the two together err a little on the wide side.
    """
    if equation.standard_error_g_cm3 is None:
        return None
    from_sum = equation.slope_g_cm3_per_mm(sum_mm, age_years) * _tem(tem_sum_mm)
    return math.hypot(equation.standard_error_g_cm3, from_sum)


def direct_standard_error_percent(
    equation: Equation, sum_mm: float, age_years: float, tem_sum_mm: float | None = None
) -> float | None:
    """Standard error of a percent that an equation gives itself, None where it is not known.

    The assessor's technical error enters as in `density_standard_error_g_cm3`.
    """
    if equation.standard_error_percent is None:
        return None
    from_sum = equation.slope_percent_per_mm(sum_mm, age_years) * _tem(tem_sum_mm)
    return math.hypot(equation.standard_error_percent, from_sum)


def fat_standard_error_percent(
    conversion: Conversion, density_g_cm3: float, density_error_g_cm3: float
) -> float:
    """Standard error of the fat percent, in points, from that of the density.

    For Siri the slope is 495 / D². The error of the conversion itself, which is that people
    differ in the density of their fat-free body, is not in it.

    >>> from capture.composition.conversion import conversion
    >>> round(fat_standard_error_percent(conversion("siri"), 1.0586, 0.0077), 1)
    3.4
    """
    return abs(conversion.slope_percent_per_g_cm3(density_g_cm3)) * density_error_g_cm3


def masses(
    weight_kg: float,
    fat_percent: float,
    fat_error_percent: float | None,
    weight_error_kg: float = 0.0,
) -> Masses:
    """Fat mass and fat-free mass of a body weight, with their standard errors.

    A weight that is not above zero, or not a number, is a ValueError.
    """
    if not (math.isfinite(weight_kg) and weight_kg > 0):
        raise ValueError(f"a body weight is above 0 kg, not {weight_kg}")
    share = fat_percent / 100
    fat_error_kg = fat_free_error_kg = None
    if fat_error_percent is not None:
        from_share_kg = weight_kg * fat_error_percent / 100
        fat_error_kg = math.hypot(from_share_kg, share * weight_error_kg)
        fat_free_error_kg = math.hypot(from_share_kg, (1 - share) * weight_error_kg)
    return Masses(weight_kg * share, weight_kg * (1 - share), fat_error_kg, fat_free_error_kg)


@dataclass(frozen=True, slots=True)
class GoalWeight:
    """What a target percent would weigh if the fat-free mass stayed as it is, in kg."""

    target_percent: float
    weight_kg: float
    standard_error_kg: float | None
    to_lose_kg: float
    """Today's weight less the goal weight; below zero where it is a gain."""


def goal_weight(
    weight_kg: float,
    fat_percent: float,
    fat_error_percent: float | None,
    target_percent: float,
    weight_error_kg: float = 0.0,
) -> GoalWeight:
    """Weight at a target percent: fat-free mass / (1 - target / 100), with its standard error.

    That the fat-free mass stays is an assumption, and rarely quite true. The error is that of the
    fat-free mass, divided alike. A target below 0 or not below 100 is a ValueError, and so is a
    weight that is not above zero.

    >>> round(goal_weight(80, 20, 3.5, 15).weight_kg, 1)
    75.3
    """
    if not 0 <= target_percent < 100:
        raise ValueError(f"a target is 0 to below 100 %, not {target_percent}")
    now = masses(weight_kg, fat_percent, fat_error_percent, weight_error_kg)
    rest = 1 - target_percent / 100
    goal_kg = now.fat_free_mass_kg / rest
    error_kg = now.fat_free_mass_standard_error_kg
    return GoalWeight(
        target_percent,
        goal_kg,
        None if error_kg is None else error_kg / rest,
        weight_kg - goal_kg,
    )


@dataclass(frozen=True, slots=True)
class Spread:
    """A likely range: about two in three lie within it. It does not reach below zero."""

    low: float
    high: float


def spread(value: float, standard_error: float) -> Spread:
    """One standard error to either side of a value, cut off at zero."""
    return Spread(max(0.0, value - standard_error), value + standard_error)


def whole(value: float) -> int:
    """Nearest whole number, a half going up; the one rounding of every range shown."""
    return math.floor(value + 0.5)


def one_decimal(value: float) -> str:
    """A value to one decimal, a half going up.

    >>> one_decimal(18.449), one_decimal(18.45)
    ('18.4', '18.5')
    """
    # The hair's breadth lets 18.45, which a float holds a little short, go up as a person would.
    return f"{math.floor(value * 10 + 0.5 + 1e-9) / 10:.1f}"


def in_words(value: float, standard_error: float | None, unit: str) -> str:
    """A value in words, with its likely range.

    The range is one standard error to either side: about two people in three lie within it. That
    is what the papers print as their standard error, and what "likely" says in plain speech; a
    range for nineteen in twenty would be twice as wide. The range is rounded to whole units. The
    value keeps one decimal, as the literature prints it, but only where a range stands beside it
    to say how little that decimal weighs. A range that would reach below zero only says where it
    ends.

    >>> in_words(14.72, 2.8, "kg")
    '14.7 kg, likely 12 to 18'
    """
    if standard_error is None:
        return f"about {whole(value)} {unit}, error not known"
    shown = f"{one_decimal(value)} {unit}"
    high = whole(value + standard_error)
    if value < standard_error:
        return f"{shown}, likely below {high}"
    return f"{shown}, likely {whole(value - standard_error)} to {high}"


def plain_range(fat_percent: float, standard_error_percent: float | None) -> str:
    """A fat percent in words, with its likely range, as `in_words` says.

    >>> plain_range(18.4, 3.5)
    '18.4 %, likely 15 to 22'
    >>> plain_range(2.1, 3.4)
    '2.1 %, likely below 6'
    >>> plain_range(18.4, None)
    'about 18 %, error not known'
    """
    return in_words(fat_percent, standard_error_percent, "%")
