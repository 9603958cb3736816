"""Putting a backup in the store's place; the store as it was stays beside it, under another name.

The backup is looked over, copied and read again before anything is touched. Whatever stops this,
a whole store lies under its own name: the old one, or the new one.
"""

import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from capture.store import connection, erasing
from capture.store.backups import Held, backup, look_over, opened
from capture.store.cipher import Passphrase, is_encrypted
from capture.store.errors import (
    StoreBusyError,
    StoreError,
    StoreLockedError,
    database_errors,
    from_sqlite,
    told_plainly,
)
from capture.store.place import SIDE_FILES, make_folder, sync
from capture.store.store import open_store

if sys.platform != "win32":
    import fcntl

RESTORED = ".restored"
"""What the name of the copy ends in before it takes the store's."""

_LOCK_FROM, _LOCK_BYTES = 0x40000000, 512
"""Where every program that has a store open holds a lock: see SQLite's file format, "lock-byte
page". So it can be asked also of a store that cannot be read."""


@dataclass(frozen=True, slots=True)
class Restored:
    """What the store holds now, and where it lies as it was.

    `erased` counts the clients of the backup who had been erased from the store since, and are
    erased from the backup's copy too; None if the store as it was could not be read.
    """

    held: Held
    aside: Path | None
    erased: int | None


def restore(
    source: Path, path: Path, passphrase: Passphrase | None, *, stamp: str, at: str
) -> Restored:
    """Put a backup in the place of the store at `path`, which need not be there.

    `passphrase` is the backup's. The store as it was is named by `stamp`. Raises `StoreError` if
    the backup is damaged, the store is in use, a file of such a name is there already, or no room
    is left; then the store is as it was.
    """
    source, path = source.resolve(), path.resolve()
    look_over(source, None if passphrase is None else lambda: passphrase)
    if source == path:
        raise StoreError("That is the store itself.", "Name a backup of it.")
    if path.is_dir():
        raise StoreError("The path given for the store is a folder.", "Name a file in it.")
    written = path.with_name(path.name + RESTORED)
    aside = path.with_name(f"{path.stem}-before-restore-{stamp}{path.suffix}")
    with told_plainly(path):
        make_folder(path.parent)
        buried = _folded(path, passphrase) if path.exists() else []
        with closing(opened(source, passphrase, read_only=True)) as db:
            backup(db, written, passphrase)
        try:
            erased = None if buried is None else _erase_again(written, passphrase, buried, at)
            held = look_over(written, None if passphrase is None else lambda: passphrase)
            is_there = path.exists()
            if is_there:
                with _unused(path):
                    _exchange(path, written, aside)
            else:
                written.replace(path)
                sync(path.parent)
        except BaseException:
            written.unlink(missing_ok=True)
            raise
    return Restored(replace(held, path=path), aside if is_there else None, erased)


def _folded(path: Path, passphrase: Passphrase | None) -> list[dict[str, Any]] | None:
    """Fold the store's log into its file, and tell who was erased; None if it cannot be read.

    Raises `StoreBusyError` if another program has it open.
    """
    key = passphrase if is_encrypted(path) else None
    try:
        # For reading first: SQLite may remove the log of a file whose head it cannot read.
        with closing(opened(path, key, read_only=True)) as db:
            known = "tombstones" in db.table_names()
            buried = list(db.query("SELECT * FROM tombstones")) if known else []
        with closing(opened(path, key, read_only=False)) as db:
            # SQLite leaves the write-ahead log only for who is alone with the file.
            if connection.pragma(db, "journal_mode = DELETE") != "delete":
                raise _in_use()
        return buried
    except StoreLockedError:
        return None
    except database_errors() as error:
        told = from_sqlite(error, path)
        if isinstance(told, StoreBusyError):
            raise told from error
        return None


def _erase_again(
    written: Path, passphrase: Passphrase | None, buried: Sequence[dict[str, Any]], at: str
) -> int:
    """Erase from the copy who was erased from the store since; how many."""
    if not buried:
        return 0
    with open_store(written, create=False, passphrase=passphrase) as store:
        marks = ", ".join("?" for _ in buried)
        rows = store.db.execute(
            f"SELECT id FROM clients WHERE id IN ({marks})", [row["client_id"] for row in buried]
        )
        gone = [client_id for (client_id,) in rows.fetchall()]
        if gone:
            erasing.erase(store.db, gone, at)
        nobody: dict[str, list[dict[str, Any]]] = {
            name: [] for name in ("clients", "assessors", "client_edits", "client_links")
        }
        people = {**nobody, "tombstones": list(buried)}
        store.join(people, [], named="the store", refuse_conflicts=True)
    _folded(written, passphrase)
    return len(gone)


@contextmanager
def _unused(path: Path) -> Iterator[None]:
    """Keep every other program away from the file. Raises `StoreBusyError` if one has it open.

    Windows needs no lock: it does not rename what is open.
    """
    if sys.platform == "win32":
        yield
        return
    number = os.open(path, os.O_RDWR)
    try:
        try:
            fcntl.lockf(number, fcntl.LOCK_EX | fcntl.LOCK_NB, _LOCK_BYTES, _LOCK_FROM)
        except OSError as error:
            raise _in_use() from error
        yield
    finally:
        os.close(number)


def _exchange(path: Path, written: Path, aside: Path) -> None:
    """Give the store as it was another name, with the files beside it, and the copy its name.

    With links there is a whole store under its own name at any instant. A log that could not be
    folded must not lie beside the new file: it would be taken for its own.
    """
    beside = [name for name in SIDE_FILES if path.with_name(path.name + name).exists()]
    for name in ("", *beside):
        if aside.with_name(aside.name + name).exists():
            raise StoreError(
                "There is a file already where the store as it was should go.", f"Move {aside}."
            )
    try:
        os.link(path, aside)
    except OSError:  # a disk without links
        path.replace(aside)
    moved = []
    try:
        for name in beside:
            path.with_name(path.name + name).replace(aside.with_name(aside.name + name))
            moved.append(name)
        sync(path.parent)
        written.replace(path)
    except OSError:
        with suppress(OSError):
            for name in moved:
                aside.with_name(aside.name + name).replace(path.with_name(path.name + name))
            aside.replace(path)
            aside.unlink(missing_ok=True)  # two links to one file: renaming does nothing
        raise
    sync(path.parent)


def _in_use() -> StoreBusyError:
    return StoreBusyError(
        "The store is in use by another program.", "Close it, then try again. Nothing was changed."
    )
