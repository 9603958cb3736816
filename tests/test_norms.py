"""Where a percent lies among others: sources, neutral words, and the switch to turn it off."""

import doctest
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from capture.composition import norms as norms_module
from capture.composition.equations import equation
from capture.composition.forms import Confirmed, Sex
from capture.composition.norms import (
    NORM_CAUTION,
    PERCENTILES_CONFIRMED,
    RANGES_CONFIRMED,
    norm,
)
from capture.composition.prediction import predict
from capture.composition.shown import Body, shown
from capture.composition.uncertainty import Spread

LOADED = re.compile(
    r"\b(poor|bad|good|excellent|obese|over ?fat|ideal|normal|risk|healthy)\b", re.I
)


@pytest.mark.parametrize(
    ("sex", "age", "percent", "fewest", "most"),
    [
        (Sex.MALE, 25, 7.1, 90, 100),
        (Sex.MALE, 25, 7.2, 80, 90),
        (Sex.MALE, 39, 19.0, 50, 60),
        (Sex.MALE, 44, 26.2, 10, 20),
        (Sex.MALE, 85, 31.3, 0, 10),
        (Sex.FEMALE, 20, 22.2, 40, 50),
        (Sex.FEMALE, 59, 35.6, 20, 40),
    ],
    ids=str,
)
def test_between_how_many_of_100(
    sex: Sex, age: int, percent: float, fewest: int, most: int
) -> None:
    """Cooper percentiles of the older guidelines (from memory): so many had more fat."""
    found = norm(sex, age, percent)
    assert found is not None
    assert (found.fewest, found.most) == (fewest, most)


def test_a_value_with_a_range_has_a_range_of_places() -> None:
    """An error of three points spreads over many places, and the line says so."""
    found = norm(Sex.MALE, 35, 18.4, Spread(15.0, 21.8))
    assert found is not None
    assert (found.likely_fewest, found.likely_most) == (20, 80)
    assert "(20 to 80 for the likely range)" in found.lines[0]


@pytest.mark.parametrize("age", [0, 12, 19])
def test_there_are_no_norms_for_the_young(age: int) -> None:
    """The sources are about adults."""
    assert norm(Sex.FEMALE, age, 20) is None


@settings(deadline=None)
@given(
    sex=st.sampled_from(Sex), age=st.integers(20, 110), one=st.floats(0, 61), other=st.floats(0, 61)
)
def test_more_fat_never_has_more_people_above_it(
    sex: Sex, age: int, one: float, other: float
) -> None:
    """The table runs one way at every age."""
    low, high = norm(sex, age, min(one, other)), norm(sex, age, max(one, other))
    assert low is not None
    assert high is not None
    assert low.fewest >= high.fewest
    assert low.most >= high.most


@settings(deadline=None)
@given(sex=st.sampled_from(Sex), age=st.integers(20, 90), percent=st.floats(0, 61))
def test_the_words_judge_nobody(sex: Sex, age: int, percent: float) -> None:
    """No word of worth or illness stands in any line, and the caution always does."""
    found = norm(sex, age, percent)
    assert found is not None
    assert found.lines[-1] == NORM_CAUTION
    assert not LOADED.search(" ".join(found.lines))


def test_sources_say_how_well_they_are_known() -> None:
    """The percentiles are from memory, the ranges from a text that reproduces them."""
    assert PERCENTILES_CONFIRMED is Confirmed.MEMORY
    assert RANGES_CONFIRMED is Confirmed.SECONDARY
    found = norm(Sex.MALE, 30, 20)
    assert found is not None
    assert "not yet compared with the print" in found.lines[0]
    assert "editions 6 and 7" in found.lines[0]
    assert "American Council on Exercise" in found.lines[1]


@pytest.mark.parametrize(
    ("sex", "percent", "words"),
    [
        (Sex.MALE, 1.9, None),
        (Sex.MALE, 13.9, "in a range common among athletes"),
        (Sex.MALE, 25.0, "above the middle range of adults"),
        (Sex.FEMALE, 13.9, "in the range of essential fat"),
        (Sex.FEMALE, 31.9, "in the middle range of adults"),
    ],
)
def test_the_range_a_percent_falls_in(sex: Sex, percent: float, words: str | None) -> None:
    """Between two whole percents of the source the lower range still holds."""
    found = norm(sex, 30, percent)
    assert found is not None
    assert found.band == words


def test_norms_and_percent_can_be_kept_from_a_client() -> None:
    """With the switch off neither the lines nor the values hold such a number."""
    found = predict(equation("jackson_pollock_1978_men_3"), 45, 30)
    body = Body(weight_kg=80, height_cm=180, target_percent=2)
    everything = shown(found, body)
    assert everything.norm is not None
    assert any("essential" in line for line in everything.cautions)
    assert everything.fat_free_mass_index_kg_m2 == pytest.approx(
        80 * (1 - (found.fat_percent or 0) / 100) / 1.8**2
    )
    without = shown(found, body, show_norms=False)
    assert without.norm is None
    assert without.to_plain()["norm"] is None
    folds = shown(found, body, show_fat=False)
    assert folds.lines()[0].startswith("Sum of folds 45.0 mm")
    assert not [line for line in folds.lines() if "%" in line or "kg" in line or "g/cm" in line]
    hidden = {"fat_percent", "density_g_cm3", "masses", "goal", "norm", "plain_range"}
    assert hidden.isdisjoint(folds.to_plain())
    assert hidden <= set(everything.to_plain())


def test_an_override_marks_every_line_that_follows_from_it() -> None:
    """Percent, density, masses, goal and place all carry the mark."""
    found = predict(equation("jackson_pollock_1978_men_3"), 45, 70, override=True)
    lines = shown(found, Body(80, 180, 12)).lines()
    marked = [line for line in lines if "outside the equation's sample" in line]
    starts = ["Density", "Fat 18", "Fat mass", "Fat-free mass 6", "Fat-free mass by", "At 12 %"]
    assert [[s for s in starts if line.startswith(s)] for line in marked[:6]] == [
        [s] for s in starts
    ]
    assert len(marked) == 8
    plain = shown(found, Body(80, 180, 12)).to_plain()
    assert plain["outside_the_sample"] is True
    assert plain["masses"]["outside_the_sample"] is True  # type: ignore[index]
    assert plain["goal"]["outside_the_sample"] is True  # type: ignore[index]


def test_the_examples_in_the_text_run() -> None:
    """What a docstring shows is what happens."""
    outcome = doctest.testmod(norms_module)
    assert outcome.attempted > 0
    assert outcome.failed == 0
