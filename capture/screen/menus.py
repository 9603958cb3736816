"""The lists that wait for a number: what they hold, and when they are open by themselves. Pure."""

from collections.abc import Mapping, Sequence
from enum import Enum, auto

from capture.language.intents import (
    Caution,
    Choose,
    Extra,
    GoTo,
    Intent,
    Note,
    Option,
    SetCloth,
    SetFold,
    SetSide,
    Skip,
    SkipReason,
    Stop,
)
from capture.protocol.setup import BARE, SetupField
from capture.protocol.sites import Fold, Side
from capture.screen.keymap import Action
from capture.visit.announcement import Stopped
from capture.visit.course import next_preparation, phase, question
from capture.visit.state import Permission, Phase, Preparation, Visit

NUMBERS = "1234567890"
"""The keys that choose from a list, in its order."""


class Menu(Enum):
    """A list that waits for a number."""

    SKIP = auto()
    GO_TO = auto()
    SETUP = auto()
    STOP = auto()
    CHOOSE = auto()
    CAUTION = auto()
    EXTRA = auto()


MENUS: Mapping[Action, Menu] = {
    Action.SKIP: Menu.SKIP,
    Action.GO_TO: Menu.GO_TO,
    Action.SETUP: Menu.SETUP,
    Action.STOP: Menu.STOP,
    Action.CHOOSE: Menu.CHOOSE,
    Action.CAUTION: Menu.CAUTION,
    Action.EXTRA: Menu.EXTRA,
}
_LISTS: Mapping[Menu, tuple[Intent | SetupField, ...]] = {
    Menu.SKIP: tuple(Skip(reason) for reason in SkipReason),
    Menu.SETUP: (
        *(SetFold(fold) for fold in Fold),
        *(SetSide(side) for side in Side),
        SetCloth(BARE),
        SetupField.CLOTH,
        SetupField.OFFSET,
    ),
    Menu.STOP: tuple(Stop(permission.value) for permission in Permission),
    Menu.CHOOSE: tuple(Choose(option) for option in Option),
    Menu.CAUTION: tuple(Note(caution) for caution in Caution),
}
"""What each list leads to, in its order; a field of the setup asks for a number first."""

_SCREENING = (Preparation.READY, Preparation.CAUTIONS)


def is_screening(visit: Visit) -> bool:
    """Whether reasons for care are what is asked now."""
    return phase(visit) is Phase.PREPARATION and next_preparation(visit) in _SCREENING


def direct_menu(visit: Visit) -> Menu | None:
    """The list whose numbers choose without a key before them: no value can be typed there."""
    if visit.paused or visit.pending_setup is not None:
        return None
    match phase(visit):
        case Phase.PREPARATION if is_screening(visit):
            return Menu.CAUTION
        case Phase.STOPPED if isinstance(question(visit), Stopped):
            return Menu.CHOOSE
        case _:
            return None


def listed(menu: Menu, visit: Visit) -> Sequence[Intent | SetupField]:
    """What the numbers of a list lead to, in its order."""
    sites = visit.plan.protocol.sites
    match menu:
        case Menu.GO_TO:
            return [GoTo(site.id) for site in sites]
        case Menu.EXTRA:
            return [Extra(site.id) for site in sites]
        case _:
            return _LISTS[menu]


def menu_lines(
    menu: Menu | None, visit: Visit, titles: Mapping[Menu, Sequence[str]]
) -> tuple[str, ...]:
    """A list with its numbers. `titles` are the choices of each list in words, in order.

    Lists of sites have the titles of the protocol.
    """
    if menu is None:
        return ()
    sites = tuple(site.title for site in visit.plan.protocol.sites)
    shown = titles.get(menu, sites)[: len(NUMBERS)]
    return tuple(f"{key} {title}" for key, title in zip(NUMBERS, shown, strict=False))
