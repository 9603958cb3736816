"""Compares a JSON value with a JSON Schema: the published file is what imports are checked by.

Only the keywords that our own schema uses are known; an unknown one is a KeyError, so that none
is passed over in silence. A test compares the verdicts with those of a full validator.
"""

import re
from collections.abc import Iterator, Mapping
from typing import Any

_TYPES: Mapping[str, type | tuple[type, ...]] = {
    "object": dict,
    "array": list,
    "string": str,
    "integer": int,
    "number": (int, float),
    "boolean": bool,
    "null": type(None),
}
_SILENT = {"$schema", "$id", "$defs", "title", "description", "$ref"}
_LATER = {"properties", "additionalProperties"}


def faults(value: Any, schema: Mapping[str, Any], where: str = "the file") -> Iterator[str]:
    """Each difference in one line with its place; none if the value has the schema's shape."""
    yield from _faults(value, schema, where, schema.get("$defs", {}))


def _faults(
    value: Any, schema: Mapping[str, Any], where: str, known: Mapping[str, Any]
) -> Iterator[str]:
    if "$ref" in schema:
        schema = known[schema["$ref"].removeprefix("#/$defs/")]
    for keyword, wanted in schema.items():
        if keyword == "type":
            if not _is(value, wanted):
                yield f"{where} is not {_listed(wanted)}"
                return
        elif keyword not in _SILENT | _LATER:
            yield from _CHECKS[keyword](value, wanted, where, known)
    if isinstance(value, dict):
        parts = schema.get("properties", {})
        if schema.get("additionalProperties") is False:
            yield from (f"{where} has an unknown {name!a}" for name in value if name not in parts)
        for name, part in parts.items():
            if name in value:
                yield from _faults(value[name], part, f"{where}, {name}", known)


def _is(value: Any, wanted: str | list[str]) -> bool:
    for name in [wanted] if isinstance(wanted, str) else wanted:
        if isinstance(value, bool):
            if name == "boolean":
                return True
        elif name == "integer" and isinstance(value, float):
            if value.is_integer():
                return True
        elif isinstance(value, _TYPES[name]):
            return True
    return False


def _listed(wanted: str | list[str]) -> str:
    return wanted if isinstance(wanted, str) else " or ".join(wanted)


def _required(value: Any, wanted: Any, where: str, _: Any) -> Iterator[str]:
    if isinstance(value, dict):
        yield from (f"{where} has no {name}" for name in wanted if name not in value)


def _enum(value: Any, wanted: Any, where: str, _: Any) -> Iterator[str]:
    if value not in wanted:
        yield f"{where} is none of {', '.join(map(str, wanted))}"


def _const(value: Any, wanted: Any, where: str, _: Any) -> Iterator[str]:
    if value != wanted:
        yield f"{where} is not {wanted}"


def _pattern(value: Any, wanted: Any, where: str, _: Any) -> Iterator[str]:
    if isinstance(value, str) and re.search(wanted, value) is None:
        yield f"{where} is not written as it must be"


def _minimum(value: Any, wanted: Any, where: str, _: Any) -> Iterator[str]:
    if isinstance(value, int | float) and not isinstance(value, bool) and value < wanted:
        yield f"{where} is below {wanted}"


def _maximum(value: Any, wanted: Any, where: str, _: Any) -> Iterator[str]:
    if isinstance(value, int | float) and not isinstance(value, bool) and value > wanted:
        yield f"{where} is above {wanted}"


def _longest(value: Any, wanted: Any, where: str, _: Any) -> Iterator[str]:
    if isinstance(value, str) and len(value) > wanted:
        yield f"{where} is longer than {wanted} characters"


def _items(value: Any, wanted: Any, where: str, known: Any) -> Iterator[str]:
    if isinstance(value, list):
        for number, part in enumerate(value, 1):
            yield from _faults(part, wanted, f"{where} {number}", known)


_CHECKS = {
    "required": _required,
    "enum": _enum,
    "const": _const,
    "pattern": _pattern,
    "minimum": _minimum,
    "maximum": _maximum,
    "maxLength": _longest,
    "items": _items,
}
