"""Equations that give percent themselves, athletes, the young, groups, and the single road."""

import doctest
import math
import random
import statistics
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import capture.composition
from capture.composition.arrays import log10
from capture.composition.athletes import EVANS_AGES
from capture.composition.check_table import markdown_lines, summary_markdown_lines
from capture.composition.checks import CHECKS
from capture.composition.client import ClientDefaults
from capture.composition.conversion import conversion, conversions
from capture.composition.equations import (
    Equation,
    Reason,
    ReasonKind,
    Sex,
    applicable,
    compute_density,
    equation,
    equations,
)
from capture.composition.forms import (
    BandedLog,
    Confirmed,
    Gives,
    PercentQuadratic,
    PercentTwoPiece,
    Quadratic,
)
from capture.composition.populations import GROUPS
from capture.composition.prediction import predict
from capture.composition.results import visit_result
from capture.composition.uncertainty import goal_weight, in_words, masses, one_decimal, spread
from capture.errors import CaptureError

DIRECT = [known for known in equations() if known.gives is Gives.FAT_PERCENT]
LOGARITHMS = [known for known in equations() if isinstance(known.form, BandedLog)]
DIRECT_BY_ID = pytest.mark.parametrize("known", DIRECT, ids=lambda known: known.id)
MEN_4 = equation("jackson_pollock_1985_men_4_percent")
MEN_3 = equation("jackson_pollock_1978_men_3")
CALF = equation("slaughter_1988_boys_calf")


def _kinds(reasons: tuple[Reason, ...]) -> set[ReasonKind]:
    return {reason.kind for reason in reasons}


# Each figure once more, typed a second time

BY_HAND = {
    "jackson_pollock_1985_men_4_percent": (-5.76377, 0.29288, 0.0005, 0.15845),
    "jackson_pollock_1985_women_4_percent": (1.4072, 0.29669, 0.00043, 0.02963),
    "jackson_pollock_1985_men_3_percent": (-5.18845, 0.39287, 0.00105, 0.15772),
    "jackson_pollock_1985_women_3_percent": (4.03653, 0.41563, 0.00112, 0.03661),
    "evans_2005_men_7_white": (2.509, 0.12077, 0, 0),
    "evans_2005_men_7_black": (-0.036, 0.12077, 0, 0),
    "evans_2005_women_7_white": (10.566, 0.12077, 0, 0),
    "evans_2005_women_7_black": (8.021, 0.12077, 0, 0),
    "evans_2005_men_3_white": (2.654, 0.24658, 0, 0),
    "evans_2005_men_3_black": (0.656, 0.24658, 0, 0),
    "evans_2005_women_3_white": (8.997, 0.24658, 0, 0),
    "evans_2005_women_3_black": (6.999, 0.24658, 0, 0),
    "slaughter_1988_boys_calf": (1.0, 0.735, 0, 0),
    "slaughter_1988_girls_calf": (5.1, 0.61, 0, 0),
}
LESS_BY_HAND = {
    "white_prepubescent": 1.7,
    "white_pubescent": 3.4,
    "white_postpubescent": 5.5,
    "black_prepubescent": 3.2,
    "black_pubescent": 5.2,
    "black_postpubescent": 6.8,
}


@DIRECT_BY_ID
def test_every_coefficient_was_typed_twice_alike(known: Equation) -> None:
    """A slip in one digit does not hide behind the rounding of a table."""
    if isinstance(known.form, PercentQuadratic):
        form = known.form
        ours = (form.constant, form.linear, form.squared, form.per_year)
        assert ours == pytest.approx(BY_HAND[known.id], abs=1e-12)
        return
    assert isinstance(known.form, PercentTwoPiece)
    assert known.form.split_mm == 35
    if known.sexes == (Sex.FEMALE,):
        assert known.form.thin == PercentQuadratic(-2.5, 1.33, 0.013)
        assert known.form.thick == PercentQuadratic(9.7, 0.546)
        return
    group = known.id.removeprefix("slaughter_1988_boys_subscapular_")
    assert known.form.thin == PercentQuadratic(-LESS_BY_HAND[group], 1.21, 0.008)
    assert known.form.thick == PercentQuadratic(1.6, 0.783)


def test_athletes_and_adolescents_with_a_density_were_typed_twice_alike() -> None:
    """The other new equations give a density."""
    assert equation("withers_1987_men_7").form == Quadratic(1.0988, 0.0004, 0, 0)
    for id_, constant, slope in (
        ("withers_1987_women_4", 1.17484, 0.07229),
        ("durnin_rahaman_1967_boys", 1.1533, 0.0643),
        ("durnin_rahaman_1967_girls", 1.1369, 0.0598),
    ):
        form = equation(id_).form
        assert isinstance(form, BandedLog)
        assert [(band.constant, band.slope) for band in form.bands] == [(constant, slope)]


GROUPS_BY_HAND = (
    "M 7-12 530 489, M 13-16 507 464, M 17-19 499 455, M 20-80 495 450, F 7-12 535 495, "
    "F 13-16 510 466, F 17-19 505 462, F 20-80 501 457, M 18-32 437 393, F 24-79 485 439, "
    "M 18-62 497 452, F 18-60 481 434, M 18-48 497 452, M 61-78 487 441, F 18-48 476 428, "
    "F 61-78 495 450, F 20-40 487 441, F 15-30 526 483, F 17-62 500 456, M - 467 418, "
    "F - 470 422"
)


def test_every_group_s_conversion_was_typed_twice_alike() -> None:
    """Heyward's table (from memory, but for two rows) holds what it holds."""
    ours = [known for known in conversions() if known.id.startswith("heyward")]
    rows = (
        f"{'M' if known.sexes == (Sex.MALE,) else 'F'} "
        f"{'-' if known.ages is None else '{}-{}'.format(*known.ages)} {known.a:g} {known.b:g}"
        for known in ours
    )
    assert ", ".join(rows) == GROUPS_BY_HAND
    read = {known.id for known in ours if known.confirmed is not Confirmed.MEMORY}
    assert read == {
        "heyward_american_indian_men_18_62",
        "heyward_american_indian_women_18_60",
    }
    assert len(ours) == len(GROUPS)


# Percent that must never meet a conversion


@DIRECT_BY_ID
def test_a_percent_is_never_taken_for_a_density(known: Equation) -> None:
    """Some text calls these polynomials "body density" and applies Siri; here nothing can."""
    with pytest.raises(ValueError, match="no density"):
        known.density_g_cm3(60, 20)
    with pytest.raises(ValueError, match="no density"):
        known.slope_g_cm3_per_mm(60, 20)
    with pytest.raises(ValueError, match="no density"):
        compute_density(known, 60, 20)
    refused = predict(known, 30, known.ages[0], conversion_id="siri", override=True)
    assert refused.fat_percent is None
    assert _kinds(refused.density.refused) == {ReasonKind.ALREADY_PERCENT}


@DIRECT_BY_ID
def test_a_percent_has_no_density_and_no_conversion(known: Equation) -> None:
    """The result is the formula's own, with nothing between."""
    found = predict(known, 30, known.ages[0])
    assert found.density.density_g_cm3 is None
    assert found.density_standard_error_g_cm3 is None
    assert found.conversion is None
    assert found.fat_percent == known.direct_fat_percent(30, known.ages[0])
    assert "no conversion" in found.method
    assert (found.spread is None) is (known.standard_error is None)


def test_a_density_is_never_taken_for_a_percent() -> None:
    """The reverse slip is refused as well."""
    with pytest.raises(ValueError, match="conversion"):
        MEN_3.direct_fat_percent(60, 30)
    with pytest.raises(ValueError, match="conversion"):
        MEN_3.slope_percent_per_mm(60, 30)


@DIRECT_BY_ID
@settings(deadline=None)
@given(data=st.data())
def test_percent_rises_as_the_folds_thicken(known: Equation, data: st.DataObject) -> None:
    """Up to the turning point more fold is more fat, but for the jump where two formulas meet."""
    top_mm = min(known.turning_point_mm or 200.0, 200.0)
    low, high = 5.0, top_mm
    if isinstance(known.form, PercentTwoPiece):
        low, high = data.draw(st.sampled_from([(5.0, 35.0), (35.01, 200.0)]), label="piece")
    less = data.draw(st.floats(low, high - 1.5), label="less")
    more = data.draw(st.floats(less + 1, high), label="more")
    age = data.draw(st.integers(*known.ages), label="age")
    assert known.direct_fat_percent(less, age) < known.direct_fat_percent(more, age)


@DIRECT_BY_ID
@pytest.mark.parametrize("sum_mm", [12.0, 34.0, 36.0, 70.0])
def test_the_slope_of_a_percent_is_its_slope(known: Equation, sum_mm: float) -> None:
    """The derivative agrees with a small step taken to either side."""
    age, step = known.ages[0], 0.01
    rise = known.direct_fat_percent(sum_mm + step, age) - known.direct_fat_percent(
        sum_mm - step, age
    )
    assert known.slope_percent_per_mm(sum_mm, age) == pytest.approx(rise / (2 * step), rel=1e-6)


@pytest.mark.parametrize(
    ("id_", "turning_point_mm"),
    [
        ("jackson_pollock_1985_men_4_percent", 293),
        ("jackson_pollock_1985_women_4_percent", 345),
        ("jackson_pollock_1985_men_3_percent", 187),
        ("jackson_pollock_1985_women_3_percent", 186),
    ],
)
def test_where_a_percent_turns(id_: str, turning_point_mm: int) -> None:
    """Past it a thicker fold would lower the percent (worked out by hand), and nothing comes."""
    known = equation(id_)
    assert round(known.turning_point_mm or 0) == turning_point_mm
    refused = predict(known, turning_point_mm + 1, 30, override=True)
    assert ReasonKind.PAST_TURNING_POINT in _kinds(refused.density.refused)


def test_up_to_35_mm_one_formula_and_above_it_the_other() -> None:
    """35 mm itself belongs to the thinner ones."""
    girls = equation("slaughter_1988_girls_subscapular")
    assert girls.direct_fat_percent(35, 12) == pytest.approx(1.33 * 35 - 0.013 * 35 * 35 - 2.5)
    assert girls.direct_fat_percent(35.1, 12) == pytest.approx(0.546 * 35.1 + 9.7)


@pytest.mark.parametrize(
    ("id_", "points"),
    [
        ("slaughter_1988_boys_subscapular_white_pubescent", "12"),
        ("slaughter_1988_girls_subscapular", "6"),
    ],
)
def test_an_equation_known_to_be_off_says_so(id_: str, points: str) -> None:
    """From 50 mm these read 12 and 6 points too much (Freedman and others 2013)."""
    known = equation(id_)
    assert predict(known, 49.9, 12).fat_percent is not None
    refused = predict(known, 50, 12)
    assert _kinds(refused.density.refused) == {ReasonKind.KNOWN_BIAS}
    assert f"{points} points more" in refused.why_not[0]
    allowed = predict(known, 50, 12, override=True)
    assert "outside the equation's sample" in (allowed.plain_range or "")


def test_a_negative_percent_is_none() -> None:
    """Very thin folds of a boy come to less than nothing: no number, and a sentence."""
    found = predict(equation("slaughter_1988_boys_subscapular_black_postpubescent"), 5, 16)
    assert found.fat_percent is None
    assert found.fat_standard_error_percent is None
    assert found.spread is None
    assert found.plain_range is None
    assert found.why_not == ("The percent lies below the model's range.",)


def test_athletes_of_an_unlike_age_need_a_word() -> None:
    """The sample was 20.7 ± 2.0 years old; its limits are our own choice and say so."""
    known = equation("evans_2005_men_3_white")
    assert known.ages == EVANS_AGES == (math.ceil(20.7 - 4), math.floor(20.7 + 4))
    assert known.ages_confirmed is Confirmed.OWN_CHOICE
    assert _kinds(predict(known, 35, 40).density.refused) == {ReasonKind.AGE}


def test_the_young_are_offered_the_calf_first() -> None:
    """The equations that need no word on race or maturity stand before those that do."""
    sites = ("triceps", "calf", "subscapular")
    fitting = [each.equation.id for each in applicable(Sex.MALE, 12, sites) if each.applies]
    assert fitting[0] == "slaughter_1988_boys_calf"
    assert len(fitting) == 7


# Conversions for groups


def test_a_conversion_for_the_other_sex_is_never_used() -> None:
    """No override turns a woman's conversion into a man's."""
    refused = predict(MEN_3, 60, 40, conversion_id="ortiz", override=True)
    assert _kinds(refused.density.refused) == {ReasonKind.CONVERSION_SEX}


def test_a_conversion_for_another_age_needs_a_word() -> None:
    """With an override it is used, and the result carries it."""
    id_ = "heyward_black_men_18_32"
    assert predict(MEN_3, 60, 32, conversion_id=id_).fat_percent is not None
    refused = predict(MEN_3, 60, 33, conversion_id=id_)
    assert _kinds(refused.density.refused) == {ReasonKind.CONVERSION_AGE}
    allowed = predict(MEN_3, 60, 33, conversion_id=id_, override=True)
    assert _kinds(allowed.density.outside) == {ReasonKind.CONVERSION_AGE}
    assert allowed.fat_percent == pytest.approx(437 / MEN_3.density_g_cm3(60, 33) - 393)


def test_a_visit_takes_the_same_road() -> None:
    """A visit with an equation that gives percent has a percent, no density and no conversion."""
    readings = {"triceps": (120, 130), "calf": (125,)}
    found = visit_result(readings, Sex.MALE, 12, CALF.id, weight_kg=45, target_percent=15)
    assert found.sum_mm == 25
    assert found.fat_percent == pytest.approx(19.375)
    assert found.density_g_cm3 is None
    assert found.conversion_used is None
    assert found.goal is not None
    with pytest.raises(ValueError, match="directly"):
        assert found.conversion
    plain = found.to_plain()
    assert plain["conversion"] is None
    hidden = found.to_plain(show_fat=False)
    assert {"fat", "masses", "goal"}.isdisjoint(hidden)
    assert hidden["sum"] == plain["sum"]
    asked = visit_result(readings, Sex.MALE, 12, CALF.id, "siri", override=True)
    assert asked.fat_percent is None
    assert asked.why_not == (
        "The equation gives fat percent itself; no conversion is applied to it.",
    )


# How far off


@pytest.mark.parametrize(
    ("known", "sum_mm", "age", "tem_sum_mm"),
    [
        (MEN_3, 60.0, 35, 2.0),
        (CALF, 25.0, 12, 1.5),
        (equation("evans_2005_women_7_white"), 90.0, 20, 6.0),
    ],
    ids=["density, men", "percent, boys", "percent, athletes, shaky hand"],
)
def test_throws_of_dice_scatter_masses_and_goal_as_the_formula_says(
    known: Equation, sum_mm: float, age: int, tem_sum_mm: float
) -> None:
    """First-order propagation to percent, both masses and the goal weight, against 20 000 draws."""
    dice = random.Random(20260714)
    siri = conversion("siri")
    found = predict(known, sum_mm, age, tem_sum_mm=tem_sum_mm)
    assert found.fat_percent is not None
    drawn: list[list[float]] = [[], [], [], []]
    for _ in range(20_000):
        thrown_mm, weight = dice.gauss(sum_mm, tem_sum_mm), dice.gauss(70, 0.5)
        if known.gives is Gives.DENSITY:
            error = known.standard_error_g_cm3 or math.nan
            density = known.density_g_cm3(thrown_mm, age) + dice.gauss(0, error)
            percent = siri.fat_percent(density)
        else:
            error = known.standard_error_percent or math.nan
            percent = known.direct_fat_percent(thrown_mm, age) + dice.gauss(0, error)
        rest = weight * (1 - percent / 100)
        for into, value in zip(drawn, (percent, weight - rest, rest, rest / 0.85), strict=True):
            into.append(value)
    weighed = masses(70, found.fat_percent, found.fat_standard_error_percent, 0.5)
    goal = goal_weight(70, found.fat_percent, found.fat_standard_error_percent, 15, 0.5)
    formula = [
        found.fat_standard_error_percent,
        weighed.fat_mass_standard_error_kg,
        weighed.fat_free_mass_standard_error_kg,
        goal.standard_error_kg,
    ]
    # 20 000 draws know a standard deviation to about 0.5 %.
    assert [statistics.stdev(each) for each in drawn] == pytest.approx(formula, rel=0.025)
    near = statistics.fmean(drawn[0]) - found.fat_percent
    assert abs(near) < 0.1


@pytest.mark.parametrize("tem", [-0.1, math.nan, math.inf])
@pytest.mark.parametrize("known", [MEN_3, CALF], ids=lambda known: known.id)
def test_an_error_of_the_sum_that_is_none_is_a_mistake(known: Equation, tem: float) -> None:
    """A technical error is a length of 0 mm or more."""
    with pytest.raises(ValueError, match="technical error"):
        predict(known, 40, known.ages[0], tem_sum_mm=tem)


@pytest.mark.parametrize(
    ("weight_lb", "percent", "target", "goal_lb"),
    [(170, 11.1, 10, 167.9), (140, 20.7, 15, 130.6)],
    ids=["a man, secondary text", "a woman, secondary text"],
)
def test_a_target_weight(weight_lb: float, percent: float, target: float, goal_lb: float) -> None:
    """Two worked examples of a text: the unit does not matter."""
    goal = goal_weight(weight_lb, percent, None, target)
    assert goal.weight_kg == pytest.approx(goal_lb, abs=0.05)
    assert goal.to_lose_kg == pytest.approx(weight_lb - goal.weight_kg)
    assert goal.standard_error_kg is None


@pytest.mark.parametrize("target", [-1, 100, math.nan])
def test_a_target_that_nobody_has(target: float) -> None:
    """A target leaves something that is not fat."""
    with pytest.raises(ValueError, match="target"):
        goal_weight(80, 20, 3.5, target)


def test_no_more_digits_than_a_value_deserves() -> None:
    """One decimal beside a range, none without one; a half goes up."""
    assert in_words(14.72, 2.8, "kg") == "14.7 kg, likely 12 to 18"
    assert in_words(14.72, None, "kg") == "about 15 kg, error not known"
    assert [one_decimal(value) for value in (0.04, 0.05, 18.45, 18.4499)] == [
        "0.0",
        "0.1",
        "18.5",
        "18.4",
    ]
    assert spread(2.0, 3.5).low == 0


# Arrays


@pytest.mark.parametrize("known", equations(), ids=lambda known: known.id)
def test_an_array_of_sums_gives_an_array_of_results(known: Equation) -> None:
    """In a notebook a column of sums goes in and a column comes out, each like its own."""
    numpy = pytest.importorskip("numpy", minversion="2", reason="arrays with a namespace: numpy 2")
    sums = [20.0, 35.0, 36.0, 90.0]
    age = known.ages[0]
    formula = known.density_g_cm3 if known.gives is Gives.DENSITY else known.direct_fat_percent
    ours = formula(numpy.array(sums), age)
    assert ours.shape == (4,)  # type: ignore[attr-defined]
    assert list(ours) == pytest.approx([formula(each, age) for each in sums])  # type: ignore[call-overload]
    if known.gives is Gives.DENSITY:
        percents = conversion("brozek").fat_percent(ours)
        assert list(percents) == pytest.approx(  # type: ignore[call-overload]
            [conversion("brozek").fat_percent(formula(each, age)) for each in sums]
        )
    if known not in LOGARITHMS:
        ages = numpy.array([18.0, 30.0, 45.0, 61.0])
        both = formula(numpy.array(sums), ages)
        singles = [formula(mm, years) for mm, years in zip(sums, ages, strict=True)]
        assert list(both) == pytest.approx(singles)  # type: ignore[call-overload]


def test_a_logarithm_asks_the_array_for_its_library() -> None:
    """Nothing is imported for it, and a plain number stays one."""
    assert log10(1000) == pytest.approx(3)
    with pytest.raises(ValueError, match=r"domain|positive"):
        log10(0)
    assert "numpy" not in vars(sys.modules["capture.composition.arrays"])


# What is settled for a client


def test_a_client_s_defaults_survive_the_store() -> None:
    """What is settled once comes back as it was."""
    defaults = ClientDefaults(MEN_3.id, "brozek", show_norms=False)
    assert ClientDefaults.from_plain(defaults.to_plain()) == defaults
    assert not defaults.norms_shown
    assert not ClientDefaults(MEN_3.id, show_fat_percent=False).norms_shown
    assert ClientDefaults(MEN_3.id).norms_shown


@pytest.mark.parametrize(
    ("equation_id", "conversion_id"),
    [("nonsense", None), (MEN_3.id, "nonsense"), (MEN_4.id, "siri")],
)
def test_defaults_that_cannot_work_are_refused(equation_id: str, conversion_id: str | None) -> None:
    """An unknown id, and a conversion for a percent, are told when they are chosen."""
    with pytest.raises(CaptureError):
        ClientDefaults(equation_id, conversion_id)


def test_what_a_notebook_imports_is_there() -> None:
    """Every name that the package offers exists, and its own example runs."""
    for name in capture.composition.__all__:
        assert hasattr(capture.composition, name)
    outcome = doctest.testmod(capture.composition)
    assert outcome.attempted > 0
    assert outcome.failed == 0


def test_the_table_for_readers_hides_no_equation() -> None:
    """Each check is a row of Markdown; what has no figure from outside is named below it."""
    lines = markdown_lines()
    rows = [line for line in lines if line.startswith("| ")][2:]
    assert len(rows) == len(CHECKS)
    assert all(line.count("|") == lines[0].count("|") for line in rows)
    for known in equations():
        assert any(f"`{known.id}`" in line for line in lines)
    assert "`withers_1987_men_7`" in lines[-1]
    assert "`durnin_womersley_1974_men`" not in lines[-1]
    short = [line for line in summary_markdown_lines() if line.startswith("| ")][2:]
    assert sum(int(line.split("|")[3]) for line in short) == len(CHECKS)
