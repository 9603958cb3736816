"""Giving a whole store another key: plain to encrypted, encrypted to plain, or a new passphrase.

A new file is written and read again row by row before it takes the store's name; then the old
file is overwritten and removed. Whatever stops this, the store lies under its own name, whole.
"""

import os
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from sqlite_utils import Database

from capture.store import connection, place
from capture.store.backups import expect_same, fingerprint
from capture.store.cipher import Passphrase, open_encrypted, require
from capture.store.errors import StoreBusyError, StoreError, told_plainly
from capture.store.migrations import APPLICATION_ID
from capture.store.place import sync
from capture.store.store import open_store

NEW, OLD = ".new", ".old"
"""What the name of the file ends in that is being written, and of the one that is being removed."""

_AT_ONCE_BYTES = 1 << 20


def convert(path: Path, old: Passphrase | None, new: Passphrase | None) -> Path:
    """Encrypt the store with `new`, or leave it plain with None; `old` opens it as it is now.

    A store that is not there yet is made. Returns its path. Raises `StoreError` if the package
    that encrypts is missing, another program has the store open, it is damaged, an earlier
    conversion left a file, or no room is left; then the store is as it was.
    """
    require()
    # Opening it once makes it, or brings it up to this version.
    with open_store(path, passphrase=old) as store:
        path = store.path
        found = store.check()
    if found:
        raise StoreError(
            f"The store is damaged: {found[0]}.", "Nothing was changed. Restore a backup first."
        )
    written, left = path.with_name(path.name + NEW), path.with_name(path.name + OLD)
    for each in (written, left):
        if each.exists():
            raise StoreError(
                "An earlier conversion was interrupted and left a file beside the store.",
                f"The store itself is whole. Remove {each}, then try again.",
            )
    with told_plainly(path):
        place.make_file(written, must_be_new=True)
        try:
            with _alone(path, old) as db:
                expected = fingerprint(db)
                _write(db, written, new)
            sync(written)
            expect_same(written, new, expected)
            _swap(path, written, left)
        except BaseException:
            written.unlink(missing_ok=True)
            raise
        overwrite(left)
        sync(path.parent)
    return path


def overwrite(path: Path) -> None:
    """Write over every byte of a file once, bring that to the disk, and remove the file."""
    with path.open("r+b") as file:
        left = os.fstat(file.fileno()).st_size
        while left:
            part = min(left, _AT_ONCE_BYTES)
            file.write(bytes(part))
            left -= part
        file.flush()
        os.fsync(file.fileno())
    path.unlink()


@contextmanager
def _alone(path: Path, passphrase: Passphrase | None) -> Iterator[Database]:
    """Open the store so that no other program can, with its log folded into the one file.

    SQLite leaves the write-ahead log only for who is alone with the file.
    """
    timeout_ms = connection.BUSY_TIMEOUT_MS
    with closing(open_encrypted(path, passphrase, timeout_ms)) as raw:
        db = Database(raw, execute_plugins=False, strict=True)
        if connection.pragma(db, "journal_mode = DELETE") != "delete":
            raise StoreBusyError(
                "The store is in use by another program.", "Close it, then try again."
            )
        db.execute("PRAGMA locking_mode = EXCLUSIVE")
        # The lock is taken by the first transaction, and then kept until the file is closed.
        db.execute("BEGIN EXCLUSIVE")
        db.execute("COMMIT")
        yield db


def _write(db: Database, target: Path, passphrase: Passphrase | None) -> None:
    """Write all of the store into another file with another key."""
    key = "" if passphrase is None else passphrase.text
    db.execute("ATTACH DATABASE ? AS converted KEY ?", [str(target), key])
    try:
        db.execute("SELECT sqlcipher_export('converted')").fetchone()
        # The export leaves out what lies in the head of the file.
        db.execute(f"PRAGMA converted.application_id = {APPLICATION_ID}")
    finally:
        db.execute("DETACH DATABASE converted")


def _swap(path: Path, written: Path, left: Path) -> None:
    """Put the new file in the store's place; the old one gets another name.

    With links there is a whole store under its own name at any instant.
    """
    try:
        os.link(path, left)
    except OSError:  # a disk without links
        path.replace(left)
    written.replace(path)
    sync(path.parent)
