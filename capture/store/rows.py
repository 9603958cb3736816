"""What the store hands out, one frozen object a row, and the form in which it keeps values."""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID, uuid4

from capture.store.errors import StoreError
from capture.visit.entry import Plain

LONGEST_TEXT = 10_000
"""Characters of a name, a note or a reason; what is longer no import would take back."""


@dataclass(frozen=True, slots=True)
class Client:
    """The person measured. `sex` is `female` or `male`; `birth_date` is ISO 8601 or None.

    `equation` and `conversion` are ids of what their results are computed by, None for the usual
    ones; `show_fat_percent` and `show_norms` say what they are shown.
    """

    id: str
    created_at: str
    name: str
    sex: str
    birth_date: str | None
    note: str
    equation: str | None = None
    conversion: str | None = None
    show_fat_percent: bool = True
    show_norms: bool = True

    @property
    def choices(self) -> dict[str, Any]:
        """What `ClientDefaults.from_plain` reads."""
        return {
            "equation": self.equation,
            "conversion": self.conversion,
            "show_fat_percent": self.show_fat_percent,
            "show_norms": self.show_norms,
        }


def client_of(row: Mapping[str, Any]) -> Client:
    """A client from the columns of its row."""
    shown = {name: bool(row[name]) for name in ("show_fat_percent", "show_norms")}
    return Client(**{**row, **shown})


@dataclass(frozen=True, slots=True)
class Assessor:
    """The person who holds the caliper."""

    id: str
    created_at: str
    name: str


@dataclass(frozen=True, slots=True)
class VisitRow:
    """One visit as it was begun. `plan` is what was settled then and never changes."""

    id: str
    client: Client
    assessor: Assessor
    started_at: str
    plan: Plain
    program_version: str


@dataclass(frozen=True, slots=True)
class Result:
    """What was computed from a visit, as its journal stood after the entry `sequence`."""

    id: str
    visit_id: str
    computed_at: str
    sequence: int
    result: Plain


def new_id() -> str:
    """Make an identifier that no other station makes."""
    return str(uuid4())


def as_id(given: str | None) -> str:
    """Take the caller's UUID in its usual form, or make one. Raises `StoreError` if it is none."""
    if given is None:
        return new_id()
    try:
        return str(UUID(given))
    except ValueError as error:
        raise StoreError("The identifier is not a UUID.", "Let the store make one.") from error


def as_text(value: str, what: str) -> str:
    """Take text that UTF-8 can hold. Raises `StoreError` for half of a surrogate pair."""
    if not isinstance(value, str):
        raise _refused(what, "it is not text")
    try:
        value.encode()
    except UnicodeEncodeError as error:
        raise _refused(what, "it holds half a character") from error
    return value


def as_typed(value: str, what: str) -> str:
    """The same for a name, a note or a reason, up to `LONGEST_TEXT` characters.

    `StoreError` for a longer one, and for NUL: SQLite's functions stop at one.
    """
    if "\0" in as_text(value, what):
        raise _refused(what, "it holds a NUL")
    if len(value) > LONGEST_TEXT:
        raise _refused(what, f"it is longer than {LONGEST_TEXT} characters")
    return value


def as_whole(value: int, what: str) -> int:
    """Take a whole number from 1. SQLite would turn the text "124" into one in silence."""
    if type(value) is not int or not 1 <= value < 1 << 63:
        raise _refused(what, "it is not a whole number from 1")
    return value


def as_share(value: float | None, what: str) -> float | None:
    """Take a number from 0 to 1 or None. SQLite would keep "not a number" as None."""
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise _refused(what, "it is not a number")
    if math.isnan(value) or not 0 <= value <= 1:
        raise _refused(what, "it does not lie in 0 to 1")
    return float(value)


def to_json(value: Mapping[str, Any] | Sequence[Mapping[str, Any]], what: str) -> str:
    """Write as JSON what JSON gives back equal; raise `StoreError` for anything else.

    A tuple inside comes back as a list and a number as a key comes back as text, so both are
    refused here rather than found different at the replay.
    """
    try:
        text = json.dumps(
            value, ensure_ascii=False, allow_nan=False, separators=(",", ":"), default=_plain
        )
        text.encode()
        same = json.loads(text) == value
    except (TypeError, ValueError, RecursionError) as error:
        raise _refused(what, "JSON cannot hold it") from error
    if not same:
        raise _refused(what, "JSON would change it")
    return text


def _plain(value: object) -> object:
    """Write a read-only mapping as the object that it is."""
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(type(value).__name__)


def _refused(what: str, why: str) -> StoreError:
    return StoreError(f"The store cannot keep the {what}: {why}.", "Nothing of it was saved.")
