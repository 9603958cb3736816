"""The table of keys: what each does, what is said instead, and which key it is. Pure.

The help overlay and the guide's table are made from this one table, so they cannot drift.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from capture.errors import CaptureError

TABLE = "keys"
"""The table of the settings file that changes keys."""


class Action(StrEnum):
    """What a key can do. The value is its name in the settings."""

    CONFIRM = "confirm"
    REFUSE = "refuse"
    CORRECT = "correct"
    ERASE = "erase"
    REPEAT = "repeat"
    UNDO = "undo"
    SKIP = "skip"
    GO_TO = "go_to"
    NEXT = "next"
    PREVIOUS = "previous"
    LATER = "later"
    SETUP = "setup"
    PAUSE = "pause"
    STOP = "stop"
    CHOOSE = "choose"
    CAUTION = "caution"
    WIPED = "wiped"
    EXTRA = "extra"
    FINISH = "finish"
    SIGN_OFF = "sign_off"
    NOTE = "note"
    WORDS = "words"
    TALK = "talk"
    MUTE = "mute"
    DWELL = "dwell"
    CANCEL = "cancel"
    HELP = "help"
    QUIT = "quit"


@dataclass(frozen=True, slots=True)
class KeyLine:
    """One line of the table: the usual keys, what they do, what the voice says for the same."""

    action: Action
    keys: tuple[str, ...]
    does: str
    spoken: str = ""


KEY_TABLE = (
    KeyLine(
        Action.CONFIRM, ("enter",), "yes: what is read back is right; granted; ready", "yes, ready"
    ),
    KeyLine(Action.REFUSE, ("-",), "no: what is read back is wrong; refused", "no"),
    KeyLine(Action.CORRECT, ("c",), "another value in its place: type it, then Enter", "no fifty"),
    KeyLine(Action.ERASE, ("backspace",), "take back the last character typed"),
    KeyLine(Action.REPEAT, ("*", "r"), "say it again", "repeat"),
    KeyLine(Action.UNDO, ("u",), "take back the last thing that counted", "undo"),
    KeyLine(Action.SKIP, ("s",), "leave this site out; then the number of the reason", "skip skin"),
    KeyLine(Action.GO_TO, ("g",), "another site; then its number", "go to thigh"),
    KeyLine(Action.NEXT, ("+", "n"), "the next site that is still open", "go to thigh"),
    KeyLine(Action.PREVIOUS, ("b",), "the site before that is still open", "go to chest"),
    KeyLine(Action.LATER, ("l",), "put this site off to the end of its circuit", "later"),
    KeyLine(
        Action.SETUP,
        ("h",),
        "fold, side, cloth or offset of this site; then its number",
        "fold horizontal",
    ),
    KeyLine(Action.PAUSE, ("p",), "pause, and go on again", "pause, resume"),
    KeyLine(
        Action.STOP,
        ("x",),
        "the client says stop; then Enter, or a permission's number",
        "stop, stop marks",
    ),
    KeyLine(
        Action.CHOOSE, ("i",), "what is done instead; then the number of the choice", "chaperone"
    ),
    KeyLine(Action.CAUTION, ("a",), "a reason to take care; then its number", "caution lotion"),
    KeyLine(Action.WIPED, ("w",), "the caliper is wiped for this client", "caliper wiped"),
    KeyLine(
        Action.EXTRA, ("e",), "one reading more at the end; then the site's number", "extra chest"
    ),
    KeyLine(Action.FINISH, ("f",), "leave out all that is not measured yet", "finish early"),
    KeyLine(Action.SIGN_OFF, ("o",), "sign the visit off when all is measured", "sign off"),
    KeyLine(Action.NOTE, ("k",), "a note: type it, then Enter; Enter alone: say it", "make a note"),
    KeyLine(Action.WORDS, (":",), "any other call of the list, in words, then Enter"),
    KeyLine(Action.TALK, ("t",), "push to talk: listen for one call; once more: stop listening"),
    KeyLine(Action.MUTE, ("m",), "keypad only, and listen again"),
    KeyLine(Action.DWELL, ("d",), "the jaws are on: a soft tone after two seconds", "holding"),
    KeyLine(Action.CANCEL, ("escape",), "leave a list or the help"),
    KeyLine(Action.HELP, ("f1", "?"), "this help; once more: its next page, the site's drawing"),
    KeyLine(Action.QUIT, ("q",), "leave, struck twice; the visit goes on at the next start"),
)
"""All keys but those of a value, in the order of the help."""

VALUE_LINES = (
    ("0 to 9 . ,", "a reading, then Enter", "twelve point five"),
    ("6 Space 3 / 4", "a tape length in inches, then Enter", "six and three quarters"),
    ("37.2 or 37 c", "a tape length in centimetres, then Enter", "thirty seven point two ..."),
)
"""How values are typed: keys, what they give, what is said for the same."""

PAGE_ROWS = 18
"""Lines of the help on one page."""

VALUE_KEYS = frozenset("0123456789.,/") | {"space"}
"""These make values and cannot be given another meaning."""

NAMES = {
    *(f"f{n}" for n in range(1, 25)),
    *("enter backspace escape tab insert delete home end pageup pagedown".split()),
    *("up down left right".split()),
    *(f"c-{letter}" for letter in "abdefgklnoprstuvwxy"),
}
"""Keys with a name; any other key is the one character that it writes."""


class KeysError(CaptureError):
    """The table of keys in the settings cannot be used."""


@dataclass(frozen=True, slots=True)
class Bindings:
    """Which key does what."""

    actions: Mapping[str, Action]

    def action(self, key: str) -> Action | None:
        """What a key does, None for one without a meaning."""
        return self.actions.get(key)

    def keys(self, action: Action) -> tuple[str, ...]:
        """The keys of an action, in the order they were given."""
        return tuple(key for key, each in self.actions.items() if each is action)


def bindings_from(table: Mapping[str, Any], file: str) -> Bindings:
    """The usual keys, changed by a table of the settings such as `confirm = ["enter", "f13"]`.

    What the table names loses its usual keys. `file` is named in errors. Raises KeysError for an
    unknown action, a key that is none, or a key with two meanings.
    """
    actions: dict[str, Action] = {}
    usual: dict[str, Action] = {}
    known = {action.value for action in Action}
    for name, told in table.items():
        if name not in known:
            raise KeysError(
                f"The settings in {file} name the action '{name}', which is none.",
                f"Choose of: {', '.join(sorted(known))}.",
            )
        for key in _keys_of(name, told, file):
            if actions.get(key, name) != name:
                raise KeysError(
                    f"In {file} the key '{key}' has two meanings: {actions[key]} and {name}.",
                    "Give it to one of them.",
                )
            actions[key] = Action(name)
    for line in KEY_TABLE:
        if line.action.value not in table:
            usual |= {key: line.action for key in line.keys if key not in actions}
    lost = [
        action for action in (Action.CONFIRM, Action.QUIT, Action.HELP)
        if action not in {*usual.values(), *actions.values()}
    ]  # fmt: skip
    if lost:
        raise KeysError(f"In {file} no key is left for '{lost[0]}'.", "Give it one.")
    return Bindings(usual | actions)


def _keys_of(name: str, told: Any, file: str) -> tuple[str, ...]:
    keys = [told] if isinstance(told, str) else told
    if not isinstance(keys, list) or not all(isinstance(key, str) for key in keys):
        raise KeysError(
            f"The keys of '{name}' in {file} are no key and no list of keys.",
            f'Write for example {name} = ["f13"].',
        )
    found = []
    for key in keys:
        plain = key if len(key) == 1 else key.strip().lower()
        if plain in VALUE_KEYS:
            raise KeysError(
                f"The key '{key}' for '{name}' in {file} is one of those that make a value.",
                "Choose another.",
            )
        if plain not in NAMES and not (len(plain) == 1 and plain.isprintable()):
            raise KeysError(
                f"The key '{key}' for '{name}' in {file} is not known.",
                "Write one character, or a name such as enter, f13, pagedown or c-t.",
            )
        found.append(plain)
    return tuple(found)


USUAL = bindings_from({}, "")
"""The keys of the table."""


def key_title(key: str) -> str:
    """A key as it is written on the keyboard.

    >>> key_title("enter"), key_title("u"), key_title("c-t")
    ('Enter', 'u', 'Ctrl-T')
    """
    if key.startswith("c-") and len(key) == 3:
        return f"Ctrl-{key[2].upper()}"
    return key if len(key) == 1 else key.capitalize()


def help_lines(bindings: Bindings = USUAL) -> tuple[tuple[str, str, str], ...]:
    """The whole table: keys, what they do, what is said for the same."""
    lines = [*VALUE_LINES]
    for line in KEY_TABLE:
        keys = ", ".join(key_title(key) for key in bindings.keys(line.action)) or "(no key)"
        lines.append((keys, line.does, line.spoken))
    return tuple(lines)


def help_pages(bindings: Bindings = USUAL) -> tuple[tuple[tuple[str, str, str], ...], ...]:
    """The table in pages that a screen of 24 rows holds; after them comes the site's drawing."""
    lines = help_lines(bindings)
    return tuple(lines[at : at + PAGE_ROWS] for at in range(0, len(lines), PAGE_ROWS))


def markdown_lines() -> tuple[str, ...]:
    """The table for the guide."""
    rows = [
        f"| `{keys}` | {does} | {_quoted(spoken)} | {name} |"
        for (keys, does, spoken), name in zip(
            help_lines(),
            [*([""] * len(VALUE_LINES)), *(f"`{line.action}`" for line in KEY_TABLE)],
            strict=True,
        )
    ]
    return ("| key | what it does | said | in the settings |", "| --- | --- | --- | --- |", *rows)


def _quoted(spoken: str) -> str:
    return f'"{spoken}"' if spoken else ""
