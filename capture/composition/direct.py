"""Equations for adults that give fat percent directly. A conversion must never see their result.

One published text calls these polynomials "body density" and then applies Siri; that is wrong.
"""

from capture.composition.families import (
    JP_DIRECTIONS,
    JP_SUPRAILIAC,
    LARGE_SUMS,
    MEN_AGES,
    WOMEN_AGES,
)
from capture.composition.forms import Confirmed, Equation, PercentQuadratic, Sex

JP_1985 = (
    "Jackson AS, Pollock ML. Practical assessment of body composition. Physician and "
    "Sportsmedicine 1985;13(5):76-90; also Golding LA, Myers CR, Sinning WE. Y's Way to Physical "
    "Fitness, 1989."
)
_FOUR = ("abdominal", "triceps", "thigh", "suprailiac")
_THREE = ("abdominal", "triceps", "suprailiac")
_NO_ERROR = "No standard error of this equation is known here; its results have no range."
_AGES = "The ages are taken to be those of the samples of 1978 and 1980 (from memory)."


def _direct(
    id_: str,
    name: str,
    sex: Sex,
    sites: tuple[str, ...],
    form: PercentQuadratic,
    confirmed: Confirmed,
) -> Equation:
    return Equation(
        id=id_,
        name=name,
        sexes=(sex,),
        ages=MEN_AGES if sex is Sex.MALE else WOMEN_AGES,
        sites=sites,
        sum_range_mm=None,
        form=form,
        standard_error=None,
        source=JP_1985,
        confirmed=confirmed,
        fold_directions=tuple((site, JP_DIRECTIONS[site]) for site in sites),
        notes=(JP_SUPRAILIAC, LARGE_SUMS, _AGES, _NO_ERROR),
        ages_confirmed=Confirmed.MEMORY,
    )


DIRECT = (
    _direct(
        "jackson_pollock_1985_men_4_percent",
        "Abdominal, triceps, thigh, suprailiac, percent, men (1985)",
        Sex.MALE,
        _FOUR,
        PercentQuadratic(-5.76377, 0.29288, 0.0005, 0.15845),
        Confirmed.SECONDARY,
    ),
    _direct(
        "jackson_pollock_1985_women_4_percent",
        "Abdominal, triceps, thigh, suprailiac, percent, women (1985)",
        Sex.FEMALE,
        _FOUR,
        PercentQuadratic(1.4072, 0.29669, 0.00043, 0.02963),
        Confirmed.SECONDARY,
    ),
    _direct(
        "jackson_pollock_1985_men_3_percent",
        "Abdominal, triceps, suprailiac, percent, men (1985)",
        Sex.MALE,
        _THREE,
        PercentQuadratic(-5.18845, 0.39287, 0.00105, 0.15772),
        Confirmed.MEMORY,
    ),
    _direct(
        "jackson_pollock_1985_women_3_percent",
        "Abdominal, triceps, suprailiac, percent, women (1985)",
        Sex.FEMALE,
        _THREE,
        PercentQuadratic(4.03653, 0.41563, 0.00112, 0.03661),
        Confirmed.SECONDARY,
    ),
)
