"""Settling readings and the repeatability of an assessor."""

import doctest
import math
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from capture.composition import statistics as our_statistics
from capture.composition.forms import Confirmed
from capture.composition.statistics import (
    TEM_LIMITS_CONFIRMED,
    Agreement,
    Settlement,
    TemLevel,
    relative_tem_percent,
    reliability,
    reliability_of_mean,
    repeatability,
    settle,
    shown_tenths,
    smallest_real_change_mm,
    tem_level,
    tem_of_mean,
    tem_pairs,
    tem_trials,
    total_tem,
)

TENTHS = st.integers(1, 800)
MM = st.integers(10, 800).map(lambda tenths: tenths / 10)
# A worked example made for this test, not published; its results were worked out by hand.
FIRST_MM = [10.2, 14.6, 8.4, 22.0, 17.8, 12.6, 9.0, 30.4, 15.2, 19.6]
SECOND_MM = [10.6, 14.2, 8.8, 21.0, 18.4, 12.4, 9.4, 29.2, 15.8, 19.0]


@pytest.mark.parametrize(
    ("readings", "tenths", "how", "spread"),
    [
        ([124], Fraction(124), Settlement.ONE_READING, 0),
        ([124, 126], Fraction(125), Settlement.MEAN_OF_TWO, 2),
        ([124, 127], Fraction(251, 2), Settlement.MEAN_OF_TWO, 3),
        ([150, 124, 126], Fraction(126), Settlement.MEDIAN_OF_THREE, 26),
        ([124, 124, 150], Fraction(124), Settlement.MEDIAN_OF_THREE, 26),
        ([120, 150, 124, 127], Fraction(251, 2), Settlement.MEDIAN_OF_ALL, 30),
        ([120, 150, 124, 127, 127], Fraction(127), Settlement.MEDIAN_OF_ALL, 30),
    ],
)
def test_readings_of_a_site_become_one_value(
    readings: list[int], tenths: Fraction, how: Settlement, spread: int
) -> None:
    """One stands, two are averaged, of three the middle one counts."""
    settled = settle(readings)
    assert settled.value_tenths_mm == tenths
    assert settled.how is how
    assert settled.spread_tenths_mm == spread
    assert settled.value_mm == pytest.approx(float(tenths) / 10)


@settings(deadline=None)
@given(st.tuples(TENTHS, TENTHS, TENTHS))
def test_the_median_of_three_is_one_of_them(readings: tuple[int, int, int]) -> None:
    """The settled value was read, lies between the others, and the order does not matter."""
    value = settle(readings).value_tenths_mm
    assert value in readings
    assert value == sorted(readings)[1]
    assert value == settle(readings[::-1]).value_tenths_mm


@settings(deadline=None)
@given(st.tuples(TENTHS, TENTHS))
def test_the_mean_of_two_is_exact(readings: tuple[int, int]) -> None:
    """Twice the settled value is the sum of the two, to the last half tenth."""
    assert 2 * settle(readings).value_tenths_mm == sum(readings)


@pytest.mark.parametrize("readings", [[], [0], [124, 0], [-5, 124, 126]])
def test_what_was_not_measured_has_no_value(readings: list[int]) -> None:
    """Neither nothing nor zero settles to a number."""
    with pytest.raises(ValueError, match=r"above 0 mm|no readings"):
        settle(readings)


@pytest.mark.parametrize(
    ("tenths", "shown"),
    [(Fraction(125), 125), (Fraction(251, 2), 126), (Fraction(249, 2), 125)],
)
def test_half_a_tenth_goes_up_when_shown(tenths: Fraction, shown: int) -> None:
    """12.55 is shown as 12.6 and 12.45 as 12.5: always up, not to the even one."""
    assert shown_tenths(tenths) == shown


def test_a_worked_example_from_end_to_end() -> None:
    """Ten people, two readings each, every figure as worked out by hand."""
    ours = repeatability(FIRST_MM, SECOND_MM)
    assert ours.people == 10
    assert ours.mean_mm == pytest.approx(15.93, abs=5e-4)
    assert ours.sd_mm == pytest.approx(6.361, abs=5e-4)
    assert ours.tem_mm == pytest.approx(0.4583, abs=5e-5)
    assert ours.relative_tem_percent == pytest.approx(2.877, abs=5e-4)
    assert ours.reliability == pytest.approx(0.99481, abs=5e-6)
    assert ours.smallest_real_change_mm == pytest.approx(1.270, abs=5e-4)


def test_readings_all_alike_have_no_reliability() -> None:
    """Where nobody differs, nothing can be told apart: None, not one and not a crash."""
    assert repeatability([10.0, 10.0], [10.0, 10.0]).reliability is None


@settings(deadline=None)
@given(st.lists(MM, min_size=1, max_size=30))
def test_equal_pairs_have_no_error(readings: list[float]) -> None:
    """Reading the same twice is an error of zero."""
    assert tem_pairs(readings, readings) == 0
    assert tem_trials([(r, r) for r in readings]) == 0


@settings(deadline=None)
@given(st.lists(st.tuples(MM, MM), min_size=1, max_size=30))
def test_the_general_form_with_two_readings_is_the_pair_form(
    rows: list[tuple[float, float]],
) -> None:
    """The form for K readings must agree with the form for two (a misprinted one does not)."""
    pair = tem_pairs([a for a, _ in rows], [b for _, b in rows])
    assert tem_trials(rows) == pytest.approx(pair, abs=1e-9)


@settings(deadline=None)
@given(st.lists(st.tuples(MM, MM, MM), min_size=1, max_size=10))
def test_the_general_form_is_the_one_in_the_paper(rows: list[tuple[float, float, float]]) -> None:
    """Squares less the square of the sum over K, all divided by N (K - 1)."""
    total = sum(sum(m * m for m in row) - sum(row) ** 2 / 3 for row in rows)
    assert tem_trials(rows) ** 2 == pytest.approx(total / (len(rows) * 2), rel=1e-6, abs=1e-6)


@settings(deadline=None)
@given(st.lists(st.tuples(MM, MM), min_size=1, max_size=20), st.floats(0.5, 5))
def test_error_scales_with_the_readings(rows: list[tuple[float, float]], factor: float) -> None:
    """In another unit the error is the same length, and the relative error the same share."""
    first, second = [a for a, _ in rows], [b for _, b in rows]
    scaled = tem_pairs([a * factor for a in first], [b * factor for b in second])
    assert scaled == pytest.approx(tem_pairs(first, second) * factor, abs=1e-9)


@pytest.mark.parametrize(
    ("first", "second"), [([], []), ([1.0], [1.0, 2.0])], ids=["none", "not pairs"]
)
def test_what_is_not_in_pairs_has_no_error(first: list[float], second: list[float]) -> None:
    """Half a pair is a mistake, not a smaller sample."""
    with pytest.raises(ValueError, match="as many first as second"):
        tem_pairs(first, second)


@pytest.mark.parametrize("rows", [[], [[1.0], [2.0]], [[1.0, 2.0], [1.0]]])
def test_ragged_trials_have_no_error(rows: list[list[float]]) -> None:
    """Every person has the same number of readings, two at least."""
    with pytest.raises(ValueError, match="same two or more"):
        tem_trials(rows)


def test_the_smallest_real_change() -> None:
    """2.77 times the error at 95 percent; less by the root of two for means of two."""
    assert smallest_real_change_mm(1.0) == pytest.approx(2.77, abs=0.005)
    assert smallest_real_change_mm(1.0) / 1.96 == pytest.approx(1.4142136)
    assert smallest_real_change_mm(1.0, trials=2) == pytest.approx(1.96)
    assert tem_of_mean(1.0, 4) == 0.5
    with pytest.raises(ValueError, match="at least one"):
        tem_of_mean(1.0, 0)


@pytest.mark.parametrize(
    ("single", "of_two"),
    [(0.95, 0.974), (0.85, 0.919)],
    ids=["Himes 1989 says 0.97", "worked out by hand"],
)
def test_two_readings_are_more_reliable_than_one(single: float, of_two: float) -> None:
    """Averaging two raises the reliability by a known amount."""
    assert reliability_of_mean(single, 2) == pytest.approx(of_two, abs=5e-4)
    assert reliability_of_mean(single, 1) == single


def test_several_assessors_together() -> None:
    """Within 0.6 and 0.8 mm and between 1.0 mm make sqrt(0.5 + 1.0)."""
    assert total_tem([0.6, 0.8], 1.0) == pytest.approx(math.sqrt(1.5))


def test_figures_without_a_meaning_are_refused() -> None:
    """No mean, no percent of it; no spread, no reliability; but small ones count."""
    assert relative_tem_percent(0.05, 0.5) == pytest.approx(10)
    assert reliability(0.25, 0.5) == pytest.approx(0.75)
    with pytest.raises(ValueError, match="mean"):
        relative_tem_percent(0.5, 0)
    with pytest.raises(ValueError, match="alike"):
        reliability(0.5, 0)


@pytest.mark.parametrize(
    ("percent", "agreement", "level"),
    [
        (5.0, Agreement.WITHIN_ONE_ASSESSOR, TemLevel.EXPERIENCED),
        (5.1, Agreement.WITHIN_ONE_ASSESSOR, TemLevel.BEGINNER),
        (7.6, Agreement.WITHIN_ONE_ASSESSOR, TemLevel.TOO_LARGE),
        (7.5, Agreement.WITHIN_ONE_ASSESSOR, TemLevel.BEGINNER),
        (7.5, Agreement.BETWEEN_ASSESSORS, TemLevel.EXPERIENCED),
        (7.6, Agreement.BETWEEN_ASSESSORS, TemLevel.BEGINNER),
        (10.0, Agreement.BETWEEN_ASSESSORS, TemLevel.BEGINNER),
        (10.1, Agreement.BETWEEN_ASSESSORS, TemLevel.TOO_LARGE),
    ],
)
def test_what_an_error_is_accepted_as(
    percent: float, agreement: Agreement, level: TemLevel
) -> None:
    """The limits of Perini 2005, which are from memory and say so."""
    assert tem_level(percent, agreement) is level
    assert TEM_LIMITS_CONFIRMED is Confirmed.MEMORY


def test_the_examples_in_the_text_run() -> None:
    """What a docstring shows is what happens."""
    outcome = doctest.testmod(our_statistics)
    assert outcome.attempted > 0
    assert outcome.failed == 0
