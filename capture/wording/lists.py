"""English for the lists of the keypad and for what is typed there."""

from collections.abc import Mapping, Sequence

from capture.protocol.setup import SetupField
from capture.protocol.sites import Fold, Side
from capture.screen.keypad import Entry
from capture.screen.menus import Menu, direct_menu, menu_lines
from capture.visit.state import Visit
from capture.wording import trade

MENU_TITLES: Mapping[Menu, Sequence[str]] = {
    Menu.SKIP: ("refused", "too thick", "injury", "skin", "unable this time"),
    Menu.SETUP: (
        *(f"fold {fold.value}" for fold in Fold),
        *(f"{side.value} side" for side in Side),
        "bare skin",
        "cloth, how thick",
        "offset, how far",
    ),
    Menu.STOP: (*tuple(trade.PERMISSION_NAMES.values())[:-1], "touch (or Enter): all stops"),
    Menu.CHOOSE: tuple(trade.OPTION_NAMES.values()),
    Menu.CAUTION: tuple(trade.CAUTION_NAMES.values()),
}
"""The choices of the lists in words, in their order."""


def menu_words(entry: Entry, visit: Visit) -> tuple[str, ...]:
    """The list that waits for a number, or what is being typed if it is no reading."""
    if entry.note:
        return (f"Type the note, then Enter: {entry.typed}_",)
    if entry.words:
        return (f"Type a call, then Enter: {entry.typed}_",)
    if entry.field is SetupField.CLOTH:
        return ("One layer of the cloth in mm, such as 1.5, then Enter",)
    if entry.field is SetupField.OFFSET:
        return ("Distance in front of the line in cm, such as 2.5, then Enter",)
    if entry.tape_site is not None:
        title = visit.plan.protocol.site(entry.tape_site).title
        return (f"Tape length of the {title}, then Enter",)
    return menu_lines(entry.menu if entry.is_open else direct_menu(visit), visit, MENU_TITLES)
