"""The append-only journal of a visit: what was heard or keyed, and what came of it."""

import json
from collections.abc import Mapping
from typing import Any
from uuid import UUID, uuid5

from sqlite_utils import Database

from capture.store.errors import StoreError
from capture.store.rows import as_share, as_text, as_whole, to_json
from capture.store.visits import unknown_visit
from capture.visit.entry import Entry, ReadingFact, ReadingState, Source


def reading_id(visit_id: str, number: int) -> str:
    """Name one reading among those of all visits and stations: UUID 5 of visit and number."""
    return str(uuid5(UUID(visit_id), str(number)))


def append(db: Database, visit_id: str, entry: Entry) -> None:
    """Save an entry and its reading facts, inside the caller's transaction.

    Raises `StoreError` if the entry does not follow the last one, the visit is unknown or a
    value cannot be kept; then nothing of the entry is saved.
    """
    _must_follow(db, visit_id, entry.sequence)
    db.execute(
        "INSERT INTO journal (visit_id, sequence, at, source, words, confidence,"
        " alternatives, intent, facts) VALUES (:visit_id, :sequence, :at, :source, :words,"
        " :confidence, :alternatives, :intent, :facts)",
        _journal_row(visit_id, entry),
    )
    for position, fact in enumerate(entry.readings):
        db.execute(
            "INSERT INTO reading_facts (visit_id, sequence, position, number, reading_id,"
            " state, site, circuit, value_tenths_mm) VALUES (:visit_id, :sequence,"
            " :position, :number, :reading_id, :state, :site, :circuit, :value_tenths_mm)",
            _fact_row(visit_id, entry.sequence, position, fact),
        )


def entries(db: Database, visit_id: str) -> list[Entry]:
    """Read the journal of a visit in order, equal to what was appended.

    Raises `StoreError` if the visit is unknown.
    """
    with db.atomic():  # one moment for both tables
        if not _exists(db, visit_id):
            raise unknown_visit()
        facts: dict[int, list[ReadingFact]] = {}
        for row in db.query(
            "SELECT * FROM reading_facts WHERE visit_id = ? ORDER BY sequence, position",
            [visit_id],
        ):
            facts.setdefault(row["sequence"], []).append(reading_fact(row))
        return [
            _entry(row, tuple(facts.get(row["sequence"], ())))
            for row in db.query(
                "SELECT * FROM journal WHERE visit_id = ? ORDER BY sequence", [visit_id]
            )
        ]


def _must_follow(db: Database, visit_id: str, sequence: int) -> None:
    if not _exists(db, visit_id):
        raise unknown_visit()
    (last,) = db.execute(
        "SELECT coalesce(max(sequence), 0) FROM journal WHERE visit_id = ?", [visit_id]
    ).fetchone()
    if sequence != last + 1:
        raise StoreError(
            f"Entry {sequence} does not follow entry {last}, the last one of the visit.",
            "Another program may have the visit open. Read the visit again; nothing was saved.",
        )


def _exists(db: Database, visit_id: str) -> bool:
    return db.execute("SELECT 1 FROM visits WHERE id = ?", [visit_id]).fetchone() is not None


def _journal_row(visit_id: str, entry: Entry) -> dict[str, Any]:
    return {
        "visit_id": visit_id,
        "sequence": as_whole(entry.sequence, "sequence"),
        "at": as_text(entry.at, "time"),
        "source": as_text(entry.source, "source"),
        "words": as_text(entry.words, "words"),
        "confidence": as_share(entry.confidence, "confidence"),
        "alternatives": to_json(list(entry.alternatives), "alternatives"),
        "intent": to_json(entry.intent, "intent"),
        "facts": to_json(list(entry.facts), "facts"),
    }


def _fact_row(visit_id: str, sequence: int, position: int, fact: ReadingFact) -> dict[str, Any]:
    return {
        "visit_id": visit_id,
        "sequence": sequence,
        "position": position,
        "number": as_whole(fact.number, "number of the reading"),
        "reading_id": reading_id(visit_id, fact.number),
        "state": as_text(fact.state, "state"),
        "site": as_text(fact.site, "site"),
        "circuit": as_whole(fact.circuit, "circuit"),
        "value_tenths_mm": as_whole(fact.value_tenths_mm, "value"),
    }


def reading_fact(row: Mapping[str, Any]) -> ReadingFact:
    """A reading fact from its row, or from a plain object of the same names."""
    return ReadingFact(
        number=row["number"],
        state=ReadingState(row["state"]),
        site=row["site"],
        circuit=row["circuit"],
        value_tenths_mm=row["value_tenths_mm"],
    )


def _entry(row: dict[str, Any], readings: tuple[ReadingFact, ...]) -> Entry:
    return Entry(
        sequence=row["sequence"],
        at=row["at"],
        source=Source(row["source"]),
        words=row["words"],
        confidence=row["confidence"],
        alternatives=tuple(json.loads(row["alternatives"])),
        intent=json.loads(row["intent"]),
        facts=tuple(json.loads(row["facts"])),
        readings=readings,
    )
