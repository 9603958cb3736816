"""From the slots of a phrase to an intent. The names here are what the tags of a pack may use.

`NAME_SLOTS` lists the slots that hold a name, with the names that they may hold; `call` says which
intent it is, or `wrong` that the phrase is a known wrong form, and which. A number is `whole` and
`tenths`; a tape length adds `unit` and `sixteenths`.
"""

from collections.abc import Mapping

from capture.language.automaton import Slots
from capture.language.intents import (
    Caution,
    Choose,
    Confirm,
    Correct,
    CorrectTape,
    Extra,
    Finish,
    GoTo,
    Intent,
    JawsOn,
    Later,
    Note,
    NotUnderstood,
    Option,
    Pause,
    Reading,
    Ready,
    Refuse,
    Repeat,
    Resume,
    SetCloth,
    SetFold,
    SetOffset,
    SetSide,
    SignOff,
    Skip,
    SkipReason,
    Stop,
    TakeNote,
    Tape,
    Undo,
    WhyNot,
    Wiped,
)
from capture.protocol.sites import Fold, Side
from capture.units import Centimetres, Inches, TapeLength, millimetres

SMALLEST_TENTHS_MM = 5
LARGEST_TENTHS_MM = 999

CORRECTIONS = ("correct", "correct_tape")
"""The calls that refuse what was read back and give another value in the same breath."""

_BARE: dict[str, Intent] = {
    "confirm": Confirm(),
    "refuse": Refuse(),
    "undo": Undo(),
    "repeat": Repeat(),
    "pause": Pause(),
    "resume": Resume(),
    "sign_off": SignOff(),
    "ready": Ready(),
    "wiped": Wiped(),
    "finish": Finish(),
    "later": Later(),
    "jaws_on": JawsOn(),
    "take_note": TakeNote(),
}


CALLS = (
    *_BARE,
    *("reading", *CORRECTIONS, "tape", "skip", "go_to", "extra", "stop", "choose", "note"),
    *("set_fold", "set_side", "set_cloth", "set_offset"),
)

NUMBER_SLOTS = ("whole", "tenths", "sixteenths")

NAME_SLOTS: Mapping[str, tuple[str, ...] | None] = {
    "call": CALLS,
    "wrong": tuple(WhyNot),
    "site": None,
    "reason": tuple(SkipReason),
    "permission": ("clothing", "marks", "touch"),
    "option": tuple(Option),
    "caution": tuple(Caution),
    "fold": tuple(Fold),
    "side": tuple(Side),
    "unit": ("inch", "centimetre"),
}
"""The slots that hold a name. None: any name, for protocols may have sites of their own."""


class PackError(ValueError):
    """The tags of a sentence do not add up to an intent: a fault of the language pack."""


def number(slots: Slots, name: str) -> int:
    """The whole number in a slot, 0 where no tag touched it."""
    value = slots.get(name, 0)
    if not isinstance(value, int):
        raise PackError(f"the slot {name} holds {value!r}, not a number")
    return value


def name_in(slots: Slots, name: str) -> str | None:
    """The name in a slot, None where no tag touched it."""
    value = slots.get(name)
    if isinstance(value, int):
        raise PackError(f"the slot {name} holds {value}, not a name")
    return value


def value_tenths(slots: Slots) -> int:
    """The number of a phrase in tenths.

    >>> value_tenths({"whole": 12, "tenths": 4})
    124
    """
    return number(slots, "whole") * 10 + number(slots, "tenths")


def _tape_length(slots: Slots) -> TapeLength:
    if slots.get("unit") == "inch":
        return Inches(number(slots, "whole") * 16 + number(slots, "sixteenths"))
    if slots.get("unit") == "centimetre":
        return Centimetres(value_tenths(slots))
    raise PackError("a tape length has no unit")


def intent_from(slots: Slots) -> Intent | NotUnderstood:
    """The intent that the slots of a whole phrase mean, or why they mean none.

    Raises PackError where the pack's tags contradict themselves.
    """
    call = name_in(slots, "call")
    refuses = call in CORRECTIONS
    wrong = name_in(slots, "wrong")
    if wrong is not None:
        return NotUnderstood(WhyNot(wrong), refuses=refuses)
    site = name_in(slots, "site")
    if call in _BARE:
        return _BARE[call]
    if call in {"reading", "correct"}:
        value = value_tenths(slots)
        if not SMALLEST_TENTHS_MM <= value <= LARGEST_TENTHS_MM:
            return NotUnderstood(WhyNot.OUT_OF_RANGE, millimetres(value), refuses)
        return Reading(value, site) if call == "reading" else Correct(value)
    if call == "tape":
        return Tape(_tape_length(slots), site)
    if call == "correct_tape":
        return CorrectTape(_tape_length(slots))
    if call == "skip":
        return Skip(SkipReason(name_in(slots, "reason") or ""))
    if call in {"go_to", "extra"} and site is not None:
        return GoTo(site) if call == "go_to" else Extra(site)
    return _of_the_trade(call, slots)


def _of_the_trade(call: str | None, slots: Slots) -> Intent:
    """Permissions withdrawn, what is chosen instead, and how a site is measured."""
    match call:
        case "stop":
            return Stop(name_in(slots, "permission"))
        case "choose":
            return Choose(Option(name_in(slots, "option") or ""))
        case "note":
            return Note(Caution(name_in(slots, "caution") or ""))
        case "set_fold":
            return SetFold(Fold(name_in(slots, "fold") or ""))
        case "set_side":
            return SetSide(Side(name_in(slots, "side") or ""))
        case "set_cloth":
            return SetCloth(value_tenths(slots))
        case "set_offset":
            # Called in centimetres: their tenths are millimetres.
            return SetOffset(value_tenths(slots))
    raise PackError(f"no intent has the slots {dict(slots)}")
