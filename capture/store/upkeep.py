"""Looking the store over: whether SQLite and we find it sound, and how much it holds."""

import hashlib
import sqlite3

from sqlite_utils import Database

from capture.store.errors import database_errors, primary_code


def problems(db: Database) -> tuple[str, ...]:
    """Look the whole store over; return one line a problem, none for a sound store.

    SQLite checks its pages, indexes, types, CHECKs and foreign keys; we check that no journal
    has a gap. The lines name tables and rows, not people. Once SQLite finds something wrong,
    the rest is not asked.
    """
    damage = _damage(db)
    if damage:
        return damage
    lines = [
        f"row {row} of {table} refers to a row of {parent} that is missing"
        for table, row, parent, _ in db.execute("PRAGMA foreign_key_check")
    ]
    lines += [
        f"the journal of visit {visit_id} has a gap"
        for (visit_id,) in db.execute(
            "SELECT visit_id FROM journal GROUP BY visit_id"
            " HAVING min(sequence) <> 1 OR max(sequence) <> count(*)"
        )
    ]
    return tuple(lines)


def contents(db: Database) -> dict[str, tuple[int, str]]:
    """For each table the number of its rows and a digest of all that is in them, in their order."""
    names = db.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT GLOB 'sqlite_*'"
    ).fetchall()
    found = {}
    for (name,) in names:
        count, digest = 0, hashlib.sha256()
        for row in db.execute(f"SELECT * FROM [{name}]"):
            digest.update(repr(row).encode("utf-8", "surrogatepass"))
            count += 1
        found[str(name)] = count, digest.hexdigest()
    return found


def _damage(db: Database) -> tuple[str, ...]:
    try:
        rows = db.execute("PRAGMA integrity_check").fetchall()
    except database_errors("DatabaseError") as error:
        if primary_code(error) != sqlite3.SQLITE_CORRUPT:
            raise
        return (str(error),)  # too damaged even to be looked over
    return tuple(line for (line,) in rows if line != "ok")
