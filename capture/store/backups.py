"""Copying the store so that the copy is whole, and looking a copy over.

The copy is made by SQLite's online backup within one reading transaction: other programs go on
writing meanwhile, and what is compared afterwards is what the store held at one moment.
"""

import os
import sqlite3
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from sqlite_utils import Database

from capture.errors import CaptureError
from capture.store import journal, migrations, visits
from capture.store.cipher import Passphrase, is_encrypted, locked, open_encrypted
from capture.store.errors import StoreError, told_plainly
from capture.store.place import make_file, sync
from capture.store.upkeep import contents, problems
from capture.visit.replay import replay
from capture.visit.state import Plan, Visit

_MOST_TRIED = 20
"""Visits that are tried until one can be replayed; imported ones cannot."""

_TIMEOUT_MS = 3_000


@dataclass(frozen=True, slots=True)
class Held:
    """What a copy holds, found by reading it again."""

    path: Path
    counts: Mapping[str, int]
    last_at: str | None
    """The time of the last entry of any journal, None if there is none."""
    replayed: str | None
    """The latest visit that could be replayed, None if there is none."""
    is_private: bool
    """Whether only the owner can read the file; a disk without permissions keeps none."""


def backup(db: Database, target: Path, passphrase: Passphrase | None = None) -> Held:
    """Copy the store as it stands now into a new file, and say what the copy holds.

    The copy is owner-only, on disk, opened again and looked over before it gets its name. It is
    encrypted if a passphrase is given, which must be that of the store. Copying the store's file
    alone would lose what still lies in its `-wal`. Raises `StoreError` if the file exists, cannot
    be written or does not hold what the store holds.
    """
    target = target.resolve()
    with told_plainly(target):
        part = claim_part(target)
        try:
            with _one_moment(db):
                expected = fingerprint(db)
                with closing(opened(part, passphrase, read_only=False)) as copy:
                    db.conn.backup(copy.conn)
                    # One file without others beside it; an open store turns its log on again.
                    copy.execute("PRAGMA journal_mode = DELETE")
            sync(part)
            expect_same(part, passphrase, expected)
            publish(part, target)
        except BaseException:
            part.unlink(missing_ok=True)
            raise
    return _held(target, expected)


def look_over(path: Path, ask: Callable[[], Passphrase] | None = None) -> Held:
    """Open a backup (or a closed store) for reading only, and say what it holds.

    `ask` gives the passphrase of an encrypted one. Raises `StoreError` if it is damaged, is no
    store, was written by a newer version or is locked.
    """
    path = path.resolve()
    with told_plainly(path):
        if not path.exists():
            raise StoreError("There is no file at the path given.", f"Check the path {path}.")
        passphrase = None
        if is_encrypted(path):
            if ask is None:
                raise locked()
            passphrase = ask()
        with closing(opened(path, passphrase, read_only=True)) as copy:
            if migrations.is_empty(copy):
                raise StoreError("The file is empty: it is no backup.", f"Check the path {path}.")
            migrations.refuse_strangers(copy)
            found = problems(copy)
            if found:
                raise StoreError(f"The backup is damaged: {found[0]}.", "Take another one.")
            found_in_it = fingerprint(copy)
    return _held(path, found_in_it)


@dataclass(frozen=True, slots=True)
class Fingerprint:
    """What must be the same in the store and in its copy."""

    contents: Mapping[str, tuple[int, str]]
    last_at: str | None
    visit_id: str | None
    visit: Visit | None

    @property
    def counts(self) -> dict[str, int]:
        """The number of rows of each table."""
        return {table: count for table, (count, _) in self.contents.items()}


def fingerprint(db: Database) -> Fingerprint:
    """Read all of a store, and replay the latest visit that can be replayed."""
    row = db.execute("SELECT at FROM journal ORDER BY julianday(at) DESC LIMIT 1").fetchone()
    # A copy of an older version is brought up to this one when it is opened to be used.
    visit_id, visit = (None, None) if migrations.is_older(db) else _latest_replay(db)
    return Fingerprint(contents(db), None if row is None else str(row[0]), visit_id, visit)


def _latest_replay(db: Database) -> tuple[str | None, Visit | None]:
    latest = db.execute(
        "SELECT id FROM visits ORDER BY julianday(started_at) DESC, rowid DESC LIMIT ?",
        [_MOST_TRIED],
    ).fetchall()
    for (visit_id,) in latest:
        try:
            plan = Plan.from_plain(visits.visit(db, visit_id).plan)
            return str(visit_id), replay(plan, journal.entries(db, visit_id))
        except (CaptureError, KeyError, TypeError, ValueError):
            continue  # imported, or measured under other rules: it is read, not gone on with
    return None, None


@contextmanager
def _one_moment(db: Database) -> Iterator[None]:
    """One reading transaction: what others write meanwhile is not seen in it."""
    db.execute("BEGIN")
    try:
        yield
    finally:
        db.rollback()


def expect_same(part: Path, passphrase: Passphrase | None, expected: Fingerprint) -> None:
    """Read the copy again: sound, the same in every row, and a visit that leads to the same."""
    with closing(opened(part, passphrase, read_only=True)) as copy:
        found = None if problems(copy) else fingerprint(copy)
    if found != expected:
        raise StoreError(
            "The copy does not hold what the store holds; it was removed.",
            "Try another disk, and check the store.",
        )


def opened(path: Path, passphrase: Passphrase | None, *, read_only: bool) -> Database:
    """Open a file as it is: no setting is changed, nothing is made or brought up to date."""
    if passphrase is not None:
        connection = open_encrypted(path, passphrase, _TIMEOUT_MS, read_only=read_only)
    else:
        mode = "ro" if read_only else "rw"
        connection = sqlite3.connect(f"{path.as_uri()}?mode={mode}", uri=True, isolation_level=None)
    return Database(connection, execute_plugins=False, strict=True)


def claim_part(target: Path) -> Path:
    """Make an empty owner-only file beside the target, to be written and renamed when it is whole.

    Raises `StoreError` if either file is there already.
    """
    part = target.with_name(target.name + ".part")
    if target.exists():
        raise _taken(target)
    try:
        make_file(part, must_be_new=True)
    except FileExistsError as error:
        raise _taken(part) from error
    return part


def publish(part: Path, target: Path) -> None:
    """Give a finished file its name, on the disk, without ever replacing another file.

    Raises `StoreError` if a file has taken the name meanwhile.
    """
    try:
        try:
            os.link(part, target)
            part.unlink()
        except FileExistsError:
            raise
        except OSError:  # a disk without links, such as a memory stick
            make_file(target, must_be_new=True)
            part.replace(target)
    except FileExistsError as error:
        raise _taken(target) from error
    sync(target.parent)


def _taken(path: Path) -> StoreError:
    return StoreError(
        "There is a file already where the backup should go.",
        f"Give a new name, or remove {path} yourself.",
    )


def _held(path: Path, found: Fingerprint) -> Held:
    private = os.name != "posix" or not path.stat().st_mode & 0o077
    return Held(path, found.counts, found.last_at, found.visit_id, private)
