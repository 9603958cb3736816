"""Published and recomputed figures to hold the formulas against.

A check is not an oracle beyond its tolerance: printed tables are rounded, some of their rows are
interpolated by their authors, and some cells are remembered rather than read. Each check says so.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from capture.composition.conversion import conversion
from capture.composition.equations import equation
from capture.composition.forms import Confirmed, Gives


class Quantity(Enum):
    """What a check compares."""

    DENSITY = "g/cm³"
    FAT = "% fat"


@dataclass(frozen=True, slots=True)
class Check:
    """One figure to arrive at.

    With an equation that gives percent itself `conversion_id` is None, and the percent compared.

    With an `equation_id`, the sum and ages are put through it; several ages mean the mean of
    their results. Without one, `density_g_cm3` is converted. `conversion_id` is None where the
    density itself is compared. `recomputed` marks a figure that was worked out from the formula
    apart from this code, not printed anywhere.
    """

    source: str
    expected: float
    tolerance: float
    confirmed: Confirmed
    equation_id: str | None = None
    sum_mm: float | None = None
    ages_years: tuple[int, ...] = ()
    density_g_cm3: float | None = None
    conversion_id: str | None = "siri"
    recomputed: bool = False

    @property
    def quantity(self) -> Quantity:
        """Density or fat percent."""
        if self._direct:
            return Quantity.FAT
        return Quantity.DENSITY if self.conversion_id is None else Quantity.FAT

    @property
    def _direct(self) -> bool:
        return (
            self.equation_id is not None and equation(self.equation_id).gives is Gives.FAT_PERCENT
        )

    @property
    def given(self) -> str:
        """What goes in, readable: 'sum 45 mm, age 30' or 'density 1.0761'."""
        if self.sum_mm is None:
            return f"density {self.density_g_cm3}"
        return f"sum {self.sum_mm:g} mm, age {' and '.join(str(age) for age in self.ages_years)}"

    def ours(self) -> float:
        """What this program computes."""
        ages = max(1, len(self.ages_years))
        if self._direct and self.equation_id is not None and self.sum_mm is not None:
            direct, sum_mm = equation(self.equation_id), self.sum_mm
            percents = [direct.direct_fat_percent(sum_mm, age) for age in self.ages_years]
            return math.fsum(percents) / ages
        return math.fsum(self._single(density) for density in self._densities()) / ages

    def _densities(self) -> Iterator[float]:
        if self.equation_id is None or self.sum_mm is None:
            yield self.density_g_cm3 or math.nan
            return
        for age_years in self.ages_years:
            yield equation(self.equation_id).density_g_cm3(self.sum_mm, age_years)

    def _single(self, density_g_cm3: float) -> float:
        if self.conversion_id is None:
            return density_g_cm3
        return conversion(self.conversion_id).fat_percent(density_g_cm3)


@dataclass(frozen=True, slots=True)
class CheckRow:
    """One line of the table for readers."""

    check: Check
    ours: float

    @property
    def difference(self) -> float:
        """Ours less expected."""
        return self.ours - self.check.expected

    @property
    def within(self) -> bool:
        """Whether the difference is within the tolerance."""
        return abs(self.difference) <= self.check.tolerance


_DW_MEN, _DW_WOMEN = "durnin_womersley_1974_men", "durnin_womersley_1974_women"
DW_TABLE = "Durnin & Womersley 1974, Table 6, as reproduced"
_DW_CELLS: dict[tuple[str, tuple[int, ...]], dict[int, float]] = {
    # The youngest column is the mean of the two young bands.
    (_DW_MEN, (19, 29)): {
        15: 4.8, 20: 8.1, 25: 10.5, 30: 12.9, 35: 14.7, 40: 16.4, 45: 17.7, 50: 19.0, 55: 20.1,
    },
    # Left out: 12.2 at a sum of 20 mm, where the equation gives 12.0.
    (_DW_MEN, (35,)): {
        25: 14.2, 30: 16.2, 35: 17.7, 40: 19.2, 45: 20.4, 50: 21.5, 70: 25.1, 125: 31.5,
    },
    (_DW_MEN, (45,)): {
        20: 12.2, 25: 15.0, 30: 17.7, 35: 19.6, 40: 21.4, 45: 23.0, 50: 24.6, 115: 36.4,
    },
    (_DW_MEN, (55,)): {
        20: 12.6, 25: 15.6, 30: 18.6, 35: 20.8, 40: 22.9, 45: 24.7, 50: 26.5, 115: 39.7,
    },
    (_DW_WOMEN, (19, 29)): {100: 36.4},
    (_DW_WOMEN, (35,)): {40: 25.5, 85: 35.1, 100: 37.2},
    (_DW_WOMEN, (45,)): {75: 35.9},
    (_DW_WOMEN, (55,)): {75: 38.7, 85: 40.4, 115: 44.5, 120: 45.1, 125: 45.7},
}  # fmt: skip
_DW_INTERPOLATED_SUMS = (25, 35, 45)
"""Rows that the table's authors interpolated between their neighbours."""

JP_1985_TABLE = (
    "Jackson & Pollock 1985, Physician and Sportsmedicine 13(5):76-90, table for men, from memory"
)
_JP_1985_AGES = (20, 25, 30, 35, 40, 45, 50, 55, 60)
# Each row: the sum in the middle of its band of three mm.
_JP_1985_ROWS = {
    9: (1.3, 1.8, 2.3, 2.9, 3.4, 3.9, 4.5, 5.0, 5.5),
    12: (2.2, 2.8, 3.3, 3.9, 4.4, 4.9, 5.5, 6.0, 6.5),
    15: (3.2, 3.8, 4.3, 4.8, 5.4, 5.9, 6.4, 7.0, 7.5),
    18: (4.2, 4.7, 5.3, 5.8, 6.3, 6.9, 7.4, 8.0, 8.5),
    21: (5.1, 5.7, 6.2, 6.8, 7.3, 7.9, 8.4, 8.9, 9.5),
    24: (6.1, 6.6, 7.2, 7.7, 8.3, 8.8, 9.4, 9.9, 10.5),
    27: (7.0, 7.6, 8.1, 8.7, 9.2, 9.8, 10.3, 10.9, 11.4),
}

_WITHERS = "Withers and others 1987, European Journal of Applied Physiology 56:191-200, abstract"
_JOHNSON = "Johnson 1996, Journal of Statistics Education 4(1), data of 252 men, case {}"
# Source, density, conversion, printed percent.
_PAIRS = (
    (_WITHERS, 1.0761, "siri", 10.0),
    (_WITHERS, 1.0465, "siri", 23.0),
    (_WITHERS, 1.0968, "siri", 1.3),
    (_JOHNSON.format(1), 1.0708, "siri", 12.3),
    (_JOHNSON.format(1), 1.0708, "brozek", 12.6),
    (_JOHNSON.format(2), 1.0853, "siri", 6.1),
    (_JOHNSON.format(2), 1.0853, "brozek", 6.9),
    (_JOHNSON.format(42), 1.0250, "siri", 32.9),
    (_JOHNSON.format(42), 1.0250, "brozek", 31.7),
)

_JP_MEN_3 = "jackson_pollock_1978_men_3"
_JP_WOMEN_3 = "jackson_pollock_ward_1980_women_3"
NASM_EXAMPLE = "NASM Essentials of Personal Fitness Training, 7th edition, chapter 11, example"
RECOMPUTED = "worked out from the formula"
# Equation, sum, age, density, Siri, Brozek.
_RECOMPUTED = (
    (_JP_MEN_3, 45, 30, 1.0676965, 13.615, 13.824),
    (_JP_MEN_3, 60, 40, 1.0552420, 19.087, 18.876),
    ("pollock_schmidt_jackson_1980_men_3", 45, 30, 1.0572575, 18.192, 18.050),
    ("jackson_pollock_1978_men_7", 100, 30, 1.0653532, 14.635, 14.766),
    ("jackson_pollock_1978_men_7", 120, 40, 1.0561908, 18.665, 18.487),
    (_JP_WOMEN_3, 60, 30, 1.0440221, 24.128, 23.530),
    (_JP_WOMEN_3, 75, 45, 1.0316981, 29.792, 28.759),
    ("jackson_pollock_ward_1980_women_3_abdominal", 60, 30, 1.0403260, 25.812, 25.085),
    ("jackson_pollock_ward_1980_women_4", 80, 30, 1.0453770, 23.513, 22.963),
    ("jackson_pollock_ward_1980_women_7", 120, 30, 1.0448504, 23.752, 23.183),
    ("withers_1987_men_7", 60, 24, 1.0748, 10.551, 10.995),
    ("withers_1987_women_4", 60, 24, 1.0462974, 23.097, 22.578),
    ("durnin_rahaman_1967_boys", 40, 14, 1.0502875, 21.300, 20.919),
    ("durnin_rahaman_1967_girls", 40, 14, 1.0410968, 25.460, 24.760),
)

_BOYS = "slaughter_1988_boys_subscapular_white"
_BLACK_BOYS = "slaughter_1988_boys_subscapular_black"
# Equation that gives percent itself, sum, age, percent, to how many decimals it was worked out.
_RECOMPUTED_DIRECT = (
    ("jackson_pollock_1985_men_4_percent", 80, 30, 19.220, 3),
    ("jackson_pollock_1985_women_4_percent", 80, 30, 23.279, 3),
    ("jackson_pollock_1985_women_3_percent", 60, 30, 26.041, 3),
    ("jackson_pollock_1985_men_3_percent", 60, 30, 19.335, 3),
    ("evans_2005_men_7_white", 70, 20, 10.963, 3),
    ("evans_2005_women_7_white", 100, 20, 22.643, 3),
    ("evans_2005_men_3_white", 35, 20, 11.284, 3),
    ("evans_2005_women_3_black", 50, 20, 19.328, 3),
    ("evans_2005_men_7_black", 70, 20, 8.418, 3),
    ("evans_2005_women_7_black", 100, 20, 20.098, 3),
    ("evans_2005_men_3_black", 35, 20, 9.286, 3),
    ("evans_2005_women_3_white", 50, 20, 21.326, 3),
    (f"{_BOYS}_prepubescent", 20, 10, 19.3, 1),
    (f"{_BOYS}_pubescent", 20, 13, 17.6, 1),
    (f"{_BOYS}_postpubescent", 20, 16, 15.5, 1),
    (f"{_BLACK_BOYS}_prepubescent", 20, 10, 17.8, 1),
    (f"{_BLACK_BOYS}_pubescent", 20, 13, 15.8, 1),
    (f"{_BLACK_BOYS}_postpubescent", 20, 16, 14.2, 1),
    (f"{_BOYS}_prepubescent", 40, 10, 32.92, 2),
    ("slaughter_1988_girls_subscapular", 20, 12, 18.9, 1),
    ("slaughter_1988_girls_subscapular", 40, 12, 31.54, 2),
    ("slaughter_1988_boys_calf", 25, 12, 19.375, 3),
    ("slaughter_1988_girls_calf", 25, 12, 20.35, 2),
)


def _table_checks() -> Iterator[Check]:
    for (id_, ages), cells in _DW_CELLS.items():
        for sum_mm, percent in cells.items():
            tolerance = 0.25 if sum_mm in _DW_INTERPOLATED_SUMS else 0.16
            yield Check(DW_TABLE, percent, tolerance, Confirmed.SECONDARY, id_, sum_mm, ages)
    yield Check(NASM_EXAMPLE, 28.14, 0.01, Confirmed.SECONDARY, _DW_WOMEN, 40, (40,))
    for sum_mm, row in _JP_1985_ROWS.items():
        for age, percent in zip(_JP_1985_AGES, row, strict=True):
            yield Check(JP_1985_TABLE, percent, 0.06, Confirmed.MEMORY, _JP_MEN_3, sum_mm, (age,))


def _pair_checks() -> Iterator[Check]:
    for source, density, id_, percent in _PAIRS:
        yield Check(
            source, percent, 0.06, Confirmed.VERIFIED, density_g_cm3=density, conversion_id=id_
        )


def _recomputed_checks() -> Iterator[Check]:
    for id_, sum_mm, age, density, siri, brozek in _RECOMPUTED:
        confirmed = equation(id_).confirmed
        for model, expected, tolerance in (
            (None, density, 6e-8),
            ("siri", siri, 6e-4),
            ("brozek", brozek, 6e-4),
        ):
            yield Check(
                RECOMPUTED,
                expected,
                tolerance,
                confirmed,
                id_,
                sum_mm,
                (age,),
                conversion_id=model,
                recomputed=True,
            )
    for id_, sum_mm, age, percent, decimals in _RECOMPUTED_DIRECT:
        yield Check(
            RECOMPUTED,
            percent,
            # Half of the last decimal, and a little for a figure that ends in a five there.
            0.51 * 10**-decimals,
            equation(id_).confirmed,
            id_,
            sum_mm,
            (age,),
            conversion_id=None,
            recomputed=True,
        )


CHECKS = (*_table_checks(), *_pair_checks(), *_recomputed_checks())


def check_table() -> tuple[CheckRow, ...]:
    """Every check with what this program computes, for the tests and the documentation."""
    return tuple(CheckRow(check, check.ours()) for check in CHECKS)
