"""The dwell cue: how long the jaws were on when the value was called. Pure.

The reading drifts while the jaws compress the fold, so a call out of time is marked. Two seconds
and the bounds are common practice, no source.
"""

from dataclasses import dataclass, replace

TONE_AFTER_S = 2.0
EARLY_S, LATE_S = 1.0, 4.0
FORGOTTEN_S = 20.0


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

    def told(self, called_at_s: float) -> str | None:
        """What to say of a value called then; None without a cue.

        >>> Dwell(10.0).told(12.5), Dwell(10.0).told(10.5)
        ('Called 2.5 s after the jaws were on.', 'Called 0.5 s after the jaws were on, too soon.')
        """
        if self.since_s is None:
            return None
        took_s = called_at_s - self.since_s
        mark = ", too soon" if took_s < EARLY_S else ", late" if took_s > LATE_S else ""
        return f"Called {took_s:.1f} s after the jaws were on{mark}."
