"""One door to the database: opened with the settings that keep readings, each read back.

SQLite keeps most of these settings per connection and forgets a wrong one in silence, so each
is read back and compared.
"""

import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import MappingProxyType

from sqlite_utils import Database

from capture.store.cipher import Passphrase, is_encrypted, locked, open_encrypted
from capture.store.errors import StoreError, database_errors

OLDEST_SQLITE = (3, 38, 0)
"""STRICT tables came with SQLite 3.37.0, JSON functions in every build with 3.38.0."""

BUSY_TIMEOUT_MS = 3_000
"""How long we wait for another program, in milliseconds. One append holds the store for a few."""

SETTINGS = MappingProxyType(
    {
        "foreign_keys": 1,  # off unless asked for, on every connection
        "synchronous": 2,  # FULL: a commit in WAL mode reaches the disk before it returns
        "fullfsync": 1,  # on macOS a plain fsync stops short of the disk
        "checkpoint_fullfsync": 1,
        "trusted_schema": 0,  # a file from elsewhere must not run functions of ours
        "secure_delete": 1,  # what is removed is overwritten
        "temp_store": 2,  # MEMORY: no names in temporary files
        "recursive_triggers": 1,  # INSERT OR REPLACE, too, runs the triggers on DELETE
    }
)
"""PRAGMAs of a connection, and the values they read back as."""

CHUNK = 400
"""Rows asked for at once by identifier; SQLite takes 999 values in one statement everywhere."""

_WAL_RETRY_SECONDS = 0.02


def connect(
    path: Path, busy_timeout_ms: int = BUSY_TIMEOUT_MS, passphrase: Passphrase | None = None
) -> Database:
    """Open an existing file, with every setting that writes nothing to it.

    With a passphrase the file is encrypted, or is empty and will be. Raises `StoreError` if
    SQLite is too old or keeps a setting to itself, `StoreLockedError` if the file is encrypted
    and the passphrase missing or wrong, `sqlite3.Error` if SQLite cannot open the file. Whether
    it is a store of ours is for the caller to look at before anything is written.
    """
    if sqlite3.sqlite_version_info < OLDEST_SQLITE:
        raise StoreError(
            f"The SQLite of this Python is too old ({sqlite3.sqlite_version}).",
            f"Use a Python with SQLite {'.'.join(map(str, OLDEST_SQLITE))} or newer.",
        )
    if passphrase is not None:
        connection = open_encrypted(path, passphrase, busy_timeout_ms)
    elif is_encrypted(path):
        raise locked()
    else:
        connection = _raw_connection(path, busy_timeout_ms)
    try:
        # Plugins of sqlite-utils belong to its own command line, not to a store of readings.
        db = Database(connection, execute_plugins=False, strict=True)
        for name, value in SETTINGS.items():
            db.execute(f"PRAGMA {name} = {value}")
            _expect(db, name, value)
        _expect(db, "busy_timeout", busy_timeout_ms)
    except BaseException:
        connection.close()
        raise
    return db


def use_write_ahead_log(db: Database, busy_timeout_ms: int = BUSY_TIMEOUT_MS) -> None:
    """Turn on the write-ahead log and prove that the file can be written.

    Two programs that open a new store at once collide here, and SQLite does not wait then, so we
    do. Raises `sqlite3.OperationalError` if the file cannot be written or stays locked.
    """
    give_up = time.monotonic() + busy_timeout_ms / 1_000
    while True:
        try:
            db.execute("PRAGMA journal_mode = WAL")
            break
        except database_errors("OperationalError") as error:
            busy = getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_BUSY
            if not busy or time.monotonic() >= give_up:
                raise
            time.sleep(_WAL_RETRY_SECONDS)
    _expect(db, "journal_mode", "wal")
    _prove_writable(db)


@contextmanager
def writing(db: Database) -> Iterator[None]:
    """Make the block one transaction: all of it is saved, or none.

    The right to write is taken at the start. A transaction that first reads and then writes is
    refused at once, without waiting, when another program wrote in between; this one waits.
    """
    db.execute("BEGIN IMMEDIATE")
    try:
        yield
        db.commit()
    except BaseException:
        db.rollback()
        raise


def pragma(db: Database, name: str) -> object:
    """Read one PRAGMA of this connection."""
    row = db.execute(f"PRAGMA {name}").fetchone()
    return None if row is None else row[0]


def _prove_writable(db: Database) -> None:
    """Write into the file and take it back: a read-only file lets a transaction begin."""
    db.execute("BEGIN IMMEDIATE")
    try:
        db.execute("PRAGMA user_version = 1")
    finally:
        db.rollback()


def _raw_connection(path: Path, busy_timeout_ms: int) -> sqlite3.Connection:
    """Open the file, which must exist: a file that SQLite makes itself follows the umask."""
    return sqlite3.connect(
        f"{path.as_uri()}?mode=rw",
        uri=True,
        timeout=busy_timeout_ms / 1_000,
        isolation_level=None,  # transactions begin where we say so
    )


def _expect(db: Database, name: str, value: object) -> None:
    found = pragma(db, name)
    if found != value:
        raise StoreError(
            f"SQLite does not keep the setting {name}: {found} instead of {value}.",
            "Use another build of SQLite, or keep the store on a local disk.",
        )
