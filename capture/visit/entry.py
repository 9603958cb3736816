"""What the journal holds: one entry for each thing that was heard or keyed.

An entry keeps three things: the call as it came in, the intent it was understood as (or why
not), and the facts that followed. The first two are enough to rebuild the visit by replay; the
third is what the replay must arrive at again, and what a reader of the store looks at.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

Plain = Mapping[str, Any]
"""A JSON object: strings, whole numbers, booleans, None, lists and objects of these."""


class Source(StrEnum):
    """By which road a call came in."""

    VOICE = "voice"
    KEYPAD = "keypad"
    PROGRAM = "program"
    """The program's own doing, such as opening the visit or a time limit."""


class ReadingState(StrEnum):
    """The life of one reading. Only a confirmed one counts."""

    HEARD = "heard"
    """Understood and read back; it does not count yet."""
    CONFIRMED = "confirmed"
    REPLACED = "replaced"
    """A correction took its place; the old value is kept."""
    DROPPED = "dropped"
    """Refused at the read-back, or given up for another action."""
    UNDONE = "undone"
    """Had been confirmed and was taken back."""


@dataclass(frozen=True, slots=True)
class ReadingFact:
    """A reading entering a state.

    `number` names the reading within its visit: the sequence number of the entry that heard it.
    `value_tenths_mm` is the caliper's value in whole tenths of a millimetre.
    """

    number: int
    state: ReadingState
    site: str
    circuit: int
    value_tenths_mm: int


@dataclass(frozen=True, slots=True)
class Entry:
    """One journal entry of a visit.

    `sequence` counts from 1 without gaps within the visit. `at` is ISO 8601 with offset.
    `words` are the words as heard or the keys as struck. `confidence` lies in 0 to 1 and is None
    for keys. `alternatives` are the recogniser's rivals, each with `words` and `confidence`.
    `intent` and `facts` are JSON objects; `readings` lists the readings that changed state.
    """

    sequence: int
    at: str
    source: Source
    words: str
    confidence: float | None
    alternatives: tuple[Plain, ...]
    intent: Plain
    facts: tuple[Plain, ...] = ()
    readings: tuple[ReadingFact, ...] = field(default=())
