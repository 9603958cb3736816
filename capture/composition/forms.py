"""What a published equation is made of: its formula and what is known about it.

Units everywhere: sums of skinfolds in mm, age in completed years, density in g/cm³, fat in
percent of body mass. Most equations give a density, which a conversion turns into percent; some
give percent themselves and must never meet a conversion.
"""

from dataclasses import dataclass
from enum import Enum, StrEnum

from capture.composition.formulas import (
    Band,
    BandedLog,
    PercentQuadratic,
    PercentTwoPiece,
    Quadratic,
)

__all__ = [
    "GUARD_FRACTION",
    "Band",
    "BandedLog",
    "Confirmed",
    "Equation",
    "FoldDirection",
    "Gives",
    "KnownBias",
    "PercentError",
    "PercentQuadratic",
    "PercentTwoPiece",
    "Quadratic",
    "Sex",
    "StandardError",
    "SumRange",
]

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
    OWN_CHOICE = "our own choice"
    """Not in the literature: settled here, with the reason beside it."""

    @property
    def in_words(self) -> str:
        """Where such a figure stands, for a reader who never saw these words."""
        return {
            Confirmed.VERIFIED: "read in the paper or its abstract",
            Confirmed.SECONDARY: "read in a text that reproduces the paper",
            Confirmed.MEMORY: "not yet compared with the print",
            Confirmed.OWN_CHOICE: "our own choice",
        }[self]


class Gives(Enum):
    """What an equation predicts."""

    DENSITY = "density"
    FAT_PERCENT = "fat percent"
    """Percent straight from the folds; no conversion is ever applied to it."""


class FoldDirection(Enum):
    """Which way the fold was lifted."""

    VERTICAL = "vertical"
    HORIZONTAL = "horizontal"
    DIAGONAL = "diagonal"
    NOT_STATED = "not stated"


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
class PercentError:
    """Standard error of a fat percent that an equation gives directly, in percent of body mass."""

    percent: float
    confirmed: Confirmed


@dataclass(frozen=True, slots=True)
class KnownBias:
    """A sum, in mm, from which others found the equation to be off, and how."""

    from_mm: float
    text: str
    confirmed: Confirmed


@dataclass(frozen=True, slots=True)
class Equation:
    """One published equation from a sum of skinfolds and an age to a density or a fat percent.

    `ages` are the youngest and oldest of the sample, in completed years.
    `sites` are added up; their order is the paper's and does not matter.
    `fold_directions` says how the paper lifted each fold: a reading taken another way does not
    belong in the equation without a word.
    `stand_ins` pairs a site with one that may take its place, but only by an override.
    `confirmed` speaks of the coefficients; ages, range and error carry their own tags.
    `population` names the sample where it was not simply adults.
    """

    id: str
    name: str
    sexes: tuple[Sex, ...]
    ages: tuple[int, int]
    sites: tuple[str, ...]
    sum_range_mm: SumRange | None
    form: Quadratic | BandedLog | PercentQuadratic | PercentTwoPiece
    standard_error: StandardError | PercentError | None
    source: str
    confirmed: Confirmed
    fold_directions: tuple[tuple[str, FoldDirection], ...]
    stand_ins: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()
    ages_confirmed: Confirmed = Confirmed.SECONDARY
    population: str = "adults"
    known_bias: KnownBias | None = None

    @property
    def gives(self) -> Gives:
        """Whether it predicts a density or the percent itself."""
        direct = isinstance(self.form, PercentQuadratic | PercentTwoPiece)
        return Gives.FAT_PERCENT if direct else Gives.DENSITY

    @property
    def standard_error_g_cm3(self) -> float | None:
        """Standard error of the density, or None where it is not known here or there is none."""
        error = self.standard_error
        return error.g_cm3 if isinstance(error, StandardError) else None

    @property
    def standard_error_percent(self) -> float | None:
        """Standard error of a percent given directly, or None where it is not known here."""
        error = self.standard_error
        return error.percent if isinstance(error, PercentError) else None

    @property
    def turning_point_mm(self) -> float | None:
        """Sum beyond which a thicker fold would lower the predicted fat; None if there is none."""
        return self.form.turning_point_mm

    @property
    def guard_mm(self) -> float | None:
        """Sum from which the result is flagged, well before the turning point."""
        turning_point_mm = self.turning_point_mm
        return None if turning_point_mm is None else GUARD_FRACTION * turning_point_mm

    def density_g_cm3(self, sum_mm: float, age_years: float) -> float:
        """Bare formula, without any check of the range.

        An array of sums gives an array of densities; ages may be an array too, except for the
        equations by age band. An equation that gives percent directly is a ValueError.

        >>> from capture.composition.equations import equation
        >>> round(equation("jackson_pollock_1978_men_3").density_g_cm3(45, 30), 7)
        1.0676965
        """
        if isinstance(self.form, PercentQuadratic | PercentTwoPiece):
            raise ValueError(f"{self.id} gives fat percent directly; it has no density")
        return self.form.density_g_cm3(sum_mm, age_years)

    def slope_g_cm3_per_mm(self, sum_mm: float, age_years: float) -> float:
        """Derivative of the density by the sum. A ValueError where there is no density."""
        if isinstance(self.form, PercentQuadratic | PercentTwoPiece):
            raise ValueError(f"{self.id} gives fat percent directly; it has no density")
        return self.form.slope_g_cm3_per_mm(sum_mm, age_years)

    def direct_fat_percent(self, sum_mm: float, age_years: float) -> float:
        """Bare formula of an equation that gives percent itself, without any check of the range.

        An array of sums gives an array of percents. An equation that gives a density is a
        ValueError: it needs a conversion.

        >>> from capture.composition.equations import equation
        >>> round(equation("slaughter_1988_boys_calf").direct_fat_percent(25, 12), 3)
        19.375
        """
        if isinstance(self.form, Quadratic | BandedLog):
            raise ValueError(f"{self.id} gives a density; choose a conversion for it")
        return self.form.fat_percent(sum_mm, age_years)

    def slope_percent_per_mm(self, sum_mm: float, age_years: float) -> float:
        """Derivative of a direct percent by the sum. A ValueError where there is a density."""
        if isinstance(self.form, Quadratic | BandedLog):
            raise ValueError(f"{self.id} gives a density; choose a conversion for it")
        return self.form.slope_percent_per_mm(sum_mm, age_years)

    def to_plain(self) -> dict[str, object]:
        """As a JSON object: everything known about it, with how well each figure is confirmed."""
        seen, error, bias = self.sum_range_mm, self.standard_error, self.known_bias
        return {
            "id": self.id,
            "name": self.name,
            "gives": self.gives.value,
            "population": self.population,
            "sexes": [sex.value for sex in self.sexes],
            "ages": list(self.ages),
            "ages_confirmed": self.ages_confirmed.value,
            "sites": list(self.sites),
            "fold_directions": {site: fold.value for site, fold in self.fold_directions},
            "sum_range_mm": seen and [seen.low_mm, seen.high_mm],
            "sum_range_confirmed": seen and seen.confirmed.value,
            "standard_error_g_cm3": self.standard_error_g_cm3,
            "standard_error_percent": self.standard_error_percent,
            "standard_error_confirmed": error and error.confirmed.value,
            "turning_point_mm": self.turning_point_mm,
            "known_bias": bias and bias.text,
            "source": self.source,
            "confirmed": self.confirmed.value,
            "notes": list(self.notes),
        }
