"""What a phrase can mean. Frozen values, by voice and keypad alike; each one survives JSON."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from enum import StrEnum
from typing import Any

from capture.units import Centimetres, Inches, TapeLength


class WhyNot(StrEnum):
    """Why a phrase has no meaning here."""

    NOT_A_CALL = "not_a_call"
    """It holds words, or an order of words, that no rule has."""
    UNFINISHED = "unfinished"
    """It begins like a call and stops too early, such as "twelve point"."""
    TWO_NUMBERS = "two_numbers"
    """A whole number follows a whole number, such as "fifty fifteen"."""
    LOST_POINT = "lost_point"
    """Digits that can only be a reading whose "point" got lost, such as "twelve five"."""
    TOO_FINE = "too_fine"
    """More than one digit after the point."""
    OUT_OF_RANGE = "out_of_range"
    """A number outside 0.5 to 99.9 mm, which no skinfold caliper shows."""


class SkipReason(StrEnum):
    """Why a site is left out."""

    REFUSED = "refused"
    TOO_THICK = "too_thick"
    INJURY = "injury"
    SKIN = "skin"
    UNABLE = "unable"


@dataclass(frozen=True, slots=True)
class NotUnderstood:
    """A phrase without a meaning here; `detail` is the word or number at fault, if one is.

    `refuses`: it began with a "no". What was read back is refused, whatever followed.
    """

    why: WhyNot
    detail: str = ""
    refuses: bool = False


@dataclass(frozen=True, slots=True)
class Reading:
    """A caliper value in tenths of a millimetre, at a named site or at the present one."""

    value_tenths_mm: int
    site: str | None = None


@dataclass(frozen=True, slots=True)
class Tape:
    """A length called from the tape, at a named site or at the present one."""

    length: TapeLength
    site: str | None = None


@dataclass(frozen=True, slots=True)
class Confirm:
    """Yes: what was read back is right, or the permission is given."""


@dataclass(frozen=True, slots=True)
class Refuse:
    """No: what was read back is wrong, or the permission is not given."""


@dataclass(frozen=True, slots=True)
class Correct:
    """No, and the right value in the same breath."""

    value_tenths_mm: int


@dataclass(frozen=True, slots=True)
class CorrectTape:
    """No, and the right tape length in the same breath."""

    length: TapeLength


@dataclass(frozen=True, slots=True)
class Undo:
    """Take back the last thing that counted."""


@dataclass(frozen=True, slots=True)
class Repeat:
    """Say the last read-back or question again."""


@dataclass(frozen=True, slots=True)
class Skip:
    """Leave out the present site in this circuit."""

    reason: SkipReason


@dataclass(frozen=True, slots=True)
class GoTo:
    """Measure this site next."""

    site: str


@dataclass(frozen=True, slots=True)
class Pause:
    """Listen for nothing but "resume"."""


@dataclass(frozen=True, slots=True)
class Resume:
    """Go on after a pause."""


@dataclass(frozen=True, slots=True)
class SignOff:
    """Close the visit."""


Intent = (
    Reading
    | Tape
    | Confirm
    | Refuse
    | Correct
    | CorrectTape
    | Undo
    | Repeat
    | Skip
    | GoTo
    | Pause
    | Resume
    | SignOff
)

_KINDS: dict[str, type[Intent] | type[NotUnderstood]] = {
    "reading": Reading,
    "tape": Tape,
    "confirm": Confirm,
    "refuse": Refuse,
    "correct": Correct,
    "correct_tape": CorrectTape,
    "undo": Undo,
    "repeat": Repeat,
    "skip": Skip,
    "go_to": GoTo,
    "pause": Pause,
    "resume": Resume,
    "sign_off": SignOff,
    "not_understood": NotUnderstood,
}
_NAMES = {kind: name for name, kind in _KINDS.items()}


def kind_of(intent: Intent | NotUnderstood) -> str:
    """The intent's name in the journal, such as "reading"."""
    return _NAMES[type(intent)]


def to_plain(intent: Intent | NotUnderstood) -> dict[str, Any]:
    """The intent as a JSON object with its `kind`.

    >>> to_plain(Reading(124, "chest"))
    {'kind': 'reading', 'value_tenths_mm': 124, 'site': 'chest'}
    >>> to_plain(Tape(Inches(108)))
    {'kind': 'tape', 'length': {'sixteenths_in': 108}, 'site': None}
    """
    plain: dict[str, Any] = {"kind": kind_of(intent)}
    for each in fields(intent):
        value = getattr(intent, each.name)
        plain[each.name] = length_to_plain(value) if each.name == "length" else value
    return plain


def from_plain(plain: Mapping[str, Any]) -> Intent | NotUnderstood:
    """The intent that `to_plain` wrote.

    Raises KeyError, ValueError or TypeError for anything else.
    """
    values = {name: value for name, value in plain.items() if name != "kind"}
    if "length" in values:
        values["length"] = length_from_plain(values["length"])
    if "reason" in values:
        values["reason"] = SkipReason(values["reason"])
    if "why" in values:
        values["why"] = WhyNot(values["why"])
    return _KINDS[plain["kind"]](**values)


def length_to_plain(length: TapeLength) -> dict[str, int]:
    """A tape length as a JSON object that names its graduation."""
    if isinstance(length, Inches):
        return {"sixteenths_in": length.sixteenths}
    return {"millimetres": length.millimetres}


def length_from_plain(plain: Mapping[str, int]) -> TapeLength:
    """The tape length that `length_to_plain` wrote."""
    if "sixteenths_in" in plain:
        return Inches(plain["sixteenths_in"])
    return Centimetres(plain["millimetres"])
