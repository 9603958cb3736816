"""Equations made with athletes."""

from collections.abc import Iterator

from capture.composition.families import usual_directions
from capture.composition.forms import (
    Band,
    BandedLog,
    Confirmed,
    Equation,
    PercentError,
    PercentQuadratic,
    Quadratic,
    Sex,
)

EVANS_2005 = (
    "Evans EM, Rowe DA, Misic MM, Prior BM, Arngrimsson SA. Skinfold prediction equation for "
    "athletes developed using a four-component model. Medicine and Science in Sports and Exercise "
    "2005;37(11)."
)
EVANS_AGES = (17, 24)
"""132 collegiate athletes of 20.7 ± 2.0 years; the abstract gives no range.

Our own choice: two standard deviations to either side of the mean, in completed years.
"""
_EVANS_SEVEN = (
    "subscapular",
    "triceps",
    "chest",
    "midaxillary",
    "suprailiac",
    "abdominal",
    "thigh",
)
_EVANS_THREE = ("abdominal", "thigh", "triceps")
_EVANS_NOTES = (
    "The error is the total error in 30 athletes who were held out (abstract).",
    "The abstract gives a mean age of 20.7 ± 2.0 years and no range: two standard deviations to "
    "either side are taken here.",
    "The paper has a term for race, coded black or white; it has no figure for anyone else. The "
    "figures are read in the abstract; that the term for race counts for black athletes, and the "
    "term for sex for men, is from memory.",
)
# Sites, constant, per mm, term for men, term for black athletes, total error in percent.
_EVANS = (
    (_EVANS_SEVEN, 10.566, 0.12077, 8.057, 2.545, 3.76),
    (_EVANS_THREE, 8.997, 0.24658, 6.343, 1.998, 3.66),
)


def _evans() -> Iterator[Equation]:
    for sites, constant, per_mm, for_men, for_black, error in _EVANS:
        for sex, people in ((Sex.MALE, "men"), (Sex.FEMALE, "women")):
            for group in ("white", "black"):
                less = (for_men if sex is Sex.MALE else 0) + (for_black if group == "black" else 0)
                yield Equation(
                    id=f"evans_2005_{people}_{len(sites)}_{group}",
                    name=f"Athletes, {len(sites)} sites, {group} {people}, percent (2005)",
                    sexes=(sex,),
                    ages=EVANS_AGES,
                    sites=sites,
                    sum_range_mm=None,
                    form=PercentQuadratic(constant - less, per_mm),
                    standard_error=PercentError(error, Confirmed.VERIFIED),
                    source=EVANS_2005,
                    # The abstract prints the figures, but the coding of the terms is remembered.
                    confirmed=Confirmed.MEMORY,
                    fold_directions=usual_directions(sites),
                    notes=_EVANS_NOTES,
                    ages_confirmed=Confirmed.OWN_CHOICE,
                    population=f"{group} collegiate athletes",
                )


WITHERS_1987 = (
    "Withers RT and others. European Journal of Applied Physiology 1987;56:191-200 (men), and the "
    "paper on women of the same year."
)
_WITHERS_SEVEN = (
    "triceps",
    "subscapular",
    "biceps",
    "supraspinale",
    "abdominal",
    "thigh",
    "calf",
)
_WITHERS_FOUR = ("triceps", "subscapular", "supraspinale", "calf")
_WITHERS_AGES = "The ages are those of grown athletes, from memory; the range is not known here."

WITHERS = (
    Equation(
        id="withers_1987_men_7",
        name="Athletes, seven sites, men (1987)",
        sexes=(Sex.MALE,),
        ages=(18, 39),
        sites=_WITHERS_SEVEN,
        sum_range_mm=None,
        form=Quadratic(1.0988, 0.0004, 0.0, 0.0),
        standard_error=None,
        source=WITHERS_1987,
        confirmed=Confirmed.MEMORY,
        fold_directions=usual_directions(_WITHERS_SEVEN),
        notes=(
            "A paper of 2022 (BioMed Research International 3456958, note to Table 1) says that "
            "this equation is not fully published in the paper of 1987.",
            _WITHERS_AGES,
        ),
        ages_confirmed=Confirmed.MEMORY,
        population="athletes",
    ),
    Equation(
        id="withers_1987_women_4",
        name="Athletes, four sites, women (1987)",
        sexes=(Sex.FEMALE,),
        ages=(18, 39),
        sites=_WITHERS_FOUR,
        sum_range_mm=None,
        form=BandedLog((Band(18, 39, 1.17484, 0.07229),)),
        standard_error=None,
        source=WITHERS_1987,
        confirmed=Confirmed.MEMORY,
        fold_directions=usual_directions(_WITHERS_FOUR),
        notes=(
            "The abstract has a longer equation with the same folds, girths, height and age (182 "
            "athletes, 7.6 to 35.8 % fat); this shorter one is from memory.",
            _WITHERS_AGES,
        ),
        ages_confirmed=Confirmed.MEMORY,
        population="athletes",
    ),
)

ATHLETES = (*_evans(), *WITHERS)
