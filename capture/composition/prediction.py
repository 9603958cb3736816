"""From one sum of folds to a fat percent and how far it may be off: the single road.

A visit, the command line and a notebook all come through `predict`, so that the same guards stand
before each of them, and an equation that gives percent itself never meets a conversion.
"""

from dataclasses import dataclass

from capture.composition.conversion import (
    Conversion,
    FatPercent,
    conversion,
    convert,
    within_model,
)
from capture.composition.equations import Density, Equation, Gives, Reason, ReasonKind, Sex, judge
from capture.composition.uncertainty import (
    Spread,
    density_standard_error_g_cm3,
    direct_standard_error_percent,
    fat_standard_error_percent,
    plain_range,
    spread,
)

DEFAULT_CONVERSION = "siri"
"""Taken where an equation gives a density and nobody chose; the literature's usual one."""

OUTSIDE_WORDS = "may be off by more: outside the equation's sample"
"""Stands beside every result that was computed by an override."""


@dataclass(frozen=True, slots=True)
class Prediction:
    """What one sum of folds comes to.

    `conversion` is None for an equation that gives percent itself. `density` says what was
    overridden or refused. `fat` is None where nothing was computed.
    """

    equation: Equation
    conversion: Conversion | None
    sum_mm: float
    age_years: int
    density: Density
    density_standard_error_g_cm3: float | None
    fat: FatPercent | None
    fat_standard_error_percent: float | None

    @property
    def fat_percent(self) -> float | None:
        """The fat percent, None where there is none."""
        return None if self.fat is None else self.fat.fat_percent

    @property
    def spread(self) -> Spread | None:
        """The likely range of the percent, None where it or its error is not known."""
        if self.fat_percent is None or self.fat_standard_error_percent is None:
            return None
        return spread(self.fat_percent, self.fat_standard_error_percent)

    @property
    def plain_range(self) -> str | None:
        """The fat percent in words, None where there is none.

        The published error was found within the sample; outside it, it says too little.
        """
        if self.fat_percent is None:
            return None
        words = plain_range(self.fat_percent, self.fat_standard_error_percent)
        return f"{words}, {OUTSIDE_WORDS}" if self.density.outside else words

    @property
    def method(self) -> str:
        """What it was computed by, for the line beside it."""
        if self.conversion is None:
            return f"{self.equation.name}, no conversion"
        return f"{self.equation.name}, converted by {self.conversion.name}"

    @property
    def why_not(self) -> tuple[str, ...]:
        """Sentences why there is no fat percent; empty when there is one."""
        if self.fat is None or self.fat.why_not is None:
            return tuple(reason.text for reason in self.density.refused)
        what = "percent" if self.conversion is None else "density"
        return (f"The {what} lies {self.fat.why_not.value}.",)


def conversion_for(
    chosen: Equation, conversion_id: str | None, sex: Sex | None, age_years: int
) -> tuple[Conversion | None, tuple[Reason, ...]]:
    """The conversion to use, and what speaks against it.

    Where nobody chose one (None) it is Siri's, or none at all for an equation that gives percent
    itself; asking such an equation for a conversion is a reason that nobody can override.
    """
    if chosen.gives is Gives.FAT_PERCENT:
        asked = conversion_id is not None
        return None, (Reason(ReasonKind.ALREADY_PERCENT),) if asked else ()
    model = conversion(DEFAULT_CONVERSION if conversion_id is None else conversion_id)
    if sex is None and len(chosen.sexes) == 1:
        sex = chosen.sexes[0]
    return model, model.reasons_against(sex, age_years)


def predict(
    chosen: Equation,
    sum_mm: float,
    age_years: int,
    *,
    conversion_id: str | None = None,
    sex: Sex | None = None,
    override: bool = False,
    tem_sum_mm: float | None = None,
    further: tuple[Reason, ...] = (),
) -> Prediction:
    """Density (g/cm³) and fat percent of a sum (mm) and an age (completed years), with error.

    `sex` is compared with the equation's where it is given. `tem_sum_mm` is the assessor's
    technical error of the sum. `override` accepts what lies outside the sample; the result says
    so. `further` are reasons found elsewhere, such as missing sites.

    An unknown conversion is a CaptureError; a sum that is not above zero, or an error below it, a
    ValueError. Formulas and sources stand with each equation and conversion.

    >>> from capture.composition.equations import equation
    >>> predict(equation("jackson_pollock_1978_men_3"), 45, 30).plain_range
    '13.6 %, likely 10 to 17'
    """
    model, against = conversion_for(chosen, conversion_id, sex, age_years)
    if sex is not None and sex not in chosen.sexes:
        against = (Reason(ReasonKind.SEX), *against)
    density = judge(chosen, sum_mm, age_years, override=override, further=(*against, *further))
    density_error = fat = fat_error = None
    if not density.refused and model is None:
        fat = within_model(chosen.direct_fat_percent(sum_mm, age_years))
        fat_error = direct_standard_error_percent(chosen, sum_mm, age_years, tem_sum_mm)
    elif model is not None and density.density_g_cm3 is not None:
        fat = convert(model, density.density_g_cm3)
        density_error = density_standard_error_g_cm3(chosen, sum_mm, age_years, tem_sum_mm)
        if density_error is not None:
            fat_error = fat_standard_error_percent(model, density.density_g_cm3, density_error)
    return Prediction(
        equation=chosen,
        conversion=model,
        sum_mm=sum_mm,
        age_years=age_years,
        density=density,
        density_standard_error_g_cm3=density_error,
        fat=fat,
        fat_standard_error_percent=None if fat is None or fat.fat_percent is None else fat_error,
    )
