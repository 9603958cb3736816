"""Which readings are doubtful, and why."""

import pytest

from capture.protocol.plausibility import (
    CLOSE_RIVAL,
    UNMEASURED_UNSURE_BELOW,
    Doubt,
    DoubtKind,
    Limits,
    doubts_about,
    doubts_of_ear,
    weigh,
)
from capture.protocol.protocol import SEVEN_SITES, Tolerance

TOLERANCE = Tolerance(20, 10)
ABDOMINAL, CHEST, TRICEPS = (SEVEN_SITES.site(site) for site in ("abdominal", "chest", "triceps"))
UNUSUAL = Doubt(DoubtKind.UNUSUAL)


@pytest.mark.parametrize(
    ("value", "earlier", "expected"),
    [
        (30, (), ()),
        (29, (), (UNUSUAL,)),
        (500, (), ()),
        (501, (), (UNUSUAL,)),
        (120, (100,), ()),
        (121, (100,), (Doubt(DoubtKind.DIFFERS, 100),)),
        (79, (100,), (Doubt(DoubtKind.DIFFERS, 100),)),
        (110, (100, 130), ()),
        (128, (100, 130), ()),
        (160, (100, 130), (Doubt(DoubtKind.DIFFERS, 100),)),
        (25, (100,), (UNUSUAL, Doubt(DoubtKind.DIFFERS, 100))),
    ],
    ids=[
        "lowest usual", "below it", "highest usual", "above it", "2.0 mm more", "2.1 mm more",
        "2.1 mm less", "a third near the first", "a third near the second",
        "a third near neither", "unusual and different",
    ],
)  # fmt: skip
def test_doubts_about_a_value(
    value: int, earlier: tuple[int, ...], expected: tuple[Doubt, ...]
) -> None:
    """A value is asked about outside the site's range or away from all other circuits."""
    assert doubts_about(value, TRICEPS, TOLERANCE, earlier) == expected


def ear(
    value: int,
    earlier: tuple[int, ...] = (),
    confidence: float = 1.0,
    rivals: tuple[tuple[int, float], ...] = (),
) -> tuple[Doubt, ...]:
    """Doubts about a value heard at the triceps."""
    return doubts_of_ear(value, TRICEPS, TOLERANCE, earlier, confidence, rivals)


@pytest.mark.parametrize(
    ("confidence", "rivals", "expected"),
    [
        (1.0, (), ()),
        (UNMEASURED_UNSURE_BELOW, (), ()),
        (UNMEASURED_UNSURE_BELOW - 0.001, (), (Doubt(DoubtKind.UNSURE),)),
        (0.9, ((122, CLOSE_RIVAL),), (Doubt(DoubtKind.RIVAL, 122),)),
        (0.9, ((122, CLOSE_RIVAL - 0.001),), ()),
        (0.6, ((122, 0.05),), (Doubt(DoubtKind.UNSURE),)),
        (0.5, ((122, 0.3), (104, 0.2)), (Doubt(DoubtKind.RIVAL, 122),)),
    ],
    ids=[
        "sure", "just sure", "unsure", "a close rival", "a far rival", "unsure without a rival",
        "the best of two rivals",
    ],
)  # fmt: skip
def test_doubts_of_the_recogniser(
    confidence: float, rivals: tuple[tuple[int, float], ...], expected: tuple[Doubt, ...]
) -> None:
    """A close runner-up is named; without one, an unsure recogniser is reported as such."""
    assert ear(124, confidence=confidence, rivals=rivals) == expected


@pytest.mark.parametrize(
    ("value", "earlier", "other"),
    [
        (150, (), 500),
        (500, (), 150),
        (190, (), None),
        (120, (), None),
        (500, (148,), 150),
        (150, (150,), None),
        (150, (490,), 500),
        (500, (490, 152), 150),
        (254, (290,), 294),
        (254, (250,), None),
        (95, (56,), 55),
        (55, (98,), 95),
        (50, (70,), 90),
        (122, (300,), None),
    ],
    ids=[
        "fifteen, nothing to go by", "fifty, nothing to go by", "nineteen: ninety is too thick",
        "twelve", "fifty after fifteen", "fifteen after fifteen", "fifteen after fifty",
        "fifty after both", "five for nine", "five after five", "nine for five",
        "tenth and whole alike", "half way between both", "no look-alike",
    ],
)  # fmt: skip
def test_values_that_sound_alike(value: int, earlier: tuple[int, ...], other: int | None) -> None:
    """The other half is asked about if it fits the site, or what was measured there, no worse."""
    expected = () if other is None else (Doubt(DoubtKind.SOUNDS_ALIKE, other),)
    assert ear(value, earlier) == expected


LIMITS = Limits(normal_from=0.95, again_below=0.5, sure_from=0.97)


@pytest.mark.parametrize(
    ("value", "earlier", "confidence", "rivals", "expected"),
    [
        (124, (), 0.95, ((202, 0.04),), ()),
        (124, (), 0.94, ((202, 0.04),), (Doubt(DoubtKind.RIVAL, 202),)),
        (124, (), 0.94, ((None, 0.05), (202, 0.01)), (Doubt(DoubtKind.RIVAL, 202),)),
        (124, (), 0.94, (), (Doubt(DoubtKind.UNSURE),)),
        (134, (), 0.94, (), (Doubt(DoubtKind.RIVAL, 304),)),
        (254, (), 0.94, (), (Doubt(DoubtKind.RIVAL, 294),)),
        (124, (), 0.99, ((None, 0.1),), (Doubt(DoubtKind.UNSURE),)),
        (124, (120,), 0.94, ((202, 0.05),), ()),
        (124, (200,), 0.98, ((202, 0.019),), (Doubt(DoubtKind.RIVAL, 202),)),
        (124, (120,), 0.94, ((122, 0.05),), (Doubt(DoubtKind.RIVAL, 122),)),
        (124, (120,), 0.94, (), (Doubt(DoubtKind.UNSURE),)),
    ],
    ids=[
        "just normal", "just doubtful", "another site is no value to name", "nothing to name",
        "the half of a pair is named", "nine is named for five", "close, but no value",
        "the first circuit rules the rival out", "the first circuit speaks for the rival",
        "the first circuit fits both", "history alone makes nothing clear",
    ],
)  # fmt: skip
def test_doubts_of_a_measured_ear(
    value: int,
    earlier: tuple[int, ...],
    confidence: float,
    rivals: tuple[tuple[int | None, float], ...],
    expected: tuple[Doubt, ...],
) -> None:
    """Under the pack's threshold a value is asked about, with what else it could be by name."""
    found = doubts_of_ear(value, TRICEPS, TOLERANCE, earlier, confidence, rivals, LIMITS)
    assert found == expected


def test_what_a_site_showed_moves_the_probability() -> None:
    """A value like the first circuit's gains on a rival unlike it, and the other way round."""
    like = weigh(124, 0.9, ((202, 0.1),), (120,), TOLERANCE)
    unlike = weigh(124, 0.9, ((202, 0.1),), (200,), TOLERANCE)
    assert unlike < 0.9 < like < 1
    assert weigh(124, 0.9, ((202, 0.1),), (), TOLERANCE) == 0.9
    assert weigh(124, 0.0, (), (120,), TOLERANCE) == 0.0


def test_a_rival_that_sounds_alike_is_named_once() -> None:
    """Fifteen with fifty as runner-up is one question, not two."""
    assert ear(150, rivals=((500, 0.3),)) == (Doubt(DoubtKind.RIVAL, 500),)


def test_the_sites_range_decides() -> None:
    """Fifty is a usual abdominal fold and no usual chest fold."""
    at_chest = doubts_of_ear(150, CHEST, TOLERANCE, (), 1.0, ())
    at_abdominal = doubts_of_ear(150, ABDOMINAL, TOLERANCE, (), 1.0, ())
    assert (at_chest, at_abdominal) == ((), (Doubt(DoubtKind.SOUNDS_ALIKE, 500),))
