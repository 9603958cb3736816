"""How loud the sound was from moment to moment, and what that tells of the words heard in it.

A word that somebody else said in passing is fainter than those of who stands near. A loud stretch
that no word covers was left out. Both are seen in the level alone.
"""

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

FRAME_S = 0.02
"""One level is taken for so much sound."""

KEPT_S = 14.0
"""Longer than the longest utterance and the room before it."""

CLEAREST_DB = 35.0
"""A room so far below the speech is as good as none."""

_ROOM_SHARE = 0.15
"""The room's level: so much of the time around an utterance is quieter."""

_BEFORE_S, _AFTER_S = 2.0, 0.4
_WORD_LEVEL_FRAMES = 3
_AS_LOUD_DB, _CLEAR_DB = 10.0, 20.0
"""Left out is what is within the first of the loudest word, and the second above the room."""

_SOON_S = 0.8
_EARLY_S, _LATE_S = 0.1, 0.2
"""Words may begin so much before and end so much after what the decoder says."""

Span = tuple[float, float]
"""Where a word begins and ends, in seconds."""


@dataclass(frozen=True, slots=True)
class Levels:
    """Levels of frames of `FRAME_S` in dB against any fixed level, the first from `start_s` on."""

    start_s: float
    decibels: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Loudness:
    """What the levels tell of an utterance.

    `first_below_db`: how far the first word stays below the loudest.
    `clear_db`: how far the loudest word stands above the room, at most `CLEAREST_DB`.
    `left_out_s`: sound as loud as the words, in a quiet room, that no word covers.
    """

    first_below_db: float = 0.0
    clear_db: float = CLEAREST_DB
    left_out_s: float = 0.0


def loudness(words: Sequence[Span], levels: Levels | None) -> Loudness:
    """What the levels tell of words at these places; as of a clear call where there are none."""
    if levels is None or not levels.decibels or not words:
        return Loudness()
    decibels = levels.decibels
    at_s = [levels.start_s + FRAME_S * (place + 0.5) for place in range(len(decibels))]
    begins_s, ends_s = words[0][0], words[-1][1]
    near = sorted(
        level
        for level, at in zip(decibels, at_s, strict=True)
        if begins_s - _BEFORE_S < at < ends_s + _AFTER_S
    )
    room_db = near[int(_ROOM_SHARE * len(near))] if near else min(decibels)
    peaks_db = [_peak_db(decibels, word, levels.start_s) for word in words]
    loudest_db = max(peaks_db)
    least_db = max(room_db + _CLEAR_DB, loudest_db - _AS_LOUD_DB)
    left_out = sum(
        level > least_db and at > begins_s - _SOON_S and not _covered(at, words)
        for level, at in zip(decibels, at_s, strict=True)
    )
    return Loudness(
        loudest_db - peaks_db[0],
        min(CLEAREST_DB, loudest_db - room_db),
        FRAME_S * left_out,
    )


def _covered(at_s: float, words: Sequence[Span]) -> bool:
    return any(start_s - _EARLY_S < at_s < end_s + _LATE_S for start_s, end_s in words)


def _peak_db(decibels: Sequence[float], word: Span, start_s: float) -> float:
    """The level of the loudest three frames of a word."""
    first = max(0, min(len(decibels) - 1, int((word[0] - start_s) / FRAME_S)))
    last = max(first + 1, min(len(decibels), math.ceil((word[1] - start_s) / FRAME_S)))
    around = ((place - 1, place, place + 1) for place in range(first, last))
    return max(
        10 * math.log10(sum(10 ** (decibels[at] / 10) for at in three if 0 <= at < len(decibels)))
        for three in around
    ) - 10 * math.log10(_WORD_LEVEL_FRAMES)


class LevelLog:
    """Keeps the levels of the last frames, in dB against any fixed level.

    `frame_s` is how long a frame truly is: whole samples of some rates are not quite `FRAME_S`,
    which adds up over a visit.
    """

    def __init__(self, frame_s: float = FRAME_S) -> None:
        self._frame_s = frame_s
        self._taken = 0
        self._kept: deque[float] = deque(maxlen=int(KEPT_S / FRAME_S))

    def take(self, level_db: float) -> None:
        """The next frame's level."""
        self._taken += 1
        self._kept.append(level_db)

    def levels(self) -> Levels:
        """What is kept; its times are seconds of all frames that were taken."""
        return Levels(self._frame_s * (self._taken - len(self._kept)), tuple(self._kept))

    def forget(self) -> None:
        """Keep nothing of what was taken; the time goes on."""
        self._kept.clear()
