"""The rules of the trade: tolerance, thirds, order, calipers."""

import json
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture.protocol.caliper import Caliper, GaugeCheck, GaugePoint, caliper_warnings
from capture.protocol.protocol import PROTOCOLS, SEVEN_SITES, Tolerance

TENTHS = st.integers(5, 999)


@pytest.mark.parametrize(
    ("one", "other", "agree"),
    [
        (100, 120, True),
        (100, 121, False),
        (199, 219, True),
        (210, 231, True),
        (210, 232, True),
        (210, 233, False),
        (400, 442, True),
        (400, 443, False),
        (50, 50, True),
    ],
)
def test_two_millimetres_or_ten_percent(one: int, other: int, agree: bool) -> None:
    """Folds may differ by 2 mm or a tenth of their mean (textbook and laboratory rules)."""
    assert Tolerance(20, 10).agree(one, other) is agree


@given(one=TENTHS, other=TENTHS, absolute=st.integers(0, 50), percent=st.integers(0, 20))
def test_agreement_is_exact_and_even(one: int, other: int, absolute: int, percent: int) -> None:
    """Order does not matter, and the bound is the exact larger of both."""
    tolerance = Tolerance(absolute, percent)
    allowed = max(Fraction(absolute), Fraction(percent, 100) * Fraction(one + other, 2))
    assert tolerance.agree(one, other) == tolerance.agree(other, one)
    assert tolerance.agree(one, other) == (abs(Fraction(one - other)) <= allowed)


@pytest.mark.parametrize(
    ("trials", "due"),
    [
        ((), False),
        ((100,), False),
        ((100, 120), False),
        ((100, 121), True),
        ((121, 100), True),
        ((100, 150, 125), False),
    ],
    ids=["none", "one", "two that agree", "two that do not", "the other way", "three"],
)
def test_when_a_third_is_due(trials: tuple[int, ...], due: bool) -> None:
    """A third is taken once, after two readings that do not agree."""
    assert SEVEN_SITES.third_due(trials) is due


def test_the_seven_sites_in_their_order() -> None:
    """The order of Jackson and Pollock's seven sites; chest, triceps and thigh need a tape."""
    assert [site.id for site in SEVEN_SITES.sites] == [
        "chest", "midaxillary", "triceps", "subscapular", "abdominal", "suprailiac", "thigh",
    ]  # fmt: skip
    assert [site.id for site in SEVEN_SITES.tape_sites] == ["chest", "triceps", "thigh"]
    assert SEVEN_SITES.site("thigh").title == "thigh"
    with pytest.raises(KeyError):
        SEVEN_SITES.site("calf")


@pytest.mark.parametrize("protocol", PROTOCOLS.values(), ids=PROTOCOLS.keys())
def test_every_protocol_is_sound(protocol: object) -> None:
    """No site twice, ranges within a caliper's scale, at least two circuits."""
    assert isinstance(protocol, type(SEVEN_SITES))
    ids = [site.id for site in protocol.sites]
    assert len(set(ids)) == len(ids)
    assert protocol.circuits >= 2
    for site in protocol.sites:
        lowest, highest = site.usual_tenths_mm
        assert 5 <= lowest < highest <= 999


def test_a_calipers_scale_and_opening() -> None:
    """A dial in 0.2 mm steps that opens to 80 mm shows 80.0, neither 12.5 nor 80.2."""
    caliper = Caliper("dial caliper", 2, 800)
    on_scale = [value for value in range(5, 1000) if caliper.on_scale(value)]
    within = [value for value in range(5, 1000) if caliper.within_opening(value)]
    assert on_scale == list(range(6, 1000, 2))
    assert within == list(range(5, 801))


CHECK = GaugeCheck("2025-06-01", (GaugePoint(100, 101), GaugePoint(400, 397), GaugePoint(600, 600)))


def test_a_check_with_gauge_blocks() -> None:
    """Nominal against read at several openings: the largest drift, with its sign, is told."""
    assert CHECK.drift_tenths_mm == -3
    assert CHECK.has_drifted
    assert not GaugeCheck("2025-06-01", (GaugePoint(100, 102),)).has_drifted
    assert GaugeCheck("2025-06-01", ()).drift_tenths_mm == 0


@pytest.mark.parametrize(
    ("check", "day", "told"),
    [
        (None, "2026-03-02", ["No check"]),
        (GaugeCheck("2026-01-01", (GaugePoint(100, 100),)), "2026-03-02", []),
        (GaugeCheck("2025-03-01", ()), "2026-03-02T12:00:00+01:00", ["overdue"]),
        (CHECK, "2025-07-01", ["10.0 mm read 10.1 mm", "40.0 mm read 39.7 mm", "drifted"]),
    ],
    ids=["none known", "fresh and true", "overdue", "drifted"],
)
def test_what_is_said_of_a_calipers_check(
    check: GaugeCheck | None, day: str, told: list[str]
) -> None:
    """Unknown, overdue and drifted are warned about; a year is common practice, no source."""
    lines = caliper_warnings(Caliper("dial caliper", 2, 800, check), day)
    assert len(lines) == len(told)
    assert all(part in line for part, line in zip(told, lines, strict=True))


def test_a_caliper_survives_the_store() -> None:
    """With its check and without."""
    for check in (None, CHECK):
        caliper = Caliper("dial caliper", 2, 800, check)
        assert Caliper.from_plain(json.loads(json.dumps(caliper.to_plain()))) == caliper


def test_half_marks_of_a_coarse_scale() -> None:
    """A scale of 1 mm can be read to half a millimetre by eye (laboratory sheets, from memory)."""
    coarse, fine = Caliper("coarse", 10, 600), Caliper("fine", 2, 800)
    assert [value for value in range(80, 100) if coarse.between_marks(value)] == [85, 95]
    assert not any(fine.between_marks(value) for value in range(1000))
