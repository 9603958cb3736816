"""The dwell cue: how long the jaws are on, up to the call of the value. Pure.

Two seconds are common practice, no source.
"""

from dataclasses import dataclass, replace

from capture.protocol.dwell import LATE_S, Dwelt, dwelt

TONE_AFTER_S = 2.0
FORGOTTEN_S = 20.0
"""A cue that no call follows for so long was none. Own choice, no source."""


@dataclass(frozen=True, slots=True)
class Dwell:
    """The jaws since when, in seconds of the session's clock; None while they are off."""

    since_s: float | None = None
    toned: bool = False

    def tone_due(self, now_s: float) -> bool:
        """Whether the tone is to sound now."""
        return self.since_s is not None and not self.toned and now_s - self.since_s >= TONE_AFTER_S

    def sounded(self) -> "Dwell":
        """After the tone."""
        return replace(self, toned=True)

    def at(self, now_s: float) -> "Dwell":
        """As it is now: a cue without a call is forgotten."""
        over = self.since_s is not None and now_s - self.since_s > FORGOTTEN_S
        return Dwell() if over else self

    def took_s(self, called_at_s: float) -> float | None:
        """Seconds from the cue to a call; None without a cue, or for a call from before it."""
        if self.since_s is None or called_at_s < self.since_s:
            return None
        return called_at_s - self.since_s

    def word(self, now_s: float) -> str:
        """What the screen says while the jaws are on: hold, read, or that it is late.

        >>> Dwell().word(5.0), Dwell(5.0).word(6.0), Dwell(5.0).word(7.5), Dwell(5.0).word(9.5)
        ('', 'HOLD', 'READ', 'LATE')
        """
        if self.since_s is None:
            return ""
        if now_s - self.since_s > LATE_S:
            return "LATE"
        return "HOLD" if now_s - self.since_s < TONE_AFTER_S else "READ"


def told(dwell_s: float) -> str:
    """What to say of a value called so long after the cue.

    >>> told(2.5), told(0.5)
    ('Called 2.5 s after the jaws were on.', 'Called 0.5 s after the jaws were on, too soon.')
    """
    marks = {Dwelt.TOO_SOON: ", too soon", Dwelt.LATE: ", late", Dwelt.IN_TIME: ""}
    return f"Called {dwell_s:.1f} s after the jaws were on{marks[dwelt(dwell_s)]}."
