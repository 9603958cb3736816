"""Keys to intents. Pure: a key has a name here, whatever terminal or pedal sends it."""

from dataclasses import dataclass

from capture.language.intents import Confirm, Correct, Intent, Reading, Refuse, Repeat, Undo
from capture.language.meaning import SMALLEST_TENTHS_MM

ENTER = "enter"
BACKSPACE = "backspace"

SINGLE_KEYS: dict[str, tuple[Intent, str]] = {
    "-": (Refuse(), "no: what was read back is wrong"),
    "*": (Repeat(), "say it again"),
    "u": (Undo(), "take back the last thing that counted"),
}
"""Keys that act at once, with what they do in words."""

_DIGITS = frozenset("0123456789")
_MOST_CHARACTERS = 4


@dataclass(frozen=True, slots=True)
class Struck:
    """What a key led to: the number typed so far, and an intent if the key completed one."""

    typed: str
    intent: Intent | None = None
    problem: str | None = None


def strike(typed: str, key: str, *, read_back: bool) -> Struck:
    """Add one key to what has been typed. `read_back`: a reading waits for its yes.

    >>> strike("18.4", "enter", read_back=True).intent
    Correct(value_tenths_mm=184)
    >>> strike("", "enter", read_back=True).intent
    Confirm()
    """
    if key in _DIGITS or key == ".":
        if len(typed) == _MOST_CHARACTERS or (key == "." and "." in typed):
            return Struck(typed, problem="A reading has at most two digits, a point and a tenth.")
        return Struck(typed + key)
    if key == BACKSPACE:
        return Struck(typed[:-1])
    if key == ENTER:
        return _entered(typed, read_back) if typed else Struck("", Confirm())
    if key in SINGLE_KEYS and not typed:
        return Struck("", SINGLE_KEYS[key][0])
    return Struck(typed, problem="That key does nothing here.")


def _entered(typed: str, read_back: bool) -> Struck:
    whole, _, tenth = typed.partition(".")
    complete = whole.isdigit() and len(whole) <= 2 and len(tenth) == ("." in typed)
    value = int(whole) * 10 + int(tenth or 0) if complete else 0
    if value < SMALLEST_TENTHS_MM:
        return Struck(typed, problem="That is no reading. Mend it, or clear it.")
    return Struck("", Correct(value) if read_back else Reading(value))
