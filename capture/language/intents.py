"""What a phrase can mean. Frozen values, by voice and keypad alike; each one survives JSON."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from enum import StrEnum
from typing import Any

from capture.protocol.sites import Fold, Side
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


class Option(StrEnum):
    """What the trade offers where a permission is not given, or where today is not the day."""

    FEWER_SITES = "fewer_sites"
    THROUGH_CLOTHING = "through_clothing"
    CLIENT_LOCATES = "client_locates"
    """The client finds the landmarks; nothing is drawn on the skin."""
    CHAPERONE = "chaperone"
    OTHER_ASSESSOR = "other_assessor"
    AIR_DISPLACEMENT = "air_displacement"
    UNDERWATER_WEIGHING = "underwater_weighing"
    IMPEDANCE = "impedance"
    POSTPONE = "postpone"


class Caution(StrEnum):
    """A reason to postpone, or to read the result with care (common practice, no source)."""

    EXERCISE = "exercise"
    HOT_SKIN = "hot_skin"
    WET_SKIN = "wet_skin"
    LOTION = "lotion"
    PREGNANCY = "pregnancy"
    OEDEMA = "oedema"
    TOO_THICK = "too_thick"
    SKIN = "skin"
    SCAN = "scan"
    SURGERY = "surgery"


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


@dataclass(frozen=True, slots=True)
class Stop:
    """The client withdraws a permission, by name `clothing`, `marks` or `touch`.

    Without a name it is being touched: nothing goes on then.
    """

    permission: str | None = None


@dataclass(frozen=True, slots=True)
class Choose:
    """What the client and the assessor settle on instead."""

    option: Option


@dataclass(frozen=True, slots=True)
class Note:
    """A reason to postpone or to take the results with care."""

    caution: Caution


@dataclass(frozen=True, slots=True)
class Ready:
    """The caliper was wiped for this client, and there is no more reason for care."""


@dataclass(frozen=True, slots=True)
class Wiped:
    """The caliper was wiped for this client."""


@dataclass(frozen=True, slots=True)
class SetFold:
    """The fold at the present site runs this way."""

    fold: Fold


@dataclass(frozen=True, slots=True)
class SetSide:
    """The present site is measured on this side."""

    side: Side


@dataclass(frozen=True, slots=True)
class SetCloth:
    """The present site is measured through cloth this thick, one layer; 0 is bare skin."""

    cloth_tenths_mm: int


@dataclass(frozen=True, slots=True)
class SetOffset:
    """The present site lies this far in front of its line, in millimetres."""

    offset_mm: int


@dataclass(frozen=True, slots=True)
class Finish:
    """Leave out everything that is not measured yet."""


@dataclass(frozen=True, slots=True)
class Extra:
    """Take one reading more at this site."""

    site: str


@dataclass(frozen=True, slots=True)
class Later:
    """Put the present site off to the end of its circuit."""


@dataclass(frozen=True, slots=True)
class JawsOn:
    """The jaws are on the fold from now on: the time to the call counts from here."""


@dataclass(frozen=True, slots=True)
class TakeNote:
    """The next utterance is a note and no call."""


@dataclass(frozen=True, slots=True)
class Remark:
    """A note in free text; empty for one that was spoken, of which only the sound is there."""

    text: str


SetupChange = SetFold | SetSide | SetCloth | SetOffset
"""Intents that change how the present site is measured."""

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
    | Stop
    | Choose
    | Note
    | Ready
    | Wiped
    | SetupChange
    | Finish
    | Extra
    | Later
    | JawsOn
    | TakeNote
    | Remark
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
    "stop": Stop,
    "choose": Choose,
    "note": Note,
    "ready": Ready,
    "wiped": Wiped,
    "set_fold": SetFold,
    "set_side": SetSide,
    "set_cloth": SetCloth,
    "set_offset": SetOffset,
    "finish": Finish,
    "extra": Extra,
    "later": Later,
    "jaws_on": JawsOn,
    "take_note": TakeNote,
    "remark": Remark,
    "not_understood": NotUnderstood,
}
_ENUMS: Mapping[str, type[StrEnum]] = {
    "reason": SkipReason,
    "why": WhyNot,
    "option": Option,
    "caution": Caution,
    "fold": Fold,
    "side": Side,
}
"""Fields that hold one of a few names, wherever they occur."""

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
    for name in values.keys() & _ENUMS.keys():
        values[name] = _ENUMS[name](values[name])
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
