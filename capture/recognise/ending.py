"""When a call is over: by what was said so far, and by how long the room has been quiet.

The decoder hears a third of a second behind the sound, and waits for silence on top. The level of
the sound needs no such look ahead: where speech stands well above the room, the quiet after it is
seen at once. In noise nothing is seen here, and the decoder's own waiting decides.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from capture.recognise.automaton import PlainAutomaton
from capture.recognise.loudness import FRAME_S

CLOSED_S = 0.4
"""So much quiet ends a call that nothing can follow."""

OPEN_S = 0.75
"""So much ends one that may go on, such as "twelve" before "point five"."""


def needed_quiet_s(grammar: PlainAutomaton, words: Sequence[str]) -> float | None:
    """How long a quiet ends a call after these words of a determined automaton.

    None where they are no whole call of it.
    """
    state = grammar.start
    for word in words:
        onward = dict(grammar.steps.get(state, {}).keys())
        if word not in onward:
            return None
        state = onward[word]
    if not words or state not in grammar.finals:
        return None
    return OPEN_S if grammar.steps.get(state) else CLOSED_S


_RISE_DB = 0.04
"""The floor follows a room that grows louder by so much a frame, 2 dB a second."""

_ABOVE_FLOOR_DB = 9.0
_BELOW_PEAK_DB = 32.0
_CLEAR_DB = 24.0
"""Speech stands clear of the room when its loudest is so far above the floor."""

_CLICK_FRAMES = 2
"""Shorter noises, such as a key or a click of the tongue, do not end a quiet."""


@dataclass(slots=True)
class Quiet:
    """Follows the level of the sound. `seconds`: how long it has been quiet since clear speech.

    It is 0 while somebody speaks, before anybody spoke, and where speech is not clear of the room.
    """

    seconds: float = 0.0
    _floor_db: float | None = None
    _peak_db: float = -200.0
    _loud_frames: int = 0

    def take(self, level_db: float) -> None:
        """One frame's level, in dB against any fixed level."""
        floor_db = level_db if self._floor_db is None else self._floor_db + _RISE_DB
        self._floor_db = min(level_db, floor_db)
        self._peak_db = max(self._peak_db, level_db)
        if self._peak_db - self._floor_db < _CLEAR_DB:
            self.seconds = 0.0
            return
        limit_db = max(self._floor_db + _ABOVE_FLOOR_DB, self._peak_db - _BELOW_PEAK_DB)
        self._loud_frames = self._loud_frames + 1 if level_db > limit_db else 0
        self.seconds = 0.0 if self._loud_frames >= _CLICK_FRAMES else self.seconds + FRAME_S

    def begin(self) -> None:
        """Another call is waited for; the room stays what it was."""
        self.seconds, self._peak_db, self._loud_frames = 0.0, -200.0, 0
