"""The published equations, as data. Every figure has its source and how it is confirmed.

Here are those for the general population that give a density; those that give percent directly,
those for athletes and those for the young lie beside it, and `PUBLISHED` holds them all.
"""

from capture.composition.athletes import ATHLETES
from capture.composition.direct import DIRECT
from capture.composition.families import (
    JP_DIRECTIONS,
    JP_SUPRAILIAC,
    LANGE,
    LARGE_SUMS,
    MEN_AGES,
    WOMEN_AGES,
)
from capture.composition.forms import (
    Band,
    BandedLog,
    Confirmed,
    Equation,
    FoldDirection,
    Quadratic,
    Sex,
    StandardError,
    SumRange,
)
from capture.composition.youth import YOUTH

JP_1978 = (
    "Jackson AS, Pollock ML. Generalized equations for predicting body density of men. "
    "British Journal of Nutrition 1978;40:497-504."
)
JPW_1980 = (
    "Jackson AS, Pollock ML, Ward A. Generalized equations for predicting body density of women. "
    "Medicine and Science in Sports and Exercise 1980;12:175-182."
)
PSJ_1980 = (
    "Pollock ML, Schmidt DH, Jackson AS. Measurement of cardiorespiratory fitness and body "
    "composition in the clinical setting. Comprehensive Therapy 1980;6:12-27."
)
DW_1974 = (
    "Durnin JVGA, Womersley J. Body fat assessed from total body density and its estimation from "
    "skinfold thickness: measurements on 481 men and women aged from 16 to 72 years. "
    "British Journal of Nutrition 1974;32:77-97, Table 5."
)

_JP_SEVEN = tuple(JP_DIRECTIONS)


def _jackson_pollock(
    id_: str,
    name: str,
    sex: Sex,
    sites: tuple[str, ...],
    form: Quadratic,
    *,
    source: str,
    confirmed: Confirmed,
    standard_error: StandardError | None,
    sum_range_mm: SumRange | None,
) -> Equation:
    suprailiac = (JP_SUPRAILIAC,) if "suprailiac" in sites else ()
    return Equation(
        id=id_,
        name=name,
        sexes=(sex,),
        ages=MEN_AGES if sex is Sex.MALE else WOMEN_AGES,
        sites=sites,
        sum_range_mm=sum_range_mm,
        form=form,
        standard_error=standard_error,
        source=source,
        confirmed=confirmed,
        fold_directions=tuple((site, JP_DIRECTIONS[site]) for site in sites),
        notes=(*suprailiac, LARGE_SUMS, LANGE),
        ages_confirmed=Confirmed.VERIFIED if source == JP_1978 else Confirmed.SECONDARY,
    )


# The ranges of the sums are remembered from the papers' Tables 1, with low confidence.
JACKSON_POLLOCK = (
    _jackson_pollock(
        "jackson_pollock_1978_men_7",
        "Seven sites, men (1978)",
        Sex.MALE,
        _JP_SEVEN,
        Quadratic(1.112, 0.00043499, 0.00000055, 0.00028826),
        source=JP_1978,
        confirmed=Confirmed.SECONDARY,
        standard_error=StandardError(0.0078, Confirmed.SECONDARY),
        sum_range_mm=SumRange(32, 272, Confirmed.MEMORY),
    ),
    _jackson_pollock(
        "jackson_pollock_1978_men_3",
        "Chest, abdominal, thigh, men (1978)",
        Sex.MALE,
        ("chest", "abdominal", "thigh"),
        Quadratic(1.10938, 0.0008267, 0.0000016, 0.0002574),
        source=JP_1978,
        confirmed=Confirmed.SECONDARY,
        standard_error=StandardError(0.0077, Confirmed.SECONDARY),
        sum_range_mm=SumRange(10, 118, Confirmed.MEMORY),
    ),
    # The coefficients are read in a secondary text; that this paper is their origin is from
    # memory. Neither the error nor the range of this sum is known here: None, not a guess.
    _jackson_pollock(
        "pollock_schmidt_jackson_1980_men_3",
        "Chest, triceps, subscapular, men (1980)",
        Sex.MALE,
        ("chest", "triceps", "subscapular"),
        Quadratic(1.1125025, 0.0013125, 0.0000055, 0.000244),
        source=f"{PSJ_1980} (Origin from memory.)",
        confirmed=Confirmed.SECONDARY,
        standard_error=None,
        sum_range_mm=None,
    ),
    _jackson_pollock(
        "jackson_pollock_ward_1980_women_7",
        "Seven sites, women (1980)",
        Sex.FEMALE,
        _JP_SEVEN,
        Quadratic(1.097, 0.00046971, 0.00000056, 0.00012828),
        source=JPW_1980,
        confirmed=Confirmed.SECONDARY,
        standard_error=StandardError(0.0083, Confirmed.SECONDARY),
        sum_range_mm=SumRange(35, 266, Confirmed.MEMORY),
    ),
    # 1.0994921: some texts print 1.0994291 or 1.099421.
    _jackson_pollock(
        "jackson_pollock_ward_1980_women_3",
        "Triceps, suprailiac, thigh, women (1980)",
        Sex.FEMALE,
        ("triceps", "suprailiac", "thigh"),
        Quadratic(1.0994921, 0.0009929, 0.0000023, 0.0001392),
        source=JPW_1980,
        confirmed=Confirmed.SECONDARY,
        standard_error=StandardError(0.0086, Confirmed.MEMORY),
        sum_range_mm=SumRange(16, 126, Confirmed.MEMORY),
    ),
    # For this one and the next the error of the other three-site equation is carried over.
    _jackson_pollock(
        "jackson_pollock_ward_1980_women_3_abdominal",
        "Triceps, suprailiac, abdominal, women (1980)",
        Sex.FEMALE,
        ("triceps", "suprailiac", "abdominal"),
        Quadratic(1.089733, 0.0009245, 0.0000025, 0.0000979),
        source=JPW_1980,
        confirmed=Confirmed.MEMORY,
        standard_error=StandardError(0.0086, Confirmed.MEMORY),
        sum_range_mm=None,
    ),
    _jackson_pollock(
        "jackson_pollock_ward_1980_women_4",
        "Triceps, abdominal, suprailiac, thigh, women (1980)",
        Sex.FEMALE,
        ("triceps", "abdominal", "suprailiac", "thigh"),
        Quadratic(1.096095, 0.0006952, 0.0000011, 0.0000714),
        source=JPW_1980,
        confirmed=Confirmed.MEMORY,
        standard_error=StandardError(0.0086, Confirmed.MEMORY),
        sum_range_mm=None,
    ),
)

_DW_SITES = ("biceps", "triceps", "subscapular", "iliac_crest")
_DW_DIRECTIONS = (
    ("biceps", FoldDirection.VERTICAL),
    ("triceps", FoldDirection.VERTICAL),
    ("subscapular", FoldDirection.DIAGONAL),
    ("iliac_crest", FoldDirection.NOT_STATED),
)
_DW_NOTES = (
    "The paper's word is suprailiac; it lies just above the crest in the mid-axillary line, where "
    "the iliac crest site lies, not at the anterior axillary line.",
    "The result jumps on the birthday that opens a new age band.",
)


def _durnin_womersley(
    id_: str,
    name: str,
    sex: Sex,
    standard_error_g_cm3: float,
    rows: tuple[tuple[int, int, float, float], ...],
) -> Equation:
    return Equation(
        id=id_,
        name=name,
        sexes=(sex,),
        ages=(rows[0][0], rows[-1][1]),
        sites=_DW_SITES,
        sum_range_mm=None,
        form=BandedLog(tuple(Band(*row) for row in rows)),
        # Upper end of the errors by band remembered from Table 4, so that it errs wide.
        standard_error=StandardError(standard_error_g_cm3, Confirmed.MEMORY),
        source=DW_1974,
        confirmed=Confirmed.SECONDARY,
        fold_directions=_DW_DIRECTIONS,
        stand_ins=(("iliac_crest", "suprailiac"),),
        notes=_DW_NOTES,
        # The abstract has 16 to 72 for both; where each sex begins and ends is in Table 5.
        ages_confirmed=Confirmed.SECONDARY,
    )


# Rows for people under 16 or 17 are often printed below this table; they come from another paper.
DURNIN_WOMERSLEY = (
    _durnin_womersley(
        "durnin_womersley_1974_men",
        "Four sites by age band, men (1974)",
        Sex.MALE,
        0.010,
        (
            (17, 19, 1.1620, 0.0630),
            (20, 29, 1.1631, 0.0632),
            (30, 39, 1.1422, 0.0544),
            (40, 49, 1.1620, 0.0700),
            (50, 72, 1.1715, 0.0779),
        ),
    ),
    _durnin_womersley(
        "durnin_womersley_1974_women",
        "Four sites by age band, women (1974)",
        Sex.FEMALE,
        0.013,
        (
            (16, 19, 1.1549, 0.0678),
            (20, 29, 1.1599, 0.0717),
            (30, 39, 1.1423, 0.0632),
            (40, 49, 1.1333, 0.0612),
            (50, 68, 1.1339, 0.0645),
        ),
    ),
)

PUBLISHED = (*JACKSON_POLLOCK, *DURNIN_WOMERSLEY, *DIRECT, *ATHLETES, *YOUTH)
"""Every equation known here."""
