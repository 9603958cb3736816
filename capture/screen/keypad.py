"""What is being typed, and what a key leads to in the present state of the visit. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum, auto

from capture.language.intents import (
    Confirm,
    CorrectTape,
    GoTo,
    Intent,
    Pause,
    Refuse,
    Repeat,
    Resume,
    SignOff,
    Skip,
    SkipReason,
    Tape,
    Undo,
)
from capture.screen.keymap import Action, Bindings
from capture.screen.keys import ENTER, strike
from capture.units import Centimetres, Inches, TapeLength
from capture.visit.course import next_target, outstanding, phase
from capture.visit.state import Phase, Visit

LONGEST_INCHES = 99
LONGEST_CENTIMETRES = 99
"""What the voice can say as well."""

_SIXTEENTHS = {"2": 8, "4": 4, "8": 2, "16": 1}
_NUM_LOCK_OFF = frozenset("up down left right home end pageup pagedown insert delete".split())
"""What a keypad sends instead of digits then."""

_MOST_TAPE_CHARACTERS = 8
_MOST_WORDS = 60
_FINISH = "Finish what is typed first: Enter takes it, Backspace clears it."

REASONS = tuple(SkipReason)
"""The reasons for leaving a site out, by their number on the keypad, from 1."""


class Menu(Enum):
    """A list that waits for a number."""

    SKIP = auto()
    GO_TO = auto()


@dataclass(frozen=True, slots=True)
class Entry:
    """What has been typed so far.

    `correcting`: a value for the one read back is being typed. `words`: a call in words is.
    """

    typed: str = ""
    menu: Menu | None = None
    correcting: bool = False
    words: bool = False

    @property
    def is_open(self) -> bool:
        """Whether the keypad is in the middle of something."""
        return bool(self.typed) or self.menu is not None or self.correcting or self.words


@dataclass(frozen=True, slots=True)
class Pressed:
    """What a key led to: the entry after it, and an intent, an action or a problem, if any.

    `phrase` is a call in words, to be understood by the grammar. `action` is one that the visit
    knows nothing of, such as help.
    """

    entry: Entry
    intent: Intent | None = None
    phrase: str | None = None
    action: Action | None = None
    problem: str | None = None


def press(entry: Entry, key: str, bindings: Bindings, visit: Visit) -> Pressed:
    """Take one key. Keys have the names of `keymap`; "space" and "," are known as well."""
    action = bindings.action(key)
    if entry.words:
        return _spell(entry, key, action)
    if action in {Action.HELP, Action.TALK, Action.MUTE, Action.DWELL}:
        return Pressed(entry, action=action)
    if action is Action.CANCEL:
        return Pressed(Entry(), action=action)
    if entry.menu is not None:
        return _choose(entry, key, action, visit)
    taken = _tape_character(entry, key) if wants_tape(visit) else _reading_character(entry, key)
    if taken is not None:
        return taken
    if action is None and key in _NUM_LOCK_OFF:
        return Pressed(entry, problem="That was no digit: is Num Lock off?")
    if action is None:
        return Pressed(entry, problem=f"The key {key} does nothing here. F1 shows the keys.")
    if action is Action.ERASE:
        # With nothing left to erase, the correction is given up as well.
        correcting = entry.correcting and bool(entry.typed)
        return Pressed(replace(entry, typed=entry.typed[:-1], correcting=correcting))
    if action is Action.CONFIRM:
        return _enter(entry, visit)
    if action is Action.QUIT:
        return Pressed(entry, action=action)
    if entry.typed:
        return Pressed(entry, problem=_FINISH)
    return _act(action, visit)


def wants_tape(visit: Visit) -> bool:
    """Whether a tape length is what may be typed now."""
    return visit.pending_tape is not None or phase(visit) is Phase.TAPES


def menu_lines(entry: Entry, visit: Visit, titles: Sequence[str]) -> tuple[str, ...]:
    """The open list with its numbers. `titles` are the reasons in words, in order."""
    if entry.menu is Menu.SKIP:
        return tuple(f"{n} {title}" for n, title in enumerate(titles, 1))
    if entry.menu is Menu.GO_TO:
        sites = visit.plan.protocol.sites
        return tuple(f"{n} {site.title}" for n, site in enumerate(sites, 1))
    return ()


def _spell(entry: Entry, key: str, action: Action | None) -> Pressed:
    letter = " " if key == "space" else key
    if action is Action.CANCEL:
        return Pressed(Entry(), action=action)
    if action is Action.ERASE:
        return Pressed(replace(entry, typed=entry.typed[:-1], words=bool(entry.typed)))
    if action is Action.CONFIRM:
        return Pressed(Entry(), phrase=entry.typed.strip() or None)
    if len(letter) != 1 or not (letter.isalpha() or letter == " "):
        return Pressed(entry, problem="Type the words of a call, then Enter.")
    return Pressed(replace(entry, typed=(entry.typed + letter.lower())[:_MOST_WORDS]))


def _choose(entry: Entry, key: str, action: Action | None, visit: Visit) -> Pressed:
    if action is Action.ERASE:
        return Pressed(Entry())
    choices: Sequence[Intent] = (
        [Skip(reason) for reason in REASONS]
        if entry.menu is Menu.SKIP
        else [GoTo(site.id) for site in visit.plan.protocol.sites]
    )
    number = int(key) if len(key) == 1 and key in "123456789" else 0
    if not 1 <= number <= len(choices):
        return Pressed(entry, problem=f"Strike a number from 1 to {len(choices)}, or Backspace.")
    return Pressed(Entry(), choices[number - 1])


def _reading_character(entry: Entry, key: str) -> Pressed | None:
    key = "." if key == "," else key
    if len(key) != 1 or key not in "0123456789.":
        return None
    struck = strike(entry.typed, key, read_back=False)
    return Pressed(replace(entry, typed=struck.typed), problem=struck.problem)


def _tape_character(entry: Entry, key: str) -> Pressed | None:
    character = {"space": " ", ",": "."}.get(key, key)
    allowed = "0123456789." if not entry.typed else "0123456789. /c"
    if len(character) != 1 or character not in allowed:
        return None
    if len(entry.typed) == _MOST_TAPE_CHARACTERS:
        return Pressed(entry, problem="A tape length is like 6 3/4, 37.2 or 37 c.")
    return Pressed(replace(entry, typed=entry.typed + character))


def _enter(entry: Entry, visit: Visit) -> Pressed:
    if not entry.typed:
        if entry.correcting:
            return Pressed(entry, problem="Type the right value first.")
        return Pressed(Entry(), Confirm())
    if wants_tape(visit):
        length = tape_length(entry.typed)
        if length is None:
            return Pressed(entry, problem="That is no tape length. Type like 6 3/4, 37.2 or 37 c.")
        corrects = visit.pending_tape is not None
        return Pressed(Entry(), CorrectTape(length) if corrects else Tape(length))
    struck = strike(entry.typed, ENTER, read_back=visit.pending is not None)
    after = Entry() if struck.intent is not None else replace(entry, typed=struck.typed)
    return Pressed(after, struck.intent, problem=struck.problem)


def tape_length(typed: str) -> TapeLength | None:
    """A tape length as it was typed, None for what is none.

    Inches may have a fraction in halves, quarters, eighths or sixteenths. A point, or a "c" at
    the end, makes centimetres.

    >>> tape_length("6 3/4"), tape_length("37.2"), tape_length("37c"), tape_length("6 3/5")
    (Inches(sixteenths=108), Centimetres(millimetres=372), Centimetres(millimetres=370), None)
    """
    text = typed.strip()
    if "." in text or text.endswith("c"):
        whole, _, tenth = text.removesuffix("c").strip().partition(".")
        if not _number(whole, LONGEST_CENTIMETRES) or len(tenth) != ("." in text):
            return None
        if tenth and not _number(tenth, 9):
            return None
        length = int(whole) * 10 + int(tenth or 0)
        return Centimetres(length) if length else None
    whole, _, fraction = text.partition(" ") if " " in text else (
        ("0", "", text) if "/" in text else (text, "", "")
    )  # fmt: skip
    if not _number(whole, LONGEST_INCHES):
        return None
    sixteenths = int(whole) * 16
    if fraction:
        above, slash, below = fraction.strip().partition("/")
        if not slash or below not in _SIXTEENTHS or not _number(above, int(below) - 1):
            return None
        sixteenths += int(above) * _SIXTEENTHS[below]
    return Inches(sixteenths) if sixteenths else None


def _number(text: str, most: int) -> bool:
    return text.isascii() and text.isdigit() and len(text) <= 2 and int(text) <= most


def _act(action: Action, visit: Visit) -> Pressed:
    pending = visit.pending is not None or visit.pending_tape is not None
    match action:
        case Action.REFUSE:
            return Pressed(Entry(), Refuse())
        case Action.REPEAT:
            return Pressed(Entry(), Repeat())
        case Action.UNDO:
            return Pressed(Entry(), Undo())
        case Action.PAUSE:
            return Pressed(Entry(), Resume() if visit.paused else Pause())
        case Action.SIGN_OFF:
            return Pressed(Entry(), SignOff())
        case Action.CORRECT if pending:
            return Pressed(Entry(correcting=True))
        case Action.CORRECT:
            return Pressed(Entry(), problem="Nothing waits to be corrected. Undo takes back.")
        case Action.SKIP:
            return Pressed(Entry(menu=Menu.SKIP))
        case Action.WORDS:
            return Pressed(Entry(words=True))
        case Action.GO_TO:
            return Pressed(Entry(menu=Menu.GO_TO))
        case _:
            return _neighbour(visit, 1 if action is Action.NEXT else -1)


def _neighbour(visit: Visit, way: int) -> Pressed:
    """Go to the next or the previous open site of this round, round its end."""
    present = next_target(visit)
    left = [target.site for target in outstanding(visit)]
    if phase(visit) is not Phase.CIRCUITS or present is None or present.site not in left:
        return Pressed(Entry(), problem="There is no other site now.")
    others = [site for site in left if site == present.site or site != visit.last_measured]
    if len(others) < 2:
        return Pressed(Entry(), problem="There is no other site now.")
    at = others.index(present.site)
    return Pressed(Entry(), GoTo(others[(at + way) % len(others)]))
