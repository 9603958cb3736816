"""What a typed line of the line mode stands for: keys to strike, or a call in words. Pure."""

from dataclasses import dataclass

from capture.screen.keymap import Bindings
from capture.screen.keypad import Entry
from capture.screen.menus import NUMBERS, direct_menu
from capture.visit.state import Visit


@dataclass(frozen=True, slots=True)
class Typed:
    """Keys to strike after the entry was set, or a phrase, or the text of a note."""

    keys: tuple[str, ...] = ()
    entry: Entry | None = None
    phrase: str | None = None
    note: str | None = None
    status: bool = False
    """Where the visit stands is asked for."""


def typed(text: str, entry: Entry, bindings: Bindings, visit: Visit) -> Typed:
    """A line: a value, a key by its name, a phrase such as "go to thigh", or nothing for Enter.

    "note" and a text, or a line after the note key, is a note; "status" asks for all that the
    screen would show.
    """
    text = text.strip()
    lower = text.lower()
    if entry.note:
        return Typed(note=text)
    if lower.startswith("note "):
        return Typed(note=text[5:].strip())
    if lower == "status":
        return Typed(status=True)
    if not text:
        return Typed(("enter",))
    if entry.menu is not None or bindings.action(lower) is not None:
        return Typed((lower,))
    if lower in NUMBERS and not entry.is_open and direct_menu(visit) is not None:
        # The number of a list that is open by itself: no Enter after it.
        return Typed((lower,))
    if lower[0] in "0123456789.,":
        # A line is a whole value: what an earlier one left unfinished is gone.
        afresh = Entry(correcting=entry.correcting, field=entry.field, tape_site=entry.tape_site)
        keys = ("space" if sign == " " else sign for sign in lower)
        return Typed((*keys, "enter"), afresh)
    return Typed(phrase=lower)
