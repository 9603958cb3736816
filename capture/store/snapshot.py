"""The whole store as plain objects, in an order that does not depend on how it came about.

This is what is exported, imported and merged: `people_of` first, then one object a visit.
"""

import json
from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any

from sqlite_utils import Database

from capture.store.connection import CHUNK
from capture.store.journal import entries, reading_fact
from capture.visit.entry import Entry, Source

_SHOWN = ("show_fat_percent", "show_norms")
_CHOICES = ("equation", "conversion", *_SHOWN)
_CLIENT = ("id", "created_at", "name", "sex", "birth_date", "note", *_CHOICES)
_ASSESSOR = ("id", "created_at", "name")
_EDIT = ("id", "client_id", "at", "follows", "name", "sex", "birth_date", "note", *_CHOICES)
_LINK = ("id", "client_id", "same_as", "at")
_TOMBSTONE = ("client_id", "erased_at")
_AMENDMENT = (
    "id", "at", "by_name", "reason", "kind", "number", "value_tenths_mm", "follows",
    "after_sign_off",
)  # fmt: skip
_BY = {"clients": "created_at, id", "assessors": "created_at, id", "tombstones": "client_id"}
_COLUMNS = {
    "clients": _CLIENT,
    "assessors": _ASSESSOR,
    "client_edits": _EDIT,
    "client_links": _LINK,
    "tombstones": _TOMBSTONE,
}


def people_of(db: Database, only: Collection[str] | None = None) -> dict[str, list[dict[str, Any]]]:
    """Clients, assessors, edits, links and tombstones; `only` names the clients wanted.

    With `only` there are no tombstones, and of the assessors only those who measured them.
    """
    found = {table: _rows(db, table) for table in _COLUMNS}
    if only is None:
        return found
    measured = {
        row["assessor_id"]
        for row in db.query("SELECT client_id, assessor_id FROM visits")
        if row["client_id"] in only
    }
    return {
        "clients": [row for row in found["clients"] if row["id"] in only],
        "assessors": [row for row in found["assessors"] if row["id"] in measured],
        "client_edits": [row for row in found["client_edits"] if row["client_id"] in only],
        "client_links": [row for row in found["client_links"] if row["client_id"] in only],
        "tombstones": [],
    }


def visits_of(db: Database, only: Collection[str] | None = None) -> Iterator[dict[str, Any]]:
    """Every visit with its journal, results and amendments, by start and identifier."""
    known = db.execute("SELECT id, client_id FROM visits ORDER BY started_at, id").fetchall()
    for visit_id, client_id in known:
        if only is None or client_id in only:
            yield visit_of(db, visit_id)


def visit_of(db: Database, visit_id: str) -> dict[str, Any]:
    """One visit with everything that belongs to it."""
    (row,) = db.query("SELECT * FROM visits WHERE id = ?", [visit_id])
    return {
        "id": row["id"],
        "client_id": row["client_id"],
        "assessor_id": row["assessor_id"],
        "started_at": row["started_at"],
        "plan": json.loads(row["plan"]),
        "program_version": row["program_version"],
        "journal": [plain_entry(each) for each in entries(db, visit_id)],
        "results": [
            {
                "id": each["id"],
                "computed_at": each["computed_at"],
                "sequence": each["sequence"],
                "result": json.loads(each["result"]),
            }
            for each in db.query(
                "SELECT * FROM results WHERE visit_id = ? ORDER BY sequence, computed_at, id",
                [visit_id],
            )
        ],
        "amendments": amendments_of(db, visit_id),
    }


def amendments_of(db: Database, visit_id: str) -> list[dict[str, Any]]:
    """The amendments of a visit by time and identifier."""
    found = []
    for row in db.query(
        "SELECT * FROM amendments WHERE visit_id = ? ORDER BY julianday(at), id", [visit_id]
    ):
        plain = {name: row[name] for name in _AMENDMENT}
        plain["follows"] = json.loads(plain["follows"])
        plain["after_sign_off"] = bool(plain["after_sign_off"])
        found.append(plain)
    return found


def _rows(db: Database, table: str) -> list[dict[str, Any]]:
    columns, order = _COLUMNS[table], _BY.get(table, "at, id")
    rows = db.query(f"SELECT {', '.join(columns)} FROM {table} ORDER BY {order}")
    found = [dict(row) for row in rows]
    for row in found:
        if "follows" in row:
            row["follows"] = json.loads(row["follows"])
        row |= {name: bool(row[name]) for name in _SHOWN if name in row}
    return found


def plain_entry(entry: Entry) -> dict[str, Any]:
    """One journal entry as a plain object."""
    return {
        "sequence": entry.sequence,
        "at": entry.at,
        "source": entry.source.value,
        "words": entry.words,
        "confidence": entry.confidence,
        "alternatives": [dict(each) for each in entry.alternatives],
        "intent": dict(entry.intent),
        "facts": [dict(each) for each in entry.facts],
        "readings": [
            {
                "number": each.number,
                "state": each.state.value,
                "site": each.site,
                "circuit": each.circuit,
                "value_tenths_mm": each.value_tenths_mm,
            }
            for each in entry.readings
        ],
    }


def entry_from_plain(plain: Mapping[str, Any]) -> Entry:
    """The journal entry that `plain_entry` made a plain object of. Raises what is missing."""
    return Entry(
        sequence=plain["sequence"],
        at=plain["at"],
        source=Source(plain["source"]),
        words=plain["words"],
        confidence=plain["confidence"],
        alternatives=tuple(plain["alternatives"]),
        intent=plain["intent"],
        facts=tuple(plain["facts"]),
        readings=tuple(map(reading_fact, plain["readings"])),
    )


def light_visits(db: Database, visit_ids: Sequence[str]) -> Iterator[dict[str, Any]]:
    """Many visits as plain objects, in the order given, without intents and results."""
    for start in range(0, len(visit_ids), CHUNK):
        with db.atomic():  # one moment for all tables
            found = _light(db, list(visit_ids[start : start + CHUNK]))
        yield from found


def _light(db: Database, wanted: list[str]) -> list[dict[str, Any]]:
    marks = ", ".join("?" for _ in wanted)
    heads = {
        row["id"]: row for row in db.query(f"SELECT * FROM visits WHERE id IN ({marks})", wanted)
    }
    facts: dict[tuple[str, int], list[dict[str, Any]]] = {}
    for visit_id, sequence, *fact in db.execute(
        f"SELECT visit_id, sequence, {', '.join(_FACT)} FROM reading_facts"
        f" WHERE visit_id IN ({marks}) ORDER BY visit_id, sequence, position",
        wanted,
    ):
        plain = dict(zip(_FACT, fact, strict=True))
        facts.setdefault((visit_id, sequence), []).append(plain)
    journals: dict[str, list[dict[str, Any]]] = {}
    entries = db.execute(
        f"SELECT visit_id, {', '.join(_ENTRY)}, alternatives, facts FROM journal"
        f" WHERE visit_id IN ({marks}) ORDER BY visit_id, sequence",
        wanted,
    ).fetchall()
    # Read as one array each: a parser that is begun for each entry takes longer than it reads.
    alternatives, told = (_parsed([entry[place] for entry in entries]) for place in (-2, -1))
    for number, (visit_id, *entry, _, _) in enumerate(entries):
        plain = dict(zip(_ENTRY, entry, strict=True))
        plain["alternatives"], plain["facts"] = alternatives[number], told[number]
        plain["readings"] = facts.get((visit_id, plain["sequence"]), [])
        journals.setdefault(visit_id, []).append(plain)
    amended = {
        row[0]
        for row in db.execute(
            f"SELECT DISTINCT visit_id FROM amendments WHERE visit_id IN ({marks})", wanted
        )
    }
    return [
        {
            **heads[visit_id],
            "plan": json.loads(heads[visit_id]["plan"]),
            "journal": journals.get(visit_id, []),
            "results": [],
            "amendments": amendments_of(db, visit_id) if visit_id in amended else [],
        }
        for visit_id in wanted
    ]


_FACT = ("number", "state", "site", "circuit", "value_tenths_mm")
_ENTRY = ("sequence", "at", "source", "words", "confidence")


def _parsed(texts: list[str]) -> list[list[dict[str, Any]]]:
    """So many JSON arrays."""
    found: list[list[dict[str, Any]]] = json.loads(f"[{','.join(texts)}]")
    return found
