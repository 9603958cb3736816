"""Finds visits by what is known of them, without reading their journals."""

from typing import Any

from sqlite_utils import Database


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
