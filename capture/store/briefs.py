"""Kept briefs of visits: worked out by the report, kept here, gone when their visit changes."""

import json
from collections.abc import Iterable, Sequence
from typing import Any

from sqlite_utils import Database

from capture.store.connection import CHUNK, writing
from capture.visit.entry import Plain


def kept(db: Database, rules: int, visit_ids: Sequence[str]) -> dict[str, Any]:
    """The kept briefs of these visits that were made by these rules."""
    found: dict[str, Any] = {}
    for start in range(0, len(visit_ids), CHUNK):
        wanted = visit_ids[start : start + CHUNK]
        marks = ", ".join("?" for _ in wanted)
        rows = db.execute(
            f"SELECT visit_id, brief FROM briefs WHERE rules = ? AND visit_id IN ({marks})",
            [rules, *wanted],
        ).fetchall()
        # Read as one array: names that all of them have are then made once.
        briefs = json.loads(f"[{','.join(brief for _, brief in rows)}]")
        found.update(zip((visit_id for visit_id, _ in rows), briefs, strict=True))
    return found


def keep(db: Database, rules: int, briefs: Iterable[tuple[str, int, int, Plain]]) -> None:
    """Keep briefs, each with its visit and how many entries and amendments it was made of.

    One whose visit has more by now is passed over: it would tell of what was.
    """
    with writing(db):
        for visit_id, entries, amendments, brief in briefs:
            db.execute("DELETE FROM briefs WHERE visit_id = ?", [visit_id])
            db.execute(
                "INSERT INTO briefs (visit_id, rules, brief) SELECT id, ?, ? FROM visits"
                " WHERE id = ? AND ? = (SELECT count(*) FROM journal WHERE visit_id = visits.id)"
                " AND ? = (SELECT count(*) FROM amendments WHERE visit_id = visits.id)",
                [
                    rules,
                    json.dumps(brief, separators=(",", ":"), ensure_ascii=False),
                    visit_id,
                    entries,
                    amendments,
                ],
            )
