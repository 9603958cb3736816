"""How a person likes to measure: the table `measure` of the settings file."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

from capture.errors import CaptureError
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


class PreferencesError(CaptureError):
    """The table cannot be used."""


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


def table_of(path: Path, name: str) -> Mapping[str, Any]:
    """One table of the settings file, empty where there is none. Raises PreferencesError."""
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8")).get(name, {})
    except FileNotFoundError:
        return {}
    except (OSError, ValueError, RecursionError) as error:  # numbers, nestings without end
        raise PreferencesError(
            f"The settings in {path} cannot be read: {error}.", "Mend it."
        ) from error
    if not isinstance(table, Mapping):
        raise PreferencesError(f"The setting '{name}' in {path} is no table.", f"Write [{name}].")
    return table


def read_preferences(path: Path) -> Preferences:
    """The preferences of a file; the usual ones for what it does not name.

    Raises PreferencesError for an unknown name or a wrong value.
    """
    table = table_of(path, TABLE)
    usual = Preferences()
    known = {"confirmation", "dwell", "push_to_talk", "talk_s", "letters"}
    for name in table:
        if name not in known:
            raise PreferencesError(
                f"The settings in {path} name '{name}' in [{TABLE}], which is none.",
                f"Choose of: {', '.join(sorted(known))}.",
            )
    told = str(table.get("confirmation", "each"))
    if told not in CONFIRMATIONS:
        raise _wrong(path, "confirmation", f"Choose of: {', '.join(CONFIRMATIONS)}.")
    letters = str(table.get("letters", usual.letters))
    if letters not in set(Letters):
        raise _wrong(path, "letters", f"Choose of: {', '.join(Letters)}.")
    talk_s = table.get("talk_s", usual.talk_s)
    if isinstance(talk_s, bool) or not isinstance(talk_s, int | float):
        raise _wrong(path, "talk_s", "Write seconds.")
    if not SHORTEST_TALK_S <= talk_s <= LONGEST_TALK_S:
        bounds = f"{SHORTEST_TALK_S:g} to {LONGEST_TALK_S:g}"
        raise _wrong(path, "talk_s", f"Write seconds from {bounds}.")
    return Preferences(
        CONFIRMATIONS[told],
        _switch(path, table, "dwell", usual.dwell),
        _switch(path, table, "push_to_talk", usual.push_to_talk),
        float(talk_s),
        Letters(letters),
    )


def _switch(path: Path, table: Mapping[str, Any], name: str, usual: bool) -> bool:
    value = table.get(name, usual)
    if not isinstance(value, bool):
        raise _wrong(path, name, "Write true or false.")
    return value


def _wrong(path: Path, name: str, hint: str) -> PreferencesError:
    return PreferencesError(f"The setting '{name}' of [{TABLE}] in {path} is wrong.", hint)
