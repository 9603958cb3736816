"""Half-duplex: whether a stretch of sound counts, or may hold the program's own voice.

Pure: times in, yes or no out. Sound is judged by when it was captured, not by when it is looked
at, so that a late block cannot slip through. All times are seconds of one clock.
"""

from dataclasses import dataclass, replace

ECHO_TAIL_S = 0.25
"""How long a room and a loudspeaker go on after the last sample. A usual figure for a furnished
room; `foldcall check` measures the real one."""

LIMIT_S = 2.0
"""A playback whose end is never told is taken for ended this long after it should have been."""

_REMEMBERED_S = 60.0
"""Playbacks that ended earlier than this can meet no block any more."""


@dataclass(frozen=True, slots=True)
class Playback:
    """One stretch in which the program makes itself heard.

    `limit_s` is when it is over at the latest; `ended_s` is when it was over, once that is known.
    """

    number: int
    start_s: float
    limit_s: float
    ended_s: float | None = None

    @property
    def end_s(self) -> float:
        """The end as far as it is known now."""
        return self.limit_s if self.ended_s is None else min(self.ended_s, self.limit_s)


@dataclass(frozen=True, slots=True)
class Gate:
    """Closed while the program speaks and for `tail_s` after it.

    `tail_s` is the output latency and the echo of the room together.

    >>> gate = Gate(tail_s=0.25).began(1, at_s=10.0, length_s=2.0).ended(1, at_s=12.0)
    >>> gate.counts(9.8, 9.9), gate.counts(9.95, 10.05), gate.counts(12.2, 12.3)
    (True, False, False)
    >>> gate.counts(12.26, 12.36)
    True
    """

    tail_s: float = ECHO_TAIL_S
    limit_s: float = LIMIT_S
    playbacks: tuple[Playback, ...] = ()

    def began(self, number: int, at_s: float, length_s: float) -> "Gate":
        """A playback begins that should take `length_s`; `number` is its own."""
        kept = tuple(
            each for each in self.playbacks if each.end_s + self.tail_s > at_s - _REMEMBERED_S
        )
        limit_s = at_s + max(0.0, length_s) + self.limit_s
        return replace(self, playbacks=(*kept, Playback(number, at_s, limit_s)))

    def ended(self, number: int, at_s: float) -> "Gate":
        """That playback is over: played out, cut off or failed. Only the first end counts."""
        return replace(
            self,
            playbacks=tuple(
                replace(each, ended_s=max(at_s, each.start_s))
                if each.number == number and each.ended_s is None
                else each
                for each in self.playbacks
            ),
        )

    def counts(self, start_s: float, end_s: float) -> bool:
        """Whether sound captured from `start_s` to `end_s` is free of the program's own voice."""
        return not any(
            start_s <= each.end_s + self.tail_s and end_s >= each.start_s for each in self.playbacks
        )

    def open_at(self, at_s: float) -> bool:
        """Whether the gate is open at this moment, as far as is known now."""
        return self.counts(at_s, at_s)

    def opens_s(self, at_s: float) -> float:
        """When the gate is open again, at the latest; `at_s` itself if it is open then."""
        moment = at_s
        for each in sorted(self.playbacks, key=lambda each: each.start_s):
            if each.start_s <= moment <= each.end_s + self.tail_s:
                moment = each.end_s + self.tail_s
        return moment
