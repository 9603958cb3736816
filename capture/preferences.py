"""How a person likes to measure: the table `measure` of the settings file."""

from dataclasses import dataclass, fields
from enum import StrEnum

from capture.settings_table import Settings
from capture.visit.state import Confirmation

TABLE = "measure"
TALK_S = 8.0
"""Push to talk listens for one call, at most so long. Terminals do not tell of a key let go."""

SHORTEST_TALK_S, LONGEST_TALK_S = 1.0, 60.0


class Letters(StrEnum):
    """What the large letters of the screen are drawn with."""

    AUTO = "auto"
    """Blocks where the terminal's encoding has them."""
    BLOCKS = "blocks"
    ASCII = "ascii"


@dataclass(frozen=True, slots=True)
class Preferences:
    """The table `measure`.

    `confirmation` holds for visits that are begun; `dwell` switches the cue that the jaws are on;
    `talk_s` is how long the talk key listens, 1 to 60 s.
    """

    confirmation: Confirmation = Confirmation.EACH
    dwell: bool = True
    push_to_talk: bool = False
    talk_s: float = TALK_S
    letters: Letters = Letters.AUTO


USUAL = Preferences()
CONFIRMATIONS = {"each": Confirmation.EACH, "call-through": Confirmation.CALL_THROUGH}


def read_preferences(settings: Settings) -> Preferences:
    """The preferences of a file; the usual ones for what it does not name.

    Raises SettingsError for an unknown name or a wrong value.
    """
    table = settings.table(TABLE)
    table.allow(tuple(field.name for field in fields(Preferences)))
    return Preferences(
        CONFIRMATIONS[table.choice("confirmation", "each", CONFIRMATIONS)],
        table.switch("dwell", USUAL.dwell),
        table.switch("push_to_talk", USUAL.push_to_talk),
        table.number("talk_s", USUAL.talk_s, (SHORTEST_TALK_S, LONGEST_TALK_S), "seconds"),
        Letters(table.choice("letters", USUAL.letters, [each.value for each in Letters])),
    )
