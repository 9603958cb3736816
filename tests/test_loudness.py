"""What the level of the sound tells of an utterance."""

import math

import pytest

from capture.recognise.loudness import (
    CLEAREST_DB,
    FRAME_S,
    LevelLog,
    Levels,
    Loudness,
    loudness,
)

ROOM_DB, VOICE_DB = 20.0, 60.0


def levels(*parts: tuple[float, float], start_s: float = 0.0) -> Levels:
    """Levels in dB with how long each lasts in seconds."""
    frames = [[level] * round(lasts_s / FRAME_S) for level, lasts_s in parts]
    return Levels(start_s, tuple(level for part in frames for level in part))


def test_a_clear_call_has_nothing_against_it() -> None:
    """Two words of one loudness in a quiet room, and nothing else."""
    sound = levels((ROOM_DB, 1.0), (VOICE_DB, 1.0), (ROOM_DB, 0.6))
    assert loudness([(1.0, 1.5), (1.5, 2.0)], sound) == Loudness()


def test_without_levels_a_call_counts_as_clear() -> None:
    """A recogniser that tells no levels gives no doubt by them."""
    assert loudness([(0.0, 0.5)], None) == loudness([(0.0, 0.5)], Levels(0.0, ())) == Loudness()


@pytest.mark.parametrize("below_db", [0, 14])
def test_a_faint_first_word_is_told(below_db: float) -> None:
    """A word of the room before the near speaker's stays below it."""
    sound = levels((ROOM_DB, 1.0), (VOICE_DB - below_db, 0.5), (VOICE_DB, 0.5), (ROOM_DB, 0.6))
    found = loudness([(1.0, 1.48), (1.52, 2.0)], sound)
    assert found.first_below_db == pytest.approx(below_db, abs=1.5)


def test_the_room_is_told_from_its_quietest_moments() -> None:
    """Speech that stands 12 dB above a loud room is not clear of it."""
    sound = levels((48.0, 1.0), (VOICE_DB, 1.0), (48.0, 0.6))
    assert loudness([(1.0, 2.0)], sound).clear_db == pytest.approx(12)
    assert loudness([(1.0, 2.0)], levels((-90.0, 1.0), (VOICE_DB, 1.0))).clear_db == CLEAREST_DB


@pytest.mark.parametrize("place", ["before", "after", "between"])
def test_a_word_left_out_is_noticed(place: str) -> None:
    """Loud sound that no word covers may be half of the number: "four seven" for "seven"."""
    spans = {
        "before": [(1.8, 2.2)],
        "after": [(1.0, 1.4)],
        "between": [(1.0, 1.2), (2.0, 2.2)],
    }
    sound = {
        "before": levels(
            (ROOM_DB, 1.2), (VOICE_DB, 0.4), (ROOM_DB, 0.2), (VOICE_DB, 0.4), (ROOM_DB, 0.5)
        ),
        "after": levels(
            (ROOM_DB, 1.0), (VOICE_DB, 0.4), (ROOM_DB, 0.2), (VOICE_DB, 0.4), (ROOM_DB, 0.5)
        ),
        "between": levels(
            (ROOM_DB, 1.0),
            (VOICE_DB, 0.2),
            (ROOM_DB, 0.25),
            (VOICE_DB, 0.3),
            (ROOM_DB, 0.25),
            (VOICE_DB, 0.2),
            (ROOM_DB, 0.5),
        ),
    }
    assert loudness(spans[place], sound[place]).left_out_s > 0.1


def test_a_noisy_room_is_no_word_left_out() -> None:
    """What stands as loud beside speech in a loud room is the room."""
    sound = levels((55.0, 1.0), (VOICE_DB, 0.5), (55.0, 0.6))
    assert loudness([(1.0, 1.5)], sound).left_out_s == 0


def test_what_was_said_long_before_belongs_to_another_call() -> None:
    """A loud word more than 0.8 s before is not missed."""
    sound = levels((VOICE_DB, 0.5), (ROOM_DB, 1.0), (VOICE_DB, 0.5), (ROOM_DB, 0.5))
    assert loudness([(1.5, 2.0)], sound).left_out_s == 0


def test_words_outside_the_levels_do_no_harm() -> None:
    """Times that the decoder gives before the first level, or after the last, are drawn in."""
    sound = levels((ROOM_DB, 0.5), (VOICE_DB, 0.5), start_s=10.0)
    found = loudness([(9.0, 9.5), (12.0, 12.5)], sound)
    assert all(math.isfinite(each) for each in (found.first_below_db, found.clear_db))


def test_the_log_forgets_but_goes_on_counting() -> None:
    """After an utterance its levels are gone; the next ones have their true times."""
    log = LevelLog()
    for _ in range(50):
        log.take(ROOM_DB)
    log.forget()
    assert log.levels().decibels == ()
    for level in (ROOM_DB, VOICE_DB):
        log.take(level)
    assert log.levels() == Levels(50 * FRAME_S, (ROOM_DB, VOICE_DB))


def test_the_log_keeps_only_the_last_seconds() -> None:
    """An hour of silence does not fill the memory; the times stay true."""
    log = LevelLog()
    for number in range(5000):
        log.take(float(number))
    kept = log.levels()
    assert len(kept.decibels) < 20 / FRAME_S
    assert kept.decibels[-1] == 4999
    assert kept.start_s + FRAME_S * len(kept.decibels) == pytest.approx(100.0)
