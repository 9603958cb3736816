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
    from_sum = equation.slope_g_cm3_per_mm(sum_mm, age_years) * (tem_sum_mm or 0.0)
    return math.hypot(equation.standard_error_g_cm3, from_sum)


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


def whole(value: float) -> int:
    """Nearest whole number, a half going up; the one rounding of every percent shown."""
    return math.floor(value + 0.5)


def plain_range(fat_percent: float, standard_error_percent: float | None) -> str:
    """A fat percent in words, with its likely range.

    The range is one standard error to either side: about two people in three lie within it. That
    is what the papers print as their standard error, and what "likely" says in plain speech; a
    range for nineteen in twenty would be twice as wide. Everything is rounded to whole percent:
    an error of three or four points does not deserve a decimal. A range that would reach below
    zero only says where it ends.

    >>> plain_range(18.4, 3.5)
    '18 %, likely 15 to 22'
    >>> plain_range(2.1, 3.4)
    '2 %, likely below 6'
    >>> plain_range(18.4, None)
    '18 %, error not known'
    """
    shown = f"{whole(fat_percent)} %"
    if standard_error_percent is None:
        return f"{shown}, error not known"
    low = whole(fat_percent - standard_error_percent)
    high = whole(fat_percent + standard_error_percent)
    if fat_percent < standard_error_percent:
        return f"{shown}, likely below {high}"
    return f"{shown}, likely {low} to {high}"
