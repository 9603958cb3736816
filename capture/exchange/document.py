"""The JSON export: one object, a visit a line, checked by its schema on the way in."""

import json
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from importlib import resources
from itertools import islice
from typing import Any

from capture.exchange.errors import FileRefused
from capture.exchange.shape import faults
from capture.showable import json_text

FORMAT, VERSION = "foldcall export", 1
MOST_FAULTS = 20
_PEOPLE = ("clients", "assessors", "client_edits", "client_links", "tombstones")


@cache
def schema() -> dict[str, Any]:
    """The published JSON Schema of the export."""
    text = resources.files("capture.exchange").joinpath("export.schema.json").read_text("utf-8")
    found: dict[str, Any] = json.loads(text)
    return found


def document_lines(
    people: Mapping[str, Iterable[Mapping[str, Any]]], visits: Iterable[Mapping[str, Any]]
) -> Iterator[str]:
    """The export as lines without their ends; equal stores give equal lines."""
    yield "{"
    yield f'"format": {json_text(FORMAT)},'
    yield f'"version": {VERSION},'
    for name in _PEOPLE:
        yield from _listed(name, people[name])
        yield ","
    yield from _listed("visits", visits)
    yield "}"


def read_document(text: str) -> dict[str, Any]:
    """The object of an export. Raises `FileRefused` with the place of each fault."""
    try:
        found = json.loads(
            text, parse_constant=_no_constant, object_pairs_hook=_once, parse_float=_finite
        )
    except json.JSONDecodeError as error:
        raise FileRefused(f"Line {error.lineno} is no JSON: {error.msg}.") from error
    except RecursionError as error:
        raise FileRefused("The JSON is nested too deep.") from error
    except ValueError as error:
        raise FileRefused(f"The JSON cannot be taken: {error}.") from error
    if "\\u0000" in text and _holds_nul(found):
        raise FileRefused("A text of the file holds a NUL.")
    wrong = tuple(islice(faults(found, schema()), MOST_FAULTS))
    if wrong:
        raise FileRefused(f"The file is no export of this version: {wrong[0]}.", wrong)
    return found  # type: ignore[no-any-return]  # the schema says that it is an object


def _holds_nul(value: Any) -> bool:
    if isinstance(value, dict):
        return any(_holds_nul(name) or _holds_nul(each) for name, each in value.items())
    if isinstance(value, list):
        return any(map(_holds_nul, value))
    return isinstance(value, str) and "\0" in value


def _listed(name: str, rows: Iterable[Mapping[str, Any]]) -> Iterator[str]:
    yield f"{json_text(name)}: ["
    last = None
    for row in rows:
        if last is not None:
            yield f"{last},"
        last = json_text(row)
    if last is not None:
        yield last
    yield "]"


def _no_constant(name: str) -> None:
    raise ValueError(f"{name} is no number")


def _finite(text: str) -> float:
    value = float(text)
    if value in {float("inf"), float("-inf")}:
        raise ValueError("a number is too large")
    return value


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("an object names something twice")
    return found
