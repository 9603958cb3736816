"""The technical error of an assessor from visits, and change against it."""

import doctest
import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from capture.composition import change as change_module
from capture.composition import measured as measured_module
from capture.composition.assessor import (
    MIN_PAIRS,
    MIN_PAIRS_CONFIRMED,
    SiteError,
    between_assessors,
    paired_visits,
    tem_range_mm,
    within_assessor,
)
from capture.composition.change import Verdict, VisitChange, change_since, last_change
from capture.composition.forms import Confirmed, FoldDirection
from capture.composition.measured import (
    Condition,
    Conditions,
    MeasuredVisit,
    Side,
    SiteMeasurement,
    differences,
    unrecorded,
)
from capture.composition.statistics import TemLevel

# A worked example made for these tests, not published; TEM 0.4583 mm was worked out by hand.
FIRST = (102, 146, 84, 220, 178, 126, 90, 304, 152, 196)
SECOND = (106, 142, 88, 210, 184, 124, 94, 292, 158, 190)
HOW = {
    "side": Side.RIGHT,
    "fold_direction": FoldDirection.VERTICAL,
    "caliper": "sprung, 10 g/mm2",
    "clothing": "shorts",
}


def _taken(site: str, *readings: int, **how: object) -> SiteMeasurement:
    return SiteMeasurement(Conditions(site, **(HOW | how)), readings)  # type: ignore[arg-type]


def _visit(
    client: str, *measurements: SiteMeasurement, date: str = "2026-05-04", assessor: str = "a"
) -> MeasuredVisit:
    return MeasuredVisit(date, client, assessor, measurements)


def _worked_example(pairs: int = 10) -> list[MeasuredVisit]:
    taken = zip(FIRST[:pairs], SECOND[:pairs], strict=True)
    return [_visit(f"client {n}", _taken("triceps", *both)) for n, both in enumerate(taken)]


def _paired(pairs: int = 10, **how: object) -> list[MeasuredVisit]:
    visits = []
    for n, (one, other) in enumerate(zip(FIRST[:pairs], SECOND[:pairs], strict=True)):
        visits.append(_visit(f"client {n}", _taken("triceps", one)))
        visits.append(_visit(f"client {n}", _taken("triceps", other, **how), assessor="b"))
    return visits


# Technical error


def test_the_error_of_an_assessor_from_their_duplicates() -> None:
    """Ten visits with two readings each, every figure as worked out by hand."""
    (error,) = within_assessor(_worked_example(), "a")
    assert (error.site, error.pairs, error.clients) == ("triceps", 10, 10)
    assert error.tem_mm == pytest.approx(0.4583, abs=5e-5)
    assert error.found is not None
    assert error.found.relative_tem_percent == pytest.approx(2.877, abs=5e-4)
    assert error.reliability == pytest.approx(0.99481, abs=5e-6)
    assert error.level is TemLevel.EXPERIENCED
    assert error.text == (
        "triceps: 0.5 mm, likely 0.3 to 0.8, or 2.9 %, reliability 0.99, from 10 pairs of 10 "
        "people: accepted for an experienced assessor (limits from memory)"
    )


def test_the_error_between_two_assessors_from_paired_visits() -> None:
    """The same numbers from two assessors are the same error, rated by other limits."""
    (error,) = between_assessors(_paired(), "a", "b")
    assert error.tem_mm == pytest.approx(0.4583, abs=5e-5)
    assert error.pairs == 10
    assert error.left_out == 0
    assert error.to_plain()["agreement"] == "between assessors"


@pytest.mark.parametrize("pairs", [1, MIN_PAIRS - 1])
def test_too_few_pairs_show_no_error(pairs: int) -> None:
    """Below ten pairs the number of pairs is told, the reason, and no figure at all."""
    (error,) = within_assessor(_worked_example(pairs), "a")
    assert error.pairs == pairs
    assert error.tem_mm is error.level is error.reliability is error.tem_range_mm is None
    assert f"below {MIN_PAIRS} pairs" in error.text
    figures = {key for key, value in error.to_plain().items() if value is None}
    assert "tem_mm" in figures
    assert MIN_PAIRS_CONFIRMED is Confirmed.OWN_CHOICE


@pytest.mark.parametrize(
    ("pairs", "low", "high"),
    [(10, 0.699, 1.755), (20, 0.765, 1.444), (50, 0.837, 1.243)],
)
def test_how_far_an_error_is_known(pairs: int, low: float, high: float) -> None:
    """Roots of n over chi-square at 2.5 and 97.5 percent, from printed tables (from memory)."""
    ours = tem_range_mm(1.0, pairs)
    assert ours == pytest.approx((low, high), rel=0.01)


def test_few_pairs_leave_an_error_open() -> None:
    """With five pairs the true error may be more than twice the one found."""
    assert tem_range_mm(1.0, 5)[1] > 2 > tem_range_mm(1.0, MIN_PAIRS)[1]
    assert tem_range_mm(1.0, 1)[1] > 10
    with pytest.raises(ValueError, match="at least one"):
        tem_range_mm(1.0, 0)


def test_reliability_needs_different_people() -> None:
    """Ten pairs of two people tell nothing about telling people apart."""
    visits = [
        _visit(f"client {n % 2}", _taken("triceps", *both))
        for n, both in enumerate(zip(FIRST, SECOND, strict=True))
    ]
    (error,) = within_assessor(visits, "a")
    assert (error.pairs, error.clients) == (10, 2)
    assert error.tem_mm is not None
    assert error.reliability is None
    assert "reliability" not in error.text


def test_a_third_reading_does_not_count() -> None:
    """It is taken only after a disagreement; a single reading makes no pair."""
    visits = _worked_example()
    third = [
        _visit(each.client, _taken("triceps", *each.measurements[0].readings_tenths_mm, 999))
        for each in visits
    ]
    alone = [_visit("one more", _taken("triceps", 100))]
    assert within_assessor(third + alone, "a") == within_assessor(visits, "a")


def test_only_one_s_own_visits_count() -> None:
    """Another assessor's duplicates do not flatter or harm."""
    others = [_visit("client x", _taken("triceps", 100, 300), assessor="b")] * 10
    (error,) = within_assessor([*_worked_example(), *others], "a")
    assert error.tem_mm == pytest.approx(0.4583, abs=5e-5)


def test_pairs_taken_in_another_way_are_left_out_and_counted() -> None:
    """Two assessors with two calipers say nothing about the assessors."""
    (error,) = between_assessors(_paired(caliper="plastic"), "a", "b")
    assert (error.pairs, error.left_out) == (0, 10)
    assert error.tem_mm is None


def test_visits_pair_by_client_and_day() -> None:
    """One visit has one partner; another day or another client is none."""
    visits = [
        _visit("x", _taken("triceps", 100)),
        _visit("x", _taken("triceps", 101), assessor="b"),
        _visit("x", _taken("triceps", 102), assessor="b", date="2026-05-05"),
        _visit("y", _taken("triceps", 103), assessor="b"),
        _visit("x", _taken("triceps", 104)),
    ]
    assert paired_visits(visits, "a", "b") == ((visits[0], visits[1]),)
    with pytest.raises(ValueError, match="two of them"):
        between_assessors(visits, "a", "a")


@settings(deadline=None)
@given(st.lists(st.integers(30, 600), min_size=MIN_PAIRS, max_size=20))
def test_equal_pairs_have_no_error(readings: list[int]) -> None:
    """Reading the same twice is an error of zero at any thickness."""
    visits = [_visit(f"{n}", _taken("thigh", each, each)) for n, each in enumerate(readings)]
    (error,) = within_assessor(visits, "a")
    assert error.tem_mm == 0
    assert error.tem_range_mm == (0, 0)
    json.dumps(error.to_plain(), allow_nan=False)


# Compared only if taken the same way


@pytest.mark.parametrize(
    ("how", "condition", "words"),
    [
        ({"side": Side.LEFT}, Condition.SIDE, "The side was right before and is left now."),
        (
            {"fold_direction": FoldDirection.HORIZONTAL},
            Condition.FOLD_DIRECTION,
            "The fold direction was vertical before and is horizontal now.",
        ),
        ({"caliper": None}, Condition.CALIPER, "The caliper is not recorded now."),
        (
            {"clothing": "tights"},
            Condition.CLOTHING,
            "The clothing was shorts before and is tights now.",
        ),
    ],
    ids=lambda value: value.value if isinstance(value, Condition) else "",
)
def test_what_was_taken_in_another_way_is_not_compared(
    how: dict[str, object], condition: Condition, words: str
) -> None:
    """The value of each visit stays, no difference is shown, and it is said what differs."""
    before, now = _taken("thigh", 150, 152), _taken("thigh", 250, 252, **how)
    assert [each.condition for each in differences(before.conditions, now.conditions)] == [
        condition
    ]
    found = change_since(_visit("x", before), _visit("x", now, date="2026-06-01"), {"thigh": 0.4})
    (thigh,) = found.sites
    assert thigh.verdict is Verdict.NOT_COMPARED
    assert thigh.change_mm is None
    assert (thigh.before_mm, thigh.now_mm) == (15.1, 25.1)
    assert words in thigh.text
    assert found.sum.verdict is Verdict.NOT_COMPARED
    assert "No site can be compared" in found.sum.text


def test_what_neither_visit_recorded_is_told_but_compared() -> None:
    """Two old visits without a side can be compared; that nobody knows the side is kept."""
    plain = Conditions("thigh")
    assert differences(plain, plain) == ()
    usual = (Condition.SIDE, Condition.FOLD_DIRECTION, Condition.CALIPER, Condition.CLOTHING)
    assert unrecorded(plain, plain) == usual
    with pytest.raises(ValueError, match="two sites"):
        differences(plain, Conditions("chest"))


# Change


def _change(before: tuple[int, ...], now: tuple[int, ...], tem: float | None) -> VisitChange:
    return change_since(
        _visit("x", _taken("thigh", *before)),
        _visit("x", _taken("thigh", *now), date="2026-06-01"),
        {} if tem is None else {"thigh": tem},
    )


@pytest.mark.parametrize(
    ("before", "now", "limit_mm"),
    [
        ((200,), (180,), 2.7719),
        ((200, 202), (180, 182), 1.96),
        ((200, 202, 230), (180, 182), 1.96),
        ((200,), (180, 182), 1.96 * math.sqrt(1.5)),
    ],
    ids=["one reading each", "two each", "a median of three counts as two", "one and two"],
)
def test_the_smallest_real_change_knows_the_readings(
    before: tuple[int, ...], now: tuple[int, ...], limit_mm: float
) -> None:
    """2.77 times the error for single readings, 1.96 for means of two."""
    found = _change(before, now, 1.0)
    assert found.sites[0].smallest_real_change_mm == pytest.approx(limit_mm, abs=1e-4)
    assert found.sum.smallest_real_change_mm == pytest.approx(limit_mm, abs=1e-4)


@pytest.mark.parametrize(
    ("now", "verdict"),
    [
        (179, Verdict.REAL),
        (180, Verdict.REAL),
        (181, Verdict.WITHIN_ERROR),
        (200, Verdict.WITHIN_ERROR),
        (219, Verdict.WITHIN_ERROR),
        (220, Verdict.REAL),
    ],
)
def test_a_change_is_real_only_beyond_the_error(now: int, verdict: Verdict) -> None:
    """With 1 mm of error, means of two must differ by more than 1.96 mm, thicker or thinner."""
    (thigh,) = _change((200, 200), (now, now), 1.0).sites
    assert thigh.verdict is verdict
    assert ("within measurement error" in thigh.text) is (verdict is Verdict.WITHIN_ERROR)


def test_a_change_as_large_as_the_error_is_within_it() -> None:
    """Only more than the smallest real change counts."""
    tem = 2.0 / (1.96 * math.sqrt(2))
    (thigh,) = _change((200,), (180,), tem).sites
    assert thigh.smallest_real_change_mm == pytest.approx(2.0)
    assert thigh.verdict is Verdict.WITHIN_ERROR
    assert thigh.text == "thigh: -2.0 mm, within measurement error (2.0 mm)"


def test_without_an_error_nothing_is_claimed() -> None:
    """A new assessor has no figure yet: the change is shown, no word on whether it is real."""
    found = _change((200,), (100,), None)
    assert found.sites[0].change_mm == pytest.approx(-10)
    assert found.sites[0].verdict is Verdict.ERROR_UNKNOWN
    assert "not known yet" in found.sites[0].text
    assert found.sum.verdict is Verdict.ERROR_UNKNOWN


def test_the_sum_is_over_the_sites_that_can_be_compared() -> None:
    """A site taken another way, or missing, is out of both sums and named."""
    before = _visit("x", _taken("thigh", 200), _taken("chest", 100), _taken("triceps", 120))
    now = _visit(
        "x",
        _taken("thigh", 190),
        _taken("triceps", 110),
        _taken("chest", 60, side=Side.LEFT),
        _taken("abdominal", 250),
        date="2026-06-01",
    )
    found = change_since(before, now, {"thigh": 0.3, "triceps": 0.4, "chest": 0.1})
    assert found.summed_sites == ("thigh", "triceps")
    assert (found.sum.before_mm, found.sum.now_mm) == (32.0, 30.0)
    # 0.3 and 0.4 mm make 0.5 mm.
    assert found.sum.smallest_real_change_mm == pytest.approx(1.96 * math.sqrt(2) * 0.5)
    assert found.sum.verdict is Verdict.REAL
    assert found.sum.note == "Without chest, abdominal."
    by_site = {each.what: each for each in found.sites}
    assert by_site["abdominal"].text == "abdominal: not compared. Not measured before."
    assert list(found.to_plain()) == ["sum", "summed_sites", "sites"]
    json.dumps(found.to_plain(), allow_nan=False)


def test_another_assessor_needs_the_error_between_the_two() -> None:
    """One's own error says nothing about the difference to a colleague."""
    before = _visit("x", _taken("thigh", 200), assessor="b")
    now = _visit("x", _taken("thigh", 100), date="2026-06-01")
    blind = change_since(before, now, {"thigh": 0.3})
    assert blind.sites[0].verdict is Verdict.ERROR_UNKNOWN
    assert "Another assessor" in blind.sites[0].text
    seeing = change_since(before, now, {"thigh": 0.3}, {"thigh": 0.4})
    limit = 1.96 * math.sqrt(2) * 0.5
    assert seeing.sites[0].smallest_real_change_mm == pytest.approx(limit)


def test_the_last_two_visits_at_this_assessor_s_error() -> None:
    """The error comes from all visits of the assessor, the change from the client's last two."""
    early = _visit("client 3", _taken("triceps", 400, 400), date="2026-01-01")
    late = _visit("client 3", _taken("triceps", 200, 200), date="2026-09-01")
    visits = [late, early, *_worked_example()]
    assert last_change(_worked_example(), "client 3") is None
    found = last_change(visits, "client 3")
    assert found is not None
    before, now, change = found
    assert (before.date, now.date) == ("2026-05-04", "2026-09-01")
    # 22.0 and 21.0 before, 20.0 now; two equal pairs more make the error a little smaller.
    tem = math.sqrt(4.20 / (2 * 12))
    assert change.sum.smallest_real_change_mm == pytest.approx(1.96 * tem)
    assert change.sum.change_mm == pytest.approx(-1.5)
    assert change.sum.verdict is Verdict.REAL


@pytest.mark.parametrize("tem", [-0.1, math.nan, math.inf])
def test_what_cannot_be_compared_is_a_mistake(tem: float) -> None:
    """Two clients, or an error that is none."""
    with pytest.raises(ValueError, match="technical error"):
        _change((200,), (100,), tem)
    with pytest.raises(ValueError, match="two clients"):
        change_since(_visit("x", _taken("thigh", 1)), _visit("y", _taken("thigh", 1)), {})


def test_errors_are_values() -> None:
    """An error with nothing found is still whole."""
    (error,) = within_assessor([_visit("x", _taken("thigh", 100))], "a")
    assert isinstance(error, SiteError)
    assert (error.pairs, error.clients) == (0, 0)


@pytest.mark.parametrize("module", [measured_module, change_module], ids=lambda m: m.__name__)
def test_the_examples_in_the_text_run(module: object) -> None:
    """What a docstring shows is what happens."""
    assert doctest.testmod(module).failed == 0  # type: ignore[arg-type]
