"""What is being typed, and what a key leads to in the present state of the visit. Pure."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from capture.language.intents import (
    Confirm,
    Correct,
    CorrectTape,
    Finish,
    GoTo,
    Intent,
    JawsOn,
    Later,
    Pause,
    Reading,
    Ready,
    Refuse,
    Remark,
    Repeat,
    Resume,
    SetCloth,
    SetOffset,
    SignOff,
    Stop,
    TakeNote,
    Tape,
    Undo,
    Wiped,
)
from capture.protocol.setup import SetupField
from capture.screen.keymap import Action, Bindings
from capture.screen.menus import (
    MENUS,
    NUMBERS,
    Menu,
    direct_menu,
    is_screening,
    listed,
)
from capture.screen.numerals import (
    reading_tenths_mm,
    small_tenths,
    tape_length,
    with_digit,
    with_tape_sign,
)
from capture.visit.course import (
    next_target,
    outstanding,
    phase,
)
from capture.visit.state import Phase, Visit

_NUM_LOCK_OFF = frozenset("up down left right home end pageup pagedown insert delete".split())
"""What a keypad sends instead of digits then."""

_MOST_WORDS = 60
_MOST_NOTE = 300
_FINISH = "Finish what is typed first: Enter takes it, Backspace clears it."


_AT_ONCE: Mapping[Action, Intent] = {
    Action.REFUSE: Refuse(),
    Action.REPEAT: Repeat(),
    Action.UNDO: Undo(),
    Action.SIGN_OFF: SignOff(),
    Action.LATER: Later(),
    Action.FINISH: Finish(),
    Action.WIPED: Wiped(),
}


@dataclass(frozen=True, slots=True)
class Entry:
    """What has been typed so far.

    `correcting`: a value for the one read back is being typed. `words`: a call in words is.
    `field`: a number for this part of the setup is. `tape_site`: the tape length is for this
    site, not for the one that is asked for. `note`: a note in free text is being typed.
    """

    typed: str = ""
    menu: Menu | None = None
    correcting: bool = False
    words: bool = False
    field: SetupField | None = None
    tape_site: str | None = None
    note: bool = False

    @property
    def is_text(self) -> bool:
        """Whether letters are typed, so that no key has its meaning."""
        return self.words or self.note

    @property
    def is_typing(self) -> bool:
        """Whether a value or words are being typed."""
        waits = self.field is not None or self.tape_site is not None
        return bool(self.typed) or waits or self.correcting or self.is_text

    @property
    def is_open(self) -> bool:
        """Whether the keypad is in the middle of something."""
        return self.is_typing or self.menu is not None


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
    if entry.is_text:
        return _write(entry, key, action) if entry.note else _spell(entry, key, action)
    if action is Action.DWELL:
        # It answers nothing: what is being typed stays.
        return Pressed(entry, JawsOn())
    if action in {Action.HELP, Action.TALK, Action.MUTE}:
        return Pressed(entry, action=action)
    if action is Action.CANCEL:
        return Pressed(Entry(), action=action)
    if entry.menu is not None:
        return _choose(entry, key, action, visit)
    direct = direct_menu(visit)
    if direct is not None and not entry.is_open and len(key) == 1 and key in NUMBERS:
        return _chosen(direct, key, visit)
    tape = wants_tape(visit) and entry.field is None
    taken = _tape_character(entry, key) if tape else _reading_character(entry, key)
    if taken is not None:
        return taken
    if action is None and key in _NUM_LOCK_OFF:
        return Pressed(entry, problem="That was no digit: is Num Lock off?")
    if action is None:
        return Pressed(entry, problem=f"The key {key} does nothing here. F1 shows the keys.")
    if action is Action.ERASE:
        # With nothing left to erase, the correction is given up as well.
        return Pressed(replace(entry, typed=entry.typed[:-1]) if entry.typed else Entry())
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


def _write(entry: Entry, key: str, action: Action | None) -> Pressed:
    """A note: any character; only Enter, Backspace and Escape have their meaning."""
    letter = " " if key == "space" else key
    if len(letter) == 1 and letter.isprintable():
        return Pressed(replace(entry, typed=(entry.typed + letter)[:_MOST_NOTE]))
    if action is Action.CANCEL:
        return Pressed(Entry(), action=action)
    if action is Action.ERASE:
        return Pressed(replace(entry, typed=entry.typed[:-1], note=bool(entry.typed)))
    if action is Action.CONFIRM:
        text = entry.typed.strip()
        return Pressed(Entry(), Remark(text) if text else TakeNote())
    return Pressed(entry, problem="Type the note, then Enter; Escape leaves it.")


def _choose(entry: Entry, key: str, action: Action | None, visit: Visit) -> Pressed:
    if action is Action.ERASE:
        return Pressed(Entry())
    if action is Action.CONFIRM and entry.menu is Menu.STOP:
        return Pressed(Entry(), Stop())
    return _chosen(entry.menu, key, visit, entry)


def _chosen(menu: Menu | None, key: str, visit: Visit, entry: Entry = Entry()) -> Pressed:
    """What a number of a list leads to. Without a list, nothing."""
    choices = [] if menu is None else listed(menu, visit)
    at = NUMBERS.find(key) if len(key) == 1 else -1
    if not 0 <= at < len(choices):
        last = NUMBERS[min(len(choices), len(NUMBERS)) - 1]
        return Pressed(entry, problem=f"Strike a number from 1 to {last}, or Backspace.")
    found = choices[at]
    if isinstance(found, SetupField):
        return Pressed(Entry(field=found))
    if isinstance(found, GoTo) and phase(visit) is Phase.TAPES:
        return Pressed(Entry(tape_site=found.site))
    return Pressed(Entry(), found)


def _reading_character(entry: Entry, key: str) -> Pressed | None:
    key = "." if key == "," else key
    if len(key) != 1 or key not in "0123456789.":
        return None
    typed = with_digit(entry.typed, key)
    if typed is None:
        return Pressed(entry, problem="A reading has at most two digits, a point and a tenth.")
    return Pressed(replace(entry, typed=typed))


def _tape_character(entry: Entry, key: str) -> Pressed | None:
    character = {"space": " ", ",": "."}.get(key, key)
    allowed = "0123456789." if not entry.typed else "0123456789. /c"
    if len(character) != 1 or character not in allowed:
        return None
    typed = with_tape_sign(entry.typed, character)
    if typed is None:
        return Pressed(entry, problem="A tape length is like 6 3/4, 37.2 or 37 c.")
    return Pressed(replace(entry, typed=typed))


def _enter(entry: Entry, visit: Visit) -> Pressed:
    if entry.field is not None:
        return _enter_small(entry, entry.field)
    if not entry.typed:
        if entry.correcting or entry.tape_site is not None:
            return Pressed(entry, problem="Type the right value first.")
        return Pressed(Entry(), Ready() if is_screening(visit) else Confirm())
    if wants_tape(visit):
        length = tape_length(entry.typed)
        if length is None:
            return Pressed(entry, problem="That is no tape length. Type like 6 3/4, 37.2 or 37 c.")
        corrects = visit.pending_tape is not None
        return Pressed(Entry(), CorrectTape(length) if corrects else Tape(length, entry.tape_site))
    value = reading_tenths_mm(entry.typed)
    if value is None:
        return Pressed(entry, problem="That is no reading. Mend it, or clear it.")
    return Pressed(Entry(), Reading(value) if visit.pending is None else Correct(value))


def _enter_small(entry: Entry, field: SetupField) -> Pressed:
    """A thickness of cloth in millimetres, or an offset in centimetres."""
    number = small_tenths(entry.typed)
    if number is None:
        return Pressed(entry, problem="Type a number from 0.0 to 9.9, then Enter.")
    # Tenths of a centimetre are millimetres.
    return Pressed(Entry(), SetCloth(number) if field is SetupField.CLOTH else SetOffset(number))


def _act(action: Action, visit: Visit) -> Pressed:
    pending = visit.pending is not None or visit.pending_tape is not None
    if action in _AT_ONCE:
        return Pressed(Entry(), _AT_ONCE[action])
    if action in MENUS:
        return Pressed(Entry(menu=MENUS[action]))
    match action:
        case Action.PAUSE:
            return Pressed(Entry(), Resume() if visit.paused else Pause())
        case Action.CORRECT if pending:
            return Pressed(Entry(correcting=True))
        case Action.CORRECT:
            return Pressed(Entry(), problem="Nothing waits to be corrected. Undo takes back.")
        case Action.WORDS:
            return Pressed(Entry(words=True))
        case Action.NOTE:
            return Pressed(Entry(note=True))
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
