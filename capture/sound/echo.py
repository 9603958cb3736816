"""How long the room goes on after the program's own voice. Pure: levels in, seconds out."""

from collections.abc import Sequence
from dataclasses import dataclass

ABOVE_ROOM_DB = 6.0
"""Sound this much above the room's own noise is still the echo."""

LEAST_HEARD_DB = 12.0
"""Unless the tone stands out this far the microphone does not hear the speaker."""

_ROOM_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class Heard:
    """One short stretch of the room: when it ended, and how loud it was."""

    ends_at_s: float
    level_dbfs: float


def echo_tail_s(stretches: Sequence[Heard], began_s: float, ended_s: float) -> float | None:
    """Seconds from the end of a test sound to the last of its echo; None if it was not heard.

    `stretches` begin before the sound and go on well after it. `ended_s` is when the program
    believes that the sound was over, so that a hidden latency counts as echo.
    """
    before = sorted(each.level_dbfs for each in stretches if each.ends_at_s < began_s)
    during = [each.level_dbfs for each in stretches if began_s <= each.ends_at_s <= ended_s]
    if not before or not during:
        return None
    room_dbfs = before[int(len(before) * _ROOM_SHARE)]
    if max(during) < room_dbfs + LEAST_HEARD_DB:
        return None
    # Stretches are counted to the first quiet one after the end: a door that slams later is none.
    tail_s = 0.0
    quiet = 0
    for each in sorted(stretches, key=lambda each: each.ends_at_s):
        if each.ends_at_s <= ended_s:
            continue
        if each.level_dbfs > room_dbfs + ABOVE_ROOM_DB:
            tail_s, quiet = each.ends_at_s - ended_s, 0
        else:
            quiet += 1
            if quiet == 3:
                break
    return tail_s
