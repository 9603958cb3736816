"""Whether an utterance may have begun before anybody listened. Pure.

Listening opens at a moment: after the program spoke, when a key has changed the question, after
sound was lost. Whoever was speaking then is heard without the beginning of what was said, and
"fifty" without its beginning can sound like another number. The levels around the opening tell.
Time is counted in seconds of sound, levels in decibels below full scale.
"""

from collections import deque
from dataclasses import dataclass

AROUND_S = 0.5
"""Speech and a call so close to each other may be one utterance: pauses inside a phrase, such as
the one between a site and its value, are seldom longer."""

AFTER_S = 0.1
"""Sound so soon after the opening was there at the opening: two blocks."""

SOON_S = 0.15
"""A call that begins so soon after an opening which nothing was heard before has not waited for it:
nobody answers a tone faster than in about 0.15 s. Own choice, no source."""

ABOVE_FLOOR_DB = 10.0
"""Sound so far above the quietest of late is no room tone. Own choice, tried on recorded calls cut
at every twentieth of a second."""

FLOOR_S = 10.0
"""The quietest moment of so many seconds is the room's own level."""

_ROUNDING_S = 1e-6


@dataclass(frozen=True, slots=True)
class _Stretch:
    start_s: float
    end_s: float
    level_dbfs: float


class Onset:
    """Watches all sound, and judges where each utterance began. One thread uses it."""

    def __init__(self) -> None:
        self._room: deque[_Stretch] = deque()
        self._now_s = 0.0
        self._opened_s = 0.0
        self._known_from_s = 0.0
        self._taken_until_s = float("-inf")

    def watch(self, length_s: float, level_dbfs: float) -> None:
        """A stretch of the room's sound, whether it is listened to or not."""
        start_s, self._now_s = self._now_s, self._now_s + length_s
        self._room.append(_Stretch(start_s, self._now_s, level_dbfs))
        while self._room[0].end_s < self._now_s - FLOOR_S:
            self._room.popleft()

    def blind(self, length_s: float) -> None:
        """So long nothing was known of the room: the program spoke, or sound was lost."""
        self._now_s += length_s
        self._known_from_s = self._now_s

    def opened(self) -> None:
        """What comes from now on is heard."""
        self._opened_s = self._now_s

    def taken(self) -> None:
        """All sound until now belongs to an utterance that was heard to its end."""
        self._taken_until_s = self._now_s

    def begun_early(self, after_s: float) -> bool:
        """Whether an utterance may have begun before the opening.

        Its first word begins so long after the opening; less than 0 for a word whose beginning is
        not there.
        """
        if after_s >= AROUND_S or not self._room:
            return False
        from_s = max(self._opened_s - AROUND_S, self._taken_until_s)
        until_s = self._opened_s
        if self._known_from_s > from_s:
            if after_s < SOON_S:
                return True
            # Only what came just after the opening tells what was there before it.
            until_s += AFTER_S
        loud_from_dbfs = ABOVE_FLOOR_DB + min(each.level_dbfs for each in self._room)
        return any(
            each.level_dbfs > loud_from_dbfs
            for each in self._room
            if each.end_s > from_s + _ROUNDING_S and each.start_s < until_s - _ROUNDING_S
        )
