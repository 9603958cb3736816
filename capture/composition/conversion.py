"""From body density to fat percent, the two-component models: `fat % = a / D - b`.

Density in g/cm³, fat in percent of body mass. Each conversion rests on a fixed density of the
fat-free body, which differs between groups of people; its population is named with it.
"""

import math
from dataclasses import dataclass
from enum import Enum

from capture.composition.forms import Confirmed, Sex
from capture.composition.populations import GROUPS, HEYWARD
from capture.composition.reasons import Reason, ReasonKind
from capture.errors import CaptureError

HIGHEST_SEEN_PERCENT = 61.0
"""Fattest person in any sample behind these equations (Durnin & Womersley 1974, abstract)."""


class NoFat(Enum):
    """Why a density has no fat percent."""

    BELOW_RANGE = "below the model's range"
    """The density is above that of the fat-free body the model assumes, or the percent below 0."""
    ABOVE_RANGE = "above the model's range"
    """Fatter than anyone in the samples."""


@dataclass(frozen=True, slots=True)
class FatPercent:
    """A fat percent, or why there is none. Exactly one of the two is given."""

    fat_percent: float | None
    why_not: NoFat | None = None


@dataclass(frozen=True, slots=True)
class Conversion:
    """One two-component conversion, with the group it was made for.

    `ages` are completed years, both included; None where the source names none.
    """

    id: str
    name: str
    a: float
    b: float
    population: str
    source: str
    confirmed: Confirmed
    sexes: tuple[Sex, ...] = (Sex.MALE, Sex.FEMALE)
    ages: tuple[int, int] | None = None

    def reasons_against(self, sex: Sex | None, age_years: int) -> tuple[Reason, ...]:
        """What speaks against it for a client; a sex of None is not looked at."""
        reasons = []
        if sex is not None and sex not in self.sexes:
            reasons.append(Reason(ReasonKind.CONVERSION_SEX))
        if self.ages is not None and not self.ages[0] <= age_years <= self.ages[1]:
            reasons.append(Reason(ReasonKind.CONVERSION_AGE, age_years, *self.ages))
        return tuple(reasons)

    def to_plain(self) -> dict[str, object]:
        """As a JSON object."""
        return {
            "id": self.id,
            "name": self.name,
            "formula": f"{self.a:g} / D - {self.b:g}",
            "population": self.population,
            "sexes": [sex.value for sex in self.sexes],
            "ages": None if self.ages is None else list(self.ages),
            "source": self.source,
            "confirmed": self.confirmed.value,
        }

    def fat_percent(self, density_g_cm3: float) -> float:
        """Bare formula, of one density or an array; it may come out below zero.

        >>> round(conversion("siri").fat_percent(1.05), 2)
        21.43
        """
        return self.a / density_g_cm3 - self.b

    def density_g_cm3(self, fat_percent: float) -> float:
        """Inverse: the density that gives this fat percent."""
        return self.a / (fat_percent + self.b)

    def slope_percent_per_g_cm3(self, density_g_cm3: float) -> float:
        """Derivative of the fat percent by the density; always below zero."""
        return -self.a / (density_g_cm3 * density_g_cm3)


_CONVERSIONS = (
    Conversion(
        "siri",
        "Siri",
        495.0,
        450.0,
        "general; from densities of 0.900 for fat and 1.100 for the fat-free body",
        "Siri WE. The gross composition of the body. Advances in Biological and Medical Physics "
        "1956;4:239-280; also 1961.",
        Confirmed.VERIFIED,
    ),
    Conversion(
        "brozek",
        "Brozek",
        457.0,
        414.2,
        "general; from a reference man",
        "Brozek J, Grande F, Anderson JT, Keys A. Densitometric analysis of body composition. "
        "Annals of the New York Academy of Sciences 1963;110:113-140.",
        Confirmed.VERIFIED,
    ),
    Conversion(
        "schutte",
        "Schutte",
        437.4,
        392.8,
        "black men",
        "Schutte JE and others, 1984.",
        Confirmed.SECONDARY,
        (Sex.MALE,),
    ),
    Conversion(
        "wagner_heyward",
        "Wagner and Heyward",
        486.0,
        439.0,
        "black men",
        "Wagner DR, Heyward VH, 2001; rounded from 4.858 and 4.394.",
        Confirmed.SECONDARY,
        (Sex.MALE,),
    ),
    Conversion(
        "ortiz",
        "Ortiz",
        483.2,
        436.9,
        "black women",
        "Ortiz O and others, 1992.",
        Confirmed.SECONDARY,
        (Sex.FEMALE,),
    ),
    *(
        Conversion(
            f"heyward_{group.id}",
            f"Heyward, {group.population}",
            # Rounded, so that 100 times a printed 4.51 is 451 and not 450.99999999999994.
            round(100 * group.a, 1),
            round(100 * group.b, 1),
            group.population,
            HEYWARD,
            group.confirmed,
            (group.sex,),
            group.ages,
        )
        for group in GROUPS
    ),
)
_BY_ID = {known.id: known for known in _CONVERSIONS}


def conversions() -> tuple[Conversion, ...]:
    """Every conversion known here."""
    return _CONVERSIONS


def conversion(id_: str) -> Conversion:
    """The conversion with this id, or a CaptureError that lists them."""
    try:
        return _BY_ID[id_]
    except KeyError:
        raise CaptureError(
            f"There is no conversion “{id_}”.", f"Known are: {', '.join(_BY_ID)}."
        ) from None


def convert(chosen: Conversion, density_g_cm3: float) -> FatPercent:
    """Fat percent of a density, or why there is none: never a negative one, never a made-up 0.

    A density that is not above zero, or not a number, is a ValueError.

    >>> convert(conversion("siri"), 1.1089).why_not.value
    "below the model's range"
    """
    if not (math.isfinite(density_g_cm3) and density_g_cm3 > 0):
        raise ValueError(f"a density is above 0 g/cm³, not {density_g_cm3}")
    return within_model(chosen.fat_percent(density_g_cm3))


def within_model(fat_percent: float) -> FatPercent:
    """A computed percent, unless nobody can have it: below 0, or more than anyone measured."""
    if fat_percent < 0:
        return FatPercent(None, NoFat.BELOW_RANGE)
    if fat_percent > HIGHEST_SEEN_PERCENT:
        return FatPercent(None, NoFat.ABOVE_RANGE)
    return FatPercent(fat_percent)
