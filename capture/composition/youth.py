"""Equations for children and adolescents.

The ones with the calf fold need neither clothing moved at the back nor a word on maturity or
race; they are the ones to offer first. Maturity and race are sensitive: nothing here stores them,
they only name an equation.
"""

from collections.abc import Iterator

from capture.composition.families import usual_directions
from capture.composition.forms import (
    Band,
    BandedLog,
    Confirmed,
    Equation,
    KnownBias,
    PercentError,
    PercentQuadratic,
    PercentTwoPiece,
    Sex,
)

SLAUGHTER_1988 = (
    "Slaughter MH and others. Skinfold equations for estimation of body fatness in children and "
    "youth. Human Biology 1988;60:709-723."
)
RAHAMAN_1967 = (
    "Durnin JVGA, Rahaman MM. The assessment of the amount of fat in the human body from "
    "measurements of skinfold thickness. British Journal of Nutrition 1967;21:681-689."
)
SLAUGHTER_AGES = (8, 18)
SLAUGHTER_ERROR = PercentError(4.6, Confirmed.VERIFIED)
"""Upper end of 3.5 to 4.6 (Janz and others 1993, MSSE 25:1070-6: 122 aged 8 to 17; abstract)."""
_SPLIT_MM = 35.0
_CALF = ("triceps", "calf")
_BACK = ("triceps", "subscapular")
_ERROR_NOTE = (
    "The error is the upper end of 3.5 to 4.6 percent found in 122 people of 8 to 17 years (Janz "
    "and others 1993, Medicine and Science in Sports and Exercise 25:1070-6)."
)
_JUMP_NOTE = "The result jumps at a sum of 35 mm, where one formula follows another."


def _known_bias(sex: Sex) -> KnownBias:
    points = 12 if sex is Sex.MALE else 6
    return KnownBias(
        50,
        f"from 50 mm on the equation read {points} points more fat than X-ray absorptiometry did "
        "(Freedman and others 2013)",
        Confirmed.VERIFIED,
    )


def _slaughter(
    id_: str,
    name: str,
    sex: Sex,
    sites: tuple[str, ...],
    form: PercentQuadratic | PercentTwoPiece,
    *,
    population: str = "children and adolescents",
    confirmed: Confirmed = Confirmed.SECONDARY,
    notes: tuple[str, ...] = (),
) -> Equation:
    return Equation(
        id=id_,
        name=name,
        sexes=(sex,),
        ages=SLAUGHTER_AGES,
        sites=sites,
        sum_range_mm=None,
        form=form,
        standard_error=SLAUGHTER_ERROR,
        source=SLAUGHTER_1988,
        confirmed=confirmed,
        fold_directions=usual_directions(sites),
        notes=(*notes, _ERROR_NOTE),
        population=population,
        # That the finding is about these two folds, and not the calf, is from memory.
        known_bias=_known_bias(sex) if sites == _BACK else None,
    )


# Race and maturity as the paper words them, and what is taken off for each.
_BOYS_LESS = (
    ("white", "prepubescent", 1.7),
    ("white", "pubescent", 3.4),
    ("white", "postpubescent", 5.5),
    ("black", "prepubescent", 3.2),
    ("black", "pubescent", 5.2),
    ("black", "postpubescent", 6.8),
)


def _boys_by_group() -> Iterator[Equation]:
    thick = PercentQuadratic(1.6, 0.783)
    for race, maturity, less in _BOYS_LESS:
        yield _slaughter(
            f"slaughter_1988_boys_subscapular_{race}_{maturity}",
            f"Triceps, subscapular, {race} {maturity} boys, percent (1988)",
            Sex.MALE,
            _BACK,
            PercentTwoPiece(_SPLIT_MM, PercentQuadratic(-less, 1.21, 0.008), thick),
            population=f"{race} {maturity} boys",
            notes=(_JUMP_NOTE,),
        )


SLAUGHTER = (
    _slaughter(
        "slaughter_1988_boys_calf",
        "Triceps, calf, boys, percent (1988)",
        Sex.MALE,
        _CALF,
        PercentQuadratic(1.0, 0.735),
    ),
    _slaughter(
        "slaughter_1988_girls_calf",
        "Triceps, calf, girls, percent (1988)",
        Sex.FEMALE,
        _CALF,
        PercentQuadratic(5.1, 0.610),
    ),
    # The constant is 2.5; one text prints 2.4. That 2.5 is the paper's is from memory.
    _slaughter(
        "slaughter_1988_girls_subscapular",
        "Triceps, subscapular, girls, percent (1988)",
        Sex.FEMALE,
        _BACK,
        PercentTwoPiece(
            _SPLIT_MM, PercentQuadratic(-2.5, 1.33, 0.013), PercentQuadratic(9.7, 0.546)
        ),
        confirmed=Confirmed.MEMORY,
        notes=(_JUMP_NOTE, "The constant of 2.5 is from memory; one text prints 2.4."),
    ),
    *_boys_by_group(),
)

_RAHAMAN_SITES = ("biceps", "triceps", "subscapular", "iliac_crest")
_RAHAMAN_NOTES = (
    "Often printed below the table of Durnin and Womersley 1974, but not from that paper; that "
    "it comes from this one, and the ages, are from memory.",
    "Siri and Brozek were made for adults and read too much fat in adolescents; the conversions "
    "by age group fit better.",
)


def _rahaman(
    id_: str, name: str, sex: Sex, ages: tuple[int, int], constant: float, slope: float
) -> Equation:
    return Equation(
        id=id_,
        name=name,
        sexes=(sex,),
        ages=ages,
        sites=_RAHAMAN_SITES,
        sum_range_mm=None,
        form=BandedLog((Band(*ages, constant, slope),)),
        standard_error=None,
        source=f"{RAHAMAN_1967} (Origin from memory.)",
        confirmed=Confirmed.SECONDARY,
        fold_directions=usual_directions(_RAHAMAN_SITES),
        stand_ins=(("iliac_crest", "suprailiac"),),
        notes=_RAHAMAN_NOTES,
        ages_confirmed=Confirmed.MEMORY,
        population="adolescents",
    )


RAHAMAN = (
    _rahaman(
        "durnin_rahaman_1967_boys", "Four sites, boys (1967)", Sex.MALE, (12, 15), 1.1533, 0.0643
    ),
    _rahaman(
        "durnin_rahaman_1967_girls",
        "Four sites, girls (1967)",
        Sex.FEMALE,
        (13, 16),
        1.1369,
        0.0598,
    ),
)

YOUTH = (*SLAUGHTER, *RAHAMAN)
