"""The shapes that published formulas take. Bare arithmetic: no range, no source, no check.

Units: sums of skinfolds in mm, age in years, density in g/cm³, fat in percent of body mass. The
formulas take one sum and one age, or arrays of them: see `capture.composition.arrays`.
"""

import math
from dataclasses import dataclass

from capture.composition.arrays import log10


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
        """Sum at which the density stops falling; None for a straight line."""
        return self.linear / (2 * self.squared) if self.squared else None

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
        """The band of one age; the first or last one for an age outside them all."""
        for band in self.bands:
            if age_years < band.oldest_years + 1:
                return band
        return self.bands[-1]

    def density_g_cm3(self, sum_mm: float, age_years: float) -> float:
        """Density for one age and one sum above zero, or an array of such sums."""
        band = self.band(age_years)
        return band.constant - band.slope * log10(sum_mm)

    def slope_g_cm3_per_mm(self, sum_mm: float, age_years: float) -> float:
        """Change of density with one more millimetre in the sum."""
        return -self.band(age_years).slope / (sum_mm * math.log(10))


@dataclass(frozen=True, slots=True)
class PercentQuadratic:
    """Fat percent as `constant + linear * S - squared * S² + per_year * age`.

    With `squared` 0 it is a straight line, which never turns.
    """

    constant: float
    linear: float
    squared: float = 0.0
    per_year: float = 0.0

    @property
    def turning_point_mm(self) -> float | None:
        """Sum at which the percent stops rising; None for a straight line."""
        return self.linear / (2 * self.squared) if self.squared else None

    def fat_percent(self, sum_mm: float, age_years: float) -> float:
        """Fat percent for one sum and age."""
        return (
            self.constant
            + self.linear * sum_mm
            - self.squared * sum_mm * sum_mm
            + self.per_year * age_years
        )

    def slope_percent_per_mm(self, sum_mm: float, age_years: float) -> float:  # noqa: ARG002
        """Change of the percent with one more millimetre in the sum."""
        return self.linear - 2 * self.squared * sum_mm


@dataclass(frozen=True, slots=True)
class PercentTwoPiece:
    """Fat percent by one formula up to and with `split_mm`, and by another above it.

    The result jumps at the split. The first formula must not turn before it.
    """

    split_mm: float
    thin: PercentQuadratic
    thick: PercentQuadratic

    @property
    def turning_point_mm(self) -> float | None:
        """That of the formula for thick folds."""
        return self.thick.turning_point_mm

    def fat_percent(self, sum_mm: float, age_years: float) -> float:
        """Fat percent for one sum and age."""
        # Products with true and false choose the piece for a number and an array alike.
        return (sum_mm <= self.split_mm) * self.thin.fat_percent(sum_mm, age_years) + (
            sum_mm > self.split_mm
        ) * self.thick.fat_percent(sum_mm, age_years)

    def slope_percent_per_mm(self, sum_mm: float, age_years: float) -> float:
        """Change of the percent with one more millimetre in the sum, the jump left out."""
        piece = self.thin if sum_mm <= self.split_mm else self.thick
        return piece.slope_percent_per_mm(sum_mm, age_years)
