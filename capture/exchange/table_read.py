"""Reads the table of readings back: every bad row is told by its line, or all rows are taken."""

import csv
import io
import json
import re
from collections.abc import Iterator, Mapping
from typing import Any

from capture.exchange.columns import NAMES, NAMES_BEFORE
from capture.exchange.document import schema
from capture.exchange.errors import FileRefused
from capture.exchange.shape import faults
from capture.exchange.table import Row, of_plan, unguard
from capture.report.amendments import value_that_counts

MOST_PROBLEMS = 20
LONGEST_CELL = 1_000_000
"""Characters of a cell; one may hold several amendments, each with its reason."""
_TENTHS = re.compile(r"[0-9]{1,3}\.[0-9]")
_SECONDS = re.compile(r"[0-9]{1,3}\.[0-9]")
_WHOLE = re.compile(r"[1-9][0-9]{0,8}")
_SHARE = re.compile(r"[01]|[01]\.[0-9]{1,20}|[1-9](\.[0-9]{1,20})?e-[0-9]{1,3}")
_OF_VISIT = (
    "visit_started_at", "client_id", "assessor_id", "program_version", "protocol", "age_years",
    "caliper", "signed_at", "signed_entry", "sign_offs",
)  # fmt: skip
_OF_CLIENT = ("client", "sex", "birth_date", "client_added_at", "client_note")
_OF_ASSESSOR = ("assessor", "assessor_added_at")
MOST_ENTRIES = 100_000
"""No visit has so many entries: a table that names a later one is damaged."""


class _WrongError(ValueError):
    """A cell or row that cannot be taken, in words."""


def read_table(text: str) -> dict[str, Any]:
    """The people and visits of a table, in the form of the JSON export.

    Raises `FileRefused` with the line and the reason of each bad row.
    """
    gathered = _Gathered()
    problems: list[str] = []
    for line, row in _rows(text):
        try:
            gathered.take(row)
        except _WrongError as error:
            problems.append(f"line {line}: {error}")
            if len(problems) == MOST_PROBLEMS:
                problems.append("and perhaps more")
                break
    if not problems:
        try:
            return gathered.document()
        except _WrongError as error:
            problems.append(str(error))
    count = len([each for each in problems if each.startswith("line")])
    raise FileRefused(f"{count or 1} bad row(s), the first: {problems[0]}.", tuple(problems))


def _rows(text: str) -> Iterator[tuple[int, Row]]:
    if "\0" in text:
        raise FileRefused(f"Line {text[: text.index(chr(0))].count(chr(10)) + 1} holds a NUL.")
    csv.field_size_limit(LONGEST_CELL)
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        names = tuple(next(reader, ()))
        if names not in {NAMES, NAMES_BEFORE}:
            raise FileRefused("Line 1 does not hold the columns of an export, in their order.")
        begun = reader.line_num + 1
        for cells in reader:
            if len(cells) != len(names):
                raise FileRefused(f"Line {begun} has {len(cells)} cells instead of {len(names)}.")
            yield begun, {"dwell_s": "", **dict(zip(names, map(unguard, cells), strict=True))}
            begun = reader.line_num + 1
    except csv.Error as error:
        raise FileRefused(f"Line {reader.line_num} is no CSV: {error}.") from error


class _Gathered:
    """The rows so far, by visit; a row that contradicts an earlier one is wrong."""

    def __init__(self) -> None:
        self._clients: dict[str, dict[str, Any]] = {}
        self._assessors: dict[str, dict[str, Any]] = {}
        self._visits: dict[str, dict[str, Any]] = {}
        self._of_visit: dict[str, Row] = {}
        self._entries: dict[str, dict[int, dict[str, Any]]] = {}
        self._planned: dict[str, dict[str, Any]] = {}

    def take(self, row: Row) -> None:
        """Take one row, or raise `_WrongError`."""
        self._person(self._clients, row["client_id"], "client", _client(row))
        self._person(self._assessors, row["assessor_id"], "assessor", _assessor(row))
        visit_id = row["visit_id"]
        if visit_id not in self._visits:
            self._begin(visit_id, row)
        same = {name: row[name] for name in _OF_VISIT}
        for name, value in self._of_visit[visit_id].items():
            if same[name] != value:
                raise _WrongError(f"{name} is another than in an earlier row of the visit")
        if row["plan"]:
            self._plan(visit_id, row)
        self._reading(visit_id, row)

    def _plan(self, visit_id: str, row: Row) -> None:
        plan = _object(row, "plan")
        for name, value in of_plan(plan).items():
            if row[name] != value:
                raise _WrongError(f"{name} is another than in plan")
        if self._planned.setdefault(visit_id, plan) != plan:
            raise _WrongError("plan is another than in an earlier row of the visit")

    def _person(
        self, known: dict[str, dict[str, Any]], found: str, what: str, told: dict[str, Any]
    ) -> None:
        if known.setdefault(found, told) != told:
            raise _WrongError(f"the {what} is described differently in an earlier row")

    def _begin(self, visit_id: str, row: Row) -> None:
        visit = {
            "id": visit_id,
            "client_id": row["client_id"],
            "assessor_id": row["assessor_id"],
            "started_at": row["visit_started_at"],
            "plan": {},
            "program_version": row["program_version"],
            "journal": [],
            "results": [],
            "amendments": _array(row, "sign_offs"),
        }
        _shaped(visit, "visit")
        self._visits[visit_id] = visit
        self._of_visit[visit_id] = {name: row[name] for name in _OF_VISIT}
        self._entries[visit_id] = {}
        if row["signed_at"] or row["signed_entry"]:
            entry = self._entry(visit_id, _number(row, "signed_entry"), row["signed_at"])
            entry["facts"].append({"kind": "signed_off"})

    def _entry(self, visit_id: str, sequence: int, at: str) -> dict[str, Any]:
        if sequence > MOST_ENTRIES:
            raise _WrongError(f"entry {sequence} is more than a visit has")
        entries = self._entries[visit_id]
        if sequence not in entries:
            entries[sequence] = _blank(sequence, at)
            _shaped(entries[sequence], "entry")
        if entries[sequence]["at"] != at:
            raise _WrongError(f"entry {sequence} has another time in an earlier row")
        return entries[sequence]

    def _reading(self, visit_id: str, row: Row) -> None:
        number, changed = _number(row, "reading"), _number(row, "changed_entry")
        fact = {
            "number": number,
            "state": "heard",
            "site": row["site"],
            "circuit": _number(row, "circuit"),
            "value_tenths_mm": _tenths(row, "value_mm"),
        }
        state = {**fact, "state": row["state"]}
        _shaped(state, "reading")
        if changed < number or (changed == number) != (row["state"] == "heard"):
            raise _WrongError("changed_entry does not fit reading and state")
        heard = self._entry(visit_id, number, row["heard_at"])
        if any(each["number"] == number for each in heard["readings"]):
            raise _WrongError(f"reading {number} of the visit comes twice")
        heard["readings"].append(fact)
        heard |= {
            "source": row["source"],
            "words": row["words"],
            "confidence": _share(row),
            "alternatives": _array(row, "alternatives"),
            "intent": {
                "kind": "reading",
                "value_tenths_mm": fact["value_tenths_mm"],
                "site": row["site"],
            },
        }
        heard["facts"].extend(_doubts(row))
        cloth = _cloth(row)
        heard["facts"].extend(cloth)
        heard["facts"].extend(_dwell(row))
        _shaped(heard, "entry")
        if changed != number:
            later = self._entry(visit_id, changed, row["changed_at"])
            later["readings"].append(state)
        elif row["changed_at"] != row["heard_at"]:
            raise _WrongError("changed_at is another than heard_at")
        counts = cloth[0]["net_tenths_mm"] if cloth else _tenths(row, "value_mm")
        self._amendments(visit_id, number, row, counts)

    def _amendments(self, visit_id: str, number: int, row: Row, taken_tenths_mm: int) -> None:
        found = _array(row, "amendments")
        for each in found:
            _shaped(each, "amendment")
            if each["number"] != number:
                raise _WrongError("an amendment names another reading")
        counts = value_that_counts(taken_tenths_mm, row["state"] == "confirmed", found)
        given = _tenths(row, "counts_mm") if row["counts_mm"] else None
        if counts != given:
            raise _WrongError("counts_mm does not follow from value_mm, state and amendments")
        self._visits[visit_id]["amendments"].extend(found)

    def document(self) -> dict[str, Any]:
        """All of it as the JSON export would hold it."""
        for visit_id, entries in self._entries.items():
            if visit_id not in self._planned:
                raise _WrongError(f"no row of the visit {visit_id} holds its plan")
            self._visits[visit_id]["plan"] = self._planned[visit_id]
            at = self._visits[visit_id]["started_at"]
            journal = []
            for sequence in range(1, max(entries) + 1):
                entry = entries.get(sequence) or _blank(sequence, at)
                # A correction tells first what it replaced, then what was heard instead.
                entry["readings"].sort(key=lambda each: (each["state"] == "heard", each["number"]))
                journal.append(entry)
                at = entry["at"]
            self._visits[visit_id]["journal"] = journal
        found = {
            "format": "foldcall export",
            "version": 1,
            "clients": list(self._clients.values()),
            "assessors": list(self._assessors.values()),
            "client_edits": [],
            "client_links": [],
            "tombstones": [],
            "visits": list(self._visits.values()),
        }
        for fault in faults(found, schema(), "the table"):
            raise _WrongError(fault)
        return found


def _blank(sequence: int, at: str) -> dict[str, Any]:
    """An entry of which the table tells no more than that it was there."""
    return {
        "sequence": sequence,
        "at": at,
        "source": "program",
        "words": "",
        "confidence": None,
        "alternatives": [],
        "intent": {"kind": "not_in_the_table"},
        "facts": [],
        "readings": [],
    }


def _client(row: Row) -> dict[str, Any]:
    found = {
        "id": row["client_id"],
        "created_at": row["client_added_at"],
        "name": row["client"],
        "sex": row["sex"],
        "birth_date": row["birth_date"] or None,
        "note": row["client_note"],
    }
    return _shaped(found, "clients")


def _assessor(row: Row) -> dict[str, Any]:
    found = {
        "id": row["assessor_id"],
        "created_at": row["assessor_added_at"],
        "name": row["assessor"],
    }
    return _shaped(found, "assessors")


def _shaped(value: dict[str, Any], what: str) -> dict[str, Any]:
    """The value if the export's schema allows it."""
    whole = schema()
    part = whole["$defs"].get(what) or whole["properties"][what]["items"]
    for fault in faults(value, {**part, "$defs": whole["$defs"]}, what.removesuffix("s")):
        raise _WrongError(fault)
    return value


def _number(row: Row, name: str) -> int:
    if _WHOLE.fullmatch(row[name]) is None:
        raise _WrongError(f"{name} is no whole number from 1")
    return int(row[name])


def _tenths(row: Row, name: str) -> int:
    if _TENTHS.fullmatch(row[name]) is None:
        raise _WrongError(f"{name} is no value in mm with one decimal")
    value = int(row[name].replace(".", ""))
    if not 1 <= value <= 1000:
        raise _WrongError(f"{name} is not 0.1 to 100.0 mm")
    return value


def _share(row: Row) -> float | None:
    text = row["confidence"]
    if not text:
        return None
    if _SHARE.fullmatch(text) is None:
        raise _WrongError("confidence is no number from 0 to 1")
    return float(text)


def _doubts(row: Row) -> Iterator[Mapping[str, Any]]:
    for part in filter(None, row["doubts"].split("; ")):
        kind, _, other = part.partition(" ")
        if not kind.isidentifier() or (other and _TENTHS.fullmatch(other) is None):
            raise _WrongError("doubts are not written as they must be")
        tenths = int(other.replace(".", "")) if other else None
        yield {"kind": "doubt", "doubt": kind, "other_tenths_mm": tenths}


def _cloth(row: Row) -> list[dict[str, Any]]:
    if not row["cloth_mm"] and not row["net_mm"]:
        return []
    return [
        {
            "kind": "through_cloth",
            "cloth_tenths_mm": _tenths(row, "cloth_mm"),
            "net_tenths_mm": _tenths(row, "net_mm"),
            "estimate": True,
        }
    ]


def _dwell(row: Row) -> Iterator[Mapping[str, Any]]:
    text = row["dwell_s"]
    if text:
        if _SECONDS.fullmatch(text) is None:
            raise _WrongError("dwell_s is no time in seconds with one decimal")
        yield {"kind": "dwell", "dwell_s": float(text)}


def _object(row: Row, name: str) -> dict[str, Any]:
    found = _parsed(row, name)
    if not isinstance(found, dict):
        raise _WrongError(f"{name} is no JSON object")
    return found


def _array(row: Row, name: str) -> list[Any]:
    found = _parsed(row, name) if row[name] else []
    if not isinstance(found, list) or not all(isinstance(each, dict) for each in found):
        raise _WrongError(f"{name} is no JSON array of objects")
    return found


def _parsed(row: Row, name: str) -> Any:
    try:
        return json.loads(row[name], parse_constant=_none)
    except (ValueError, RecursionError) as error:
        raise _WrongError(f"{name} is no JSON") from error


def _none(name: str) -> None:
    raise ValueError(name)
