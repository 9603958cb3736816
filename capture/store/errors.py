"""What can go wrong with the store, in words for the person.

SQLite and the operating system report numbers and terse phrases; here they become a `StoreError`
that says what is wrong and what to do. The message holds no path and no name; a hint may hold
the path of the store.
"""

import errno
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from capture.errors import CaptureError


class StoreError(CaptureError):
    """The store cannot do what was asked. Whatever it held before, it still holds."""


class StoreUnusableError(StoreError):
    """The store cannot be read or written now; what it was given is not at fault."""


class StoreBusyError(StoreUnusableError):
    """Another program holds the store for longer than we wait. Asking again may succeed."""


class StoreLockedError(StoreError):
    """The store is encrypted, and its passphrase is missing or wrong."""


_LOW_BYTE = 0xFF
"""SQLite's primary result code is the low byte of the extended one."""

ENCRYPTING_BUILD = "sqlcipher3.dbapi2"
"""The module of the SQLite that encrypts. Its errors are no children of `sqlite3.Error`."""


def primary_code(error: Exception) -> int | None:
    """SQLite's primary result code of an error, None if it carries none."""
    code = getattr(error, "sqlite_errorcode", None)
    return None if code is None else code & _LOW_BYTE


def database_errors(name: str = "Error") -> tuple[type[Exception], ...]:
    """The error class of this name of SQLite, and of the build that encrypts if it is loaded."""
    loaded = [sqlite3, *(sys.modules[each] for each in (ENCRYPTING_BUILD,) if each in sys.modules)]
    return tuple(getattr(module, name) for module in loaded)


def from_sqlite(error: Exception, path: Path) -> StoreError | None:
    """Say an SQLite error plainly, or None if it is a fault of ours rather than of the store.

    `path` is the store's file. Errors that Python's own layer raises, such as use of a closed
    connection, carry no result code and are left alone.
    """
    match primary_code(error):
        case None:
            return None
        case sqlite3.SQLITE_BUSY | sqlite3.SQLITE_LOCKED:
            return StoreBusyError(
                "The store is in use by another program.",
                f"Close the other program that uses {path}, then try again. Nothing was changed.",
            )
        case sqlite3.SQLITE_FULL:
            return disk_full(path)
        case sqlite3.SQLITE_READONLY | sqlite3.SQLITE_PERM | sqlite3.SQLITE_CANTOPEN:
            return not_writable(path)
        case sqlite3.SQLITE_NOTADB:
            return StoreUnusableError(
                "The file is not a store: it is no SQLite database.",
                f"Check that {path} is the file you mean, or restore it from a backup.",
            )
        case sqlite3.SQLITE_CORRUPT:
            return StoreUnusableError(
                "The store is damaged.",
                f"Keep {path} and the files beside it as they are, and restore a backup.",
            )
        case sqlite3.SQLITE_IOERR:
            return StoreUnusableError(
                f"The disk failed while the store was in use ({_name_of(error)}).",
                f"Check the free space and the health of the disk that holds {path}.",
            )
        case sqlite3.SQLITE_CONSTRAINT:
            return StoreError(
                f"The store refused the record: {error}.",
                "Nothing of it was saved.",
            )
        case _:
            return StoreUnusableError(
                f"The store reported an error: {error}.",
                "Nothing was changed. Check the store, or restore a backup.",
            )


def _name_of(error: Exception) -> str:
    return str(getattr(error, "sqlite_errorname", "no name"))


def from_os(error: OSError, path: Path) -> StoreUnusableError:
    """Say an operating system error about the store's file or folder plainly."""
    match error.errno:
        case errno.ENOSPC | errno.EDQUOT:
            return disk_full(path)
        case errno.EACCES | errno.EPERM | errno.EROFS:
            return not_writable(path)
        case errno.ENOTDIR | errno.EEXIST:
            return StoreUnusableError(
                "The folder for the store cannot be made: a file is in its place.",
                f"Give another path than {path}.",
            )
        case errno.ENOENT:
            return StoreUnusableError(
                "The folder for the file does not exist.",
                f"Make {path.parent}, or give another path.",
            )
        case _:
            return StoreUnusableError(
                f"The file of the store cannot be used ({error.strerror}).",
                f"Check {path}.",
            )


def disk_full(path: Path) -> StoreUnusableError:
    """Say that no room is left; what was being written was taken back whole."""
    return StoreUnusableError(
        "The disk is full: nothing more can be saved.",
        f"Make room on the disk that holds {path}, then try again. What was saved stays saved.",
    )


def not_writable(path: Path) -> StoreUnusableError:
    """Say that this user may not write the store or its folder."""
    return StoreUnusableError(
        "The store cannot be written.",
        f"Give yourself the right to write {path} and its folder, or give another path.",
    )


@contextmanager
def told_plainly(path: Path) -> Iterator[None]:
    """Turn what SQLite and the operating system raise within the block into a `StoreError`."""
    try:
        yield
    except database_errors() as error:
        told = from_sqlite(error, path)
        if told is None:
            raise
        raise told from error
    except OSError as error:
        raise from_os(error, path) from error
