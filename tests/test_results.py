"""What a visit comes to, from its confirmed readings."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from capture.composition.conversion import NoFat
from capture.composition.equations import FoldDirection, ReasonKind, Sex
from capture.composition.results import VisitResult, visit_result
from capture.composition.statistics import Settlement
from capture.errors import CaptureError

MEN_3 = "jackson_pollock_1978_men_3"
MEN_LOG = "durnin_womersley_1974_men"
# Settled: 10.0, 20.0 and 15.0 mm, a sum of 45 mm.
MAN = {"chest": (98, 102), "abdominal": (180, 200, 260), "thigh": (150,), "calf": (90, 91)}


def _kinds(result: VisitResult) -> list[ReasonKind]:
    return [reason.kind for reason in result.density.refused]


def test_a_visit_from_readings_to_percent() -> None:
    """A man of 30 with 45 mm over three sites: density 1.0676965, 13.6 percent."""
    result = visit_result(MAN, Sex.MALE, 30, MEN_3)
    assert [site.site for site in result.sites] == ["chest", "abdominal", "thigh", "calf"]
    assert [site.settled.how for site in result.sites] == [
        Settlement.MEAN_OF_TWO,
        Settlement.MEDIAN_OF_THREE,
        Settlement.ONE_READING,
        Settlement.MEAN_OF_TWO,
    ]
    assert result.sum_mm == 45
    assert result.density_g_cm3 == pytest.approx(1.0676965, abs=6e-8)
    assert result.fat_percent == pytest.approx(13.615, abs=6e-4)
    assert result.fat_standard_error_percent == pytest.approx(495 / 1.0676965**2 * 0.0077)
    assert result.plain_range == "13.6 %, likely 10 to 17"
    assert result.missing_sites == ()
    assert result.why_not == ()
    assert result.outside == ()


def test_the_other_conversion_gives_its_own_percent() -> None:
    """The same visit by Brozek is 13.8 percent."""
    result = visit_result(MAN, Sex.MALE, 30, MEN_3, "brozek")
    assert result.fat_percent == pytest.approx(13.824, abs=6e-4)


def test_the_sum_stands_before_the_percent() -> None:
    """Whoever reads the plain form meets what was measured first."""
    plain = visit_result(MAN, Sex.MALE, 30, MEN_3, weight_kg=80).to_plain()
    keys = list(plain)
    assert keys.index("sites") < keys.index("sum") < keys.index("fat") < keys.index("masses")


def test_the_plain_form_is_json() -> None:
    """Everything in a result survives being written as JSON and read again."""
    result = visit_result(MAN, Sex.MALE, 70, MEN_3, override=True, weight_kg=80.0, tem_sum_mm=1.5)
    plain = result.to_plain()
    assert json.loads(json.dumps(plain, allow_nan=False)) == plain
    assert plain["sum"] == {"sites": ["chest", "abdominal", "thigh"], "sum_mm": 45.0}
    assert plain["sites"][1] == {  # type: ignore[index]
        "site": "abdominal",
        "readings_tenths_mm": [180, 200, 260],
        "value_mm": 20.0,
        "how": "median of three",
        "spread_mm": 8.0,
    }


def test_half_tenths_are_not_lost_in_the_sum() -> None:
    """Three means that end in half a tenth make a sum with its half tenth."""
    readings = {"chest": (100, 101), "abdominal": (200, 201), "thigh": (150, 151)}
    assert visit_result(readings, Sex.MALE, 30, MEN_3).sum_mm == 45.15


def test_a_missing_site_leaves_the_sum_and_the_percent_out() -> None:
    """A thigh that was not measured is named; nothing is put in its place."""
    result = visit_result(
        {"chest": (98, 102), "abdominal": (200,), "thigh": ()}, Sex.MALE, 70, MEN_3, override=True
    )
    assert result.missing_sites == ("thigh",)
    assert result.sum_mm is None
    assert result.fat_percent is None
    assert result.plain_range is None
    assert _kinds(result) == [ReasonKind.SITES_MISSING, ReasonKind.AGE]
    assert result.why_not[0] == "Not measured: thigh."
    assert [site.site for site in result.sites] == ["chest", "abdominal"]


def test_outside_the_sample_the_sum_stays_and_the_percent_waits() -> None:
    """At 70 the sum is shown, the percent only when someone asks for it, and then marked."""
    refused = visit_result(MAN, Sex.MALE, 70, MEN_3)
    assert refused.sum_mm == 45
    assert refused.fat_percent is None
    assert _kinds(refused) == [ReasonKind.AGE]
    allowed = visit_result(MAN, Sex.MALE, 70, MEN_3, override=True)
    assert allowed.fat_percent is not None
    assert [reason.kind for reason in allowed.outside] == [ReasonKind.AGE]
    assert allowed.plain_range is not None
    assert "outside the equation's sample" in allowed.plain_range


def test_an_equation_for_men_is_not_used_on_a_woman() -> None:
    """No override makes it fit; the sum is still hers."""
    result = visit_result(MAN, Sex.FEMALE, 30, MEN_3, override=True)
    assert result.sum_mm == 45
    assert result.fat_percent is None
    assert _kinds(result) == [ReasonKind.SEX]


def test_a_fold_from_another_place_needs_a_word() -> None:
    """The anterior suprailiac fold enters the log equation by override only, and is named."""
    readings = {"biceps": (50,), "triceps": (100,), "subscapular": (120,), "suprailiac": (130,)}
    refused = visit_result(readings, Sex.MALE, 30, MEN_LOG)
    assert refused.fat_percent is None
    assert _kinds(refused) == [ReasonKind.STAND_IN]
    allowed = visit_result(readings, Sex.MALE, 30, MEN_LOG, override=True)
    assert allowed.sum_mm == 40
    assert allowed.summed_sites == ("biceps", "triceps", "subscapular", "suprailiac")
    assert [reason.sites for reason in allowed.outside] == [("suprailiac",)]


def test_the_proper_site_is_preferred_to_its_stand_in() -> None:
    """With both folds measured the equation takes its own, and nothing needs a word."""
    readings = {
        "biceps": (50,),
        "triceps": (100,),
        "subscapular": (120,),
        "suprailiac": (200,),
        "iliac_crest": (130,),
    }
    result = visit_result(readings, Sex.MALE, 30, MEN_LOG)
    assert result.sum_mm == 40
    assert result.outside == ()
    assert result.fat_percent is not None


def test_a_fold_lifted_the_other_way_needs_a_word() -> None:
    """A horizontal abdominal fold is refused until someone overrides it."""
    lifted = {"abdominal": FoldDirection.HORIZONTAL}
    result = visit_result(MAN, Sex.MALE, 30, MEN_3, fold_directions=lifted)
    assert _kinds(result) == [ReasonKind.FOLD_DIRECTION]


def test_a_very_lean_man_is_below_the_model_and_not_at_zero() -> None:
    """Very thin folds at 18 give no percent and no masses, but a sum and the reason."""
    readings = {"biceps": (20,), "triceps": (20,), "subscapular": (25,), "iliac_crest": (20,)}
    result = visit_result(readings, Sex.MALE, 18, MEN_LOG, weight_kg=60)
    assert result.sum_mm == 8.5
    assert result.density_g_cm3 is not None
    assert result.density_g_cm3 > 1.1
    assert result.fat is not None
    assert result.fat.why_not is NoFat.BELOW_RANGE
    assert result.fat_percent is None
    assert result.masses is None
    assert result.plain_range is None
    assert result.why_not == ("The density lies below the model's range.",)
    assert json.loads(json.dumps(result.to_plain()))["fat"]["fat_percent"] is None


def test_an_equation_without_a_published_error_has_no_range() -> None:
    """The percent is given, its error is not made up, nor that of the masses."""
    readings = {"chest": (100,), "triceps": (150,), "subscapular": (200,)}
    result = visit_result(
        readings, Sex.MALE, 30, "pollock_schmidt_jackson_1980_men_3", weight_kg=80
    )
    assert result.fat_percent == pytest.approx(18.192, abs=6e-4)
    assert result.fat_standard_error_percent is None
    assert result.plain_range == "about 18 %, error not known"
    assert result.masses is not None
    assert result.masses.fat_mass_standard_error_kg is None


def test_a_weight_gives_fat_and_fat_free_mass() -> None:
    """The two add up to the weight, and a shaky hand widens the range of each."""
    steady = visit_result(MAN, Sex.MALE, 30, MEN_3, weight_kg=80)
    shaky = visit_result(MAN, Sex.MALE, 30, MEN_3, weight_kg=80, tem_sum_mm=6)
    assert steady.masses is not None
    assert shaky.masses is not None
    assert steady.masses.fat_mass_kg + steady.masses.fat_free_mass_kg == pytest.approx(80)
    assert steady.masses.fat_mass_standard_error_kg is not None
    assert shaky.masses.fat_mass_standard_error_kg is not None
    assert shaky.masses.fat_mass_standard_error_kg > steady.masses.fat_mass_standard_error_kg
    assert shaky.fat_percent == steady.fat_percent


def test_an_unknown_equation_is_told() -> None:
    """A misspelt id stops with the known ones."""
    with pytest.raises(CaptureError, match="no equation"):
        visit_result(MAN, Sex.MALE, 30, "men_3")


@settings(deadline=None)
@given(
    st.fixed_dictionaries(
        {
            site: st.lists(st.integers(20, 600), max_size=3).map(tuple)
            for site in ("chest", "abdominal", "thigh")
        }
    ),
    st.integers(10, 90),
    st.booleans(),
)
def test_a_result_always_has_either_a_percent_or_a_reason(
    readings: dict[str, tuple[int, ...]], age: int, override: bool
) -> None:
    """Whatever was read, nothing is silent: a percent from 0 up, or a sentence why not."""
    result = visit_result(readings, Sex.MALE, age, MEN_3, override=override)
    assert (result.fat_percent is None) is bool(result.why_not)
    assert result.fat_percent is None or result.fat_percent >= 0
    assert override or not result.outside
    assert (result.sum_mm is None) is bool(result.missing_sites)
    json.dumps(result.to_plain(), allow_nan=False)
