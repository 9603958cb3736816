"""What a published density equation is made of: its formula and what is known about it.

Units everywhere: sums of skinfolds in mm, age in completed years, density in g/cm³.
"""

import math
from dataclasses import dataclass
from enum import Enum, StrEnum

GUARD_FRACTION = 0.8
"""Share of the turning point from which a quadratic equation is no longer trusted.

There one more millimetre counts a fifth of what the first one did. Our own choice, no source.
"""


class Sex(StrEnum):
    """Sex as the samples behind the equations were described."""

    MALE = "male"
    FEMALE = "female"


class Confirmed(Enum):
    """How well a figure of the literature is confirmed."""

    VERIFIED = "verified"
    """Read in the paper or its abstract."""
    SECONDARY = "secondary"
    """Read in a text that reproduces the paper, not in the paper itself."""
    MEMORY = "memory"
    """Known from memory alone; to be checked before anyone relies on it."""


class FoldDirection(Enum):
    """Which way the fold was lifted."""

    VERTICAL = "vertical"
    HORIZONTAL = "horizontal"
    DIAGONAL = "diagonal"
    NOT_STATED = "not stated"


@dataclass(frozen=True, slots=True)
class Quadratic:
    """Density as `constant - linear * S + squared * S² - per_year * age`.

    The parabola turns at `linear / (2 * squared)`: beyond it a thicker fold would lower the
    predicted fat.
    """

    constant: float
    linear: float
    squared: float
    per_year: float

    @property
    def turning_point_mm(self) -> float | None:
        """Sum at which the density stops falling."""
        return self.linear / (2 * self.squared)

    def density_g_cm3(self, sum_mm: float, age_years: float) -> float:
        """Density for one sum and age."""
        return (
            self.constant
            - self.linear * sum_mm
            + self.squared * sum_mm * sum_mm
            - self.per_year * age_years
        )

    def slope_g_cm3_per_mm(self, sum_mm: float, age_years: float) -> float:  # noqa: ARG002
        """Change of density with one more millimetre in the sum."""
        return -self.linear + 2 * self.squared * sum_mm


@dataclass(frozen=True, slots=True)
class Band:
    """One age band of a banded equation: `constant - slope * log10(S)`.

    `youngest_years` and `oldest_years` are completed years, both included.
    """

    youngest_years: int
    oldest_years: int
    constant: float
    slope: float


@dataclass(frozen=True, slots=True)
class BandedLog:
    """Density as `constant - slope * log10(S)`, with a pair of constants for each age band.

    The logarithm has base ten. The result jumps on the birthday that opens a new band.
    """

    bands: tuple[Band, ...]

    @property
    def turning_point_mm(self) -> float | None:
        """None: a logarithm falls without end."""
        return None

    def band(self, age_years: float) -> Band:
        """The band of an age; the first or last one for an age outside them all."""
        for band in self.bands:
            if age_years < band.oldest_years + 1:
                return band
        return self.bands[-1]

    def density_g_cm3(self, sum_mm: float, age_years: float) -> float:
        """Density for one sum and age. The sum must be above zero."""
        band = self.band(age_years)
        return band.constant - band.slope * math.log10(sum_mm)

    def slope_g_cm3_per_mm(self, sum_mm: float, age_years: float) -> float:
        """Change of density with one more millimetre in the sum."""
        return -self.band(age_years).slope / (sum_mm * math.log(10))


@dataclass(frozen=True, slots=True)
class SumRange:
    """The smallest and largest sum seen in the sample, in mm."""

    low_mm: float
    high_mm: float
    confirmed: Confirmed


@dataclass(frozen=True, slots=True)
class StandardError:
    """Standard error of estimate of the density, in g/cm³."""

    g_cm3: float
    confirmed: Confirmed


@dataclass(frozen=True, slots=True)
class Equation:
    """One published equation from a sum of skinfolds and an age to a body density.

    `ages` are the youngest and oldest of the sample, in completed years.
    `sites` are added up; their order is the paper's and does not matter.
    `fold_directions` says how the paper lifted each fold: a reading taken another way does not
    belong in the equation without a word.
    `stand_ins` pairs a site with one that may take its place, but only by an override.
    `confirmed` speaks of the coefficients; range and error carry their own tag.
    """

    id: str
    name: str
    sexes: tuple[Sex, ...]
    ages: tuple[int, int]
    sites: tuple[str, ...]
    sum_range_mm: SumRange | None
    form: Quadratic | BandedLog
    standard_error: StandardError | None
    source: str
    confirmed: Confirmed
    fold_directions: tuple[tuple[str, FoldDirection], ...]
    stand_ins: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def standard_error_g_cm3(self) -> float | None:
        """Standard error of the density, or None where it is not known here."""
        return None if self.standard_error is None else self.standard_error.g_cm3

    @property
    def turning_point_mm(self) -> float | None:
        """Sum beyond which a thicker fold would lower the result; None if there is none."""
        return self.form.turning_point_mm

    @property
    def guard_mm(self) -> float | None:
        """Sum from which the result is flagged, well before the turning point."""
        turning_point_mm = self.turning_point_mm
        return None if turning_point_mm is None else GUARD_FRACTION * turning_point_mm

    def density_g_cm3(self, sum_mm: float, age_years: float) -> float:
        """Bare formula, without any check of the range.

        >>> from capture.composition.equations import equation
        >>> round(equation("jackson_pollock_1978_men_3").density_g_cm3(45, 30), 7)
        1.0676965
        """
        return self.form.density_g_cm3(sum_mm, age_years)

    def slope_g_cm3_per_mm(self, sum_mm: float, age_years: float) -> float:
        """Derivative of the density by the sum."""
        return self.form.slope_g_cm3_per_mm(sum_mm, age_years)
