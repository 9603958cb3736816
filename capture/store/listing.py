"""Finds visits by what is known of them, without reading their journals."""

from collections.abc import Collection
from typing import Any

from sqlite_utils import Database

SOUND_DAYS = 14
"""Kept sound goes after so many days even if nobody signs the visit off. Own choice, no source."""


def of_clients(db: Database, client_ids: Collection[str]) -> list[str]:
    """The visits of these clients."""
    marks = ", ".join("?" for _ in client_ids)
    return _ids(db, f"SELECT id FROM visits WHERE client_id IN ({marks})", list(client_ids))


def sound_wanted(db: Database, visit_ids: Collection[str], at: str) -> list[str]:
    """Those of some visits that may still have kept sound at this time."""
    found = []
    for visit_id in visit_ids:
        found += _ids(
            db,
            "SELECT id FROM visits WHERE id = ? AND julianday(started_at) > julianday(?) - ?"
            " AND NOT EXISTS (SELECT 1 FROM amendments WHERE amendments.visit_id = visits.id"
            " AND amendments.kind = 'signed_off')",
            [visit_id, at, SOUND_DAYS],
        )
    return found


def newest(db: Database) -> str | None:
    """The visit that began last, None if there is none."""
    row = db.execute(
        "SELECT id FROM visits ORDER BY julianday(started_at) DESC, rowid DESC LIMIT 1"
    ).fetchone()
    return None if row is None else str(row[0])


def beginning(db: Database, start: str) -> list[str]:
    """The visits whose identifier begins so; none for an empty beginning."""
    if not start or not set(start) <= set("0123456789abcdef-"):
        return []
    return _ids(db, "SELECT id FROM visits WHERE id GLOB ? ORDER BY id LIMIT 3", [f"{start}*"])


def counts(db: Database) -> list[dict[str, Any]]:
    """How often and when last each person was measured."""
    return list(
        db.query(
            "SELECT coalesce(people.person_id, visits.client_id) AS person, count(*) AS visits,"
            " max(substr(visits.started_at, 1, 10)) AS last FROM visits"
            " LEFT JOIN people ON people.client_id = visits.client_id GROUP BY 1"
        )
    )


def day_rows(db: Database, date: str | None, unsigned: bool) -> list[dict[str, Any]]:
    """The visits of a day (None: of all days), or those not signed off, the newest first.

    Each row has `visit_id`, `started_at`, `client`, `assessor`, `signed_off`, and `last_id`, the
    person's visit before this one.
    """
    where, given = [], []
    if date is not None:
        # Local days: the first ten letters are the assessor's own date, and they sort.
        where.append("visits.started_at >= ? AND visits.started_at < ?")
        given += [date, f"{date}~"]
    if unsigned:
        where.append("NOT signed_off")
    rows = db.query(
        f"{_DAY} WHERE {' AND '.join(where) or '1'} ORDER BY julianday(visits.started_at) DESC",
        given,
    )
    found = list(rows)
    if date is None:
        # For thousands of visits one look at all of them is quicker than one for each.
        last_ids = _last_of_all(db)
        return [{**row, "last_id": last_ids.get(row["visit_id"])} for row in found]
    for row in found:
        last = db.execute(_LAST, {"id": row["visit_id"], "person": row["person"]}).fetchone()
        row["last_id"] = None if last is None else last[0]
    return found


def _last_of_all(db: Database) -> dict[str, str]:
    """For each visit the one before it of the same person, as `_LAST` finds it."""
    found: dict[str, str] = {}
    newest: dict[str, tuple[float, str, str | None]] = {}
    for visit_id, person, began in db.execute(
        "SELECT visits.id, coalesce(people.person_id, visits.client_id), julianday(started_at)"
        " FROM visits LEFT JOIN people ON people.client_id = visits.client_id ORDER BY 3"
    ):
        last_began, last_id, before_it = newest.get(person, (0.0, "", None))
        # Two visits that began at the same moment have the same one before them.
        before = before_it if began == last_began else last_id or None
        if before is not None:
            found[visit_id] = before
        newest[person] = (began, visit_id, before)
    return found


_SIGNED = """
    (EXISTS (SELECT 1 FROM journal WHERE journal.visit_id = visits.id
        AND instr(journal.facts, '"signed_off"') > 0)
    OR EXISTS (SELECT 1 FROM amendments WHERE amendments.visit_id = visits.id
        AND amendments.kind = 'signed_off'))
"""
_DAY = f"""
    SELECT visits.id AS visit_id, visits.started_at, clients.id AS person,
        clients.name AS client, assessors.name AS assessor, {_SIGNED} AS signed_off
    FROM visits
    LEFT JOIN people ON people.client_id = visits.client_id
    JOIN clients ON clients.id = coalesce(people.person_id, visits.client_id)
    JOIN assessors ON assessors.id = visits.assessor_id
"""
_LAST = """
    SELECT earlier.id FROM visits AS earlier, visits AS present
    WHERE present.id = :id AND earlier.id <> :id
    AND (earlier.client_id = :person OR earlier.client_id IN
        (SELECT client_id FROM people WHERE person_id = :person))
    AND julianday(earlier.started_at) < julianday(present.started_at)
    ORDER BY julianday(earlier.started_at) DESC LIMIT 1
"""


def before(db: Database, client_id: str, at: str, most: int) -> list[str]:
    """A person's visits up to a time, the newest first."""
    return _ids(
        db,
        "SELECT visits.id FROM visits LEFT JOIN people ON people.client_id = visits.client_id"
        " WHERE (visits.client_id = ? OR people.person_id = ?)"
        " AND julianday(started_at) <= julianday(?)"
        " ORDER BY julianday(started_at) DESC, visits.rowid DESC LIMIT ?",
        [client_id, client_id, at, most],
    )


def latest_of(db: Database, assessor_id: str, most: int) -> list[str]:
    """An assessor's latest visits, the newest first."""
    return _ids(
        db,
        "SELECT id FROM visits WHERE assessor_id = ?"
        " ORDER BY julianday(started_at) DESC, rowid DESC LIMIT ?",
        [assessor_id, most],
    )


def _ids(db: Database, question: str, given: list[object]) -> list[str]:
    return [row[0] for row in db.execute(question, given)]
