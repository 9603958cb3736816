"""How long the jaws were on when a value was called: a time out of bounds is marked.

The reading drifts while the jaws compress the fold. The bounds are common practice, no source.
"""

from enum import StrEnum

EARLY_S, LATE_S = 1.0, 4.0


class Dwelt(StrEnum):
    """How a dwell lies to the bounds."""

    TOO_SOON = "too_soon"
    IN_TIME = "in_time"
    LATE = "late"


def dwelt(dwell_s: float) -> Dwelt:
    """How a time in seconds from the cue to the call lies to the bounds.

    >>> dwelt(0.9), dwelt(1.0), dwelt(4.0), dwelt(4.1)
    (<Dwelt.TOO_SOON: 'too_soon'>, <Dwelt.IN_TIME: 'in_time'>, <Dwelt.IN_TIME: 'in_time'>, \
<Dwelt.LATE: 'late'>)
    """
    if dwell_s < EARLY_S:
        return Dwelt.TOO_SOON
    return Dwelt.LATE if dwell_s > LATE_S else Dwelt.IN_TIME
