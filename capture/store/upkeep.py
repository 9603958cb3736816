"""Looking the store over, and copying it so that the copy is whole."""

import os
import sqlite3
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path

from sqlite_utils import Database

from capture.store.errors import LOW_BYTE, StoreError, told_plainly
from capture.store.place import make_file

_TABLES = (
    "clients",
    "assessors",
    "visits",
    "journal",
    "reading_facts",
    "results",
    "amendments",
    "client_edits",
    "client_links",
    "people",
    "tombstones",
)


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


def _damage(db: Database) -> tuple[str, ...]:
    try:
        rows = db.execute("PRAGMA integrity_check").fetchall()
    except sqlite3.DatabaseError as error:
        if error.sqlite_errorcode & LOW_BYTE != sqlite3.SQLITE_CORRUPT:
            raise
        return (str(error),)  # too damaged even to be looked over
    return tuple(line for (line,) in rows if line != "ok")


def backup(db: Database, target: Path) -> Path:
    """Copy the store as it stands now into a new file; return the file's absolute path.

    The copy is owner-only, on disk, opened again and looked over before it gets its name.
    Copying the store's file alone would lose what still lies in its `-wal`. Raises `StoreError`
    if the file exists, cannot be written or does not hold what the store holds.
    """
    target = target.resolve()
    part = target.with_name(target.name + ".part")
    with told_plainly(target):
        _claim(target)
        try:
            _claim(part)
            try:
                before = _counts(db)
                db.execute("VACUUM INTO ?", [str(part)])
                _verify(part, before)
                _sync(part)
                part.replace(target)
            except BaseException:
                part.unlink(missing_ok=True)
                raise
        except BaseException:
            target.unlink(missing_ok=True)
            raise
        _sync(target.parent)
    return target


def _claim(path: Path) -> None:
    try:
        make_file(path, must_be_new=True)
    except FileExistsError as error:
        raise StoreError(
            "There is a file already where the backup should go.",
            f"Give a new name, or remove {path} yourself.",
        ) from error


def _verify(part: Path, before: Mapping[str, int]) -> None:
    """Check the copy; rows may have been added while it was made, but none may lack."""
    with closing(sqlite3.connect(f"{part.as_uri()}?mode=ro", uri=True)) as connection:
        copy = Database(connection, execute_plugins=False)
        after = _counts(copy)
        if problems(copy) or any(after[table] < count for table, count in before.items()):
            raise StoreError(
                "The backup does not hold what the store holds; it was removed.",
                "Try another disk, and check the store.",
            )


def _counts(db: Database) -> dict[str, int]:
    return {table: db.table(table).count for table in _TABLES}


def _sync(path: Path) -> None:
    """Bring a file or folder to the disk. Windows has no such thing for a folder."""
    if path.is_dir() and os.name != "posix":
        return
    descriptor = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
