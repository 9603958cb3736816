"""Whether an utterance may have begun before anybody listened."""

import pytest

from capture.sound.onset import ABOVE_FLOOR_DB, AROUND_S, FLOOR_S, SOON_S, Onset

BLOCK_S = 0.05
QUIET, LOUD = -60.0, -60.0 + ABOVE_FLOOR_DB + 10
OPENED_S = 2.0


def room(loud_from_s: float, loud_to_s: float, until_s: float = 3.0) -> Onset:
    """A room that is loud in between; listening opens at two seconds."""
    onset = Onset()
    for n in range(round(until_s / BLOCK_S)):
        at_s = n * BLOCK_S
        if at_s == OPENED_S:
            onset.opened()
        loud = loud_from_s - 1e-9 <= at_s < loud_to_s - 1e-9
        onset.watch(BLOCK_S, LOUD if loud else QUIET)
    return onset


@pytest.mark.parametrize(
    ("loud_from_s", "loud_to_s", "word_at_s", "early"),
    [
        (1.9, 2.4, 2.0, True),
        (1.6, 1.9, 2.2, True),
        (1.3, 1.45, 2.2, False),
        (1.6, 1.9, 2.0 + AROUND_S, False),
        (2.0, 2.4, 2.0, False),
        (2.05, 2.4, 2.0 + SOON_S / 2, False),
    ],
    ids=["through it", "a pause in it", "long before", "long after", "with it", "just after"],
)
def test_speech_before_the_opening(
    loud_from_s: float, loud_to_s: float, word_at_s: float, early: bool
) -> None:
    """Whoever was speaking just before the opening may have lost words; a quiet room lost none."""
    assert room(loud_from_s, loud_to_s).begun_early(word_at_s - OPENED_S) is early


@pytest.mark.parametrize(
    ("loud_from_s", "word_at_s", "early"),
    [
        (2.0, 2.3, True),
        (2.3, 2.3, False),
        (2.05, 2.0 + SOON_S / 2, True),
        (9.0, 2.0 + SOON_S / 2, True),
    ],
    ids=["speech at it", "quiet at it", "speech soon", "soon, however quiet"],
)
def test_after_the_programs_own_voice(loud_from_s: float, word_at_s: float, early: bool) -> None:
    """Nothing is known of the room before: what is heard at the opening tells, and how soon."""
    onset = Onset()
    onset.blind(OPENED_S)
    onset.opened()
    for n in range(40, 60):
        at_s = n * BLOCK_S
        loud = loud_from_s - 1e-9 <= at_s < loud_from_s + 0.5
        onset.watch(BLOCK_S, LOUD if loud else QUIET)
    assert onset.begun_early(word_at_s - OPENED_S) is early


def test_an_utterance_that_was_taken_is_not_the_beginning_of_the_next() -> None:
    """A yes just before the next question takes nothing from what is said after it."""
    onset = Onset()
    onset.watch(1.0, QUIET)
    onset.watch(0.3, LOUD)
    onset.watch(0.1, QUIET)
    onset.taken()
    onset.opened()
    onset.watch(0.2, QUIET)
    onset.watch(0.4, LOUD)
    assert not onset.begun_early(0.2)


def test_the_floor_follows_the_room() -> None:
    """A fan that is switched on is the room's own level after a while."""
    onset = Onset()
    onset.watch(0.5, QUIET)
    onset.watch(FLOOR_S, LOUD)
    onset.watch(0.5, LOUD)
    onset.opened()
    onset.watch(1.0, LOUD)
    assert not onset.begun_early(0.2)


def test_without_any_sound_nothing_is_early() -> None:
    """An ear that has heard no block knows of no opening."""
    assert not Onset().begun_early(0.0)
