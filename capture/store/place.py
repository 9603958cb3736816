"""Where the store lies, and that only its owner can read it.

On POSIX the file gets mode 0600 and every folder made for it 0700, whatever the umask is.
SQLite gives the files it makes beside the store (`-wal`, `-shm`, `-journal`) the mode of the
store itself. On Windows the modes mean nothing; there the user's own data folder is what keeps
others out.
"""

import os
from contextlib import suppress
from pathlib import Path

import platformdirs

from capture.store.errors import StoreError, not_writable

FILE_MODE = 0o600
FOLDER_MODE = 0o700
VARIABLE = "FOLDCALL_STORE"
"""The environment variable that names the store's file."""

SIDE_FILES = ("-wal", "-shm", "-journal")
"""What the names of the files end in that SQLite keeps beside the store."""

_OTHERS = 0o077
"""The permission bits of group and others."""


def default_store_path() -> Path:
    """Say where the store lies when the person names no place. Nothing is made or opened.

    The environment variable FOLDCALL_STORE comes first, if it is set and not blank; otherwise
    `foldcall.db` in the platform's own data folder for this user.
    """
    named = os.environ.get(VARIABLE, "").strip()
    if named:
        return Path(named).expanduser()
    return platformdirs.user_data_path("foldcall", appauthor=False) / "foldcall.db"


def prepare(path: Path, *, create: bool) -> Path:
    """Make the store's place ready and owner-only; return its absolute path without links.

    With `create` a missing folder and an empty file are made. A file that others may read is
    closed to them, and so are the files beside it. Raises `StoreError` if the path is a folder or a
    device, if there is no store and none may be made, or if the file stays open to others;
    `OSError` if the folder or the file cannot be made.
    """
    path = path.resolve()
    if path.is_dir():
        raise StoreError(
            "The path given for the store is a folder.",
            f"Name a file in it, such as {path / 'foldcall.db'}.",
        )
    if not path.exists():
        if not create:
            raise no_store(path)
        make_folder(path.parent)
        make_file(path)
    elif not path.is_file():
        # A device, such as /dev/null: closing it to others would harm the whole machine.
        raise StoreError("The path given for the store is no file.", "Name another path.")
    for name in (path.name, *(path.name + suffix for suffix in SIDE_FILES)):
        _close_to_others(path.with_name(name))
    return path


def no_store(path: Path) -> StoreError:
    """Say that there is nothing at this path to open."""
    return StoreError("There is no store at the path given.", f"Check the path {path}.")


def make_folder(folder: Path) -> None:
    """Make a folder and those above it that are missing, each for its owner only.

    A folder that exists is left as it is: it may be one that others rightly use.
    """
    if folder.is_dir():
        return
    make_folder(folder.parent)
    try:
        folder.mkdir(mode=FOLDER_MODE)
    except FileExistsError:
        if not folder.is_dir():
            raise
        return  # another program has just made it
    folder.chmod(FOLDER_MODE)  # a umask may have taken the owner's own rights
    with suppress(OSError):  # a folder that we may not read, or a disk that cannot do this
        sync(folder.parent)  # SQLite brings the folder's own entries to the disk, not the folder


def make_file(path: Path, *, must_be_new: bool = False) -> None:
    """Make an empty file for its owner only, before anything is written to it.

    If it exists meanwhile, that is an error only with `must_be_new` (`FileExistsError`).
    The file is closed again before SQLite opens it: closing it later would lose SQLite's locks.
    """
    try:
        descriptor = os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, FILE_MODE)
    except FileExistsError:
        if must_be_new:
            raise
        return
    os.close(descriptor)
    with suppress(PermissionError):  # a disk that keeps no permissions, such as a memory stick
        path.chmod(FILE_MODE)  # a umask may have taken the owner's own rights


def sync(path: Path) -> None:
    """Bring a file or folder to the disk. Windows has no such thing for a folder."""
    if path.is_dir() and os.name != "posix":
        return
    descriptor = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def identity(path: Path) -> tuple[int, int]:
    """Tell a file from another that takes its name: its device and inode.

    Raises `OSError` if there is none.
    """
    status = path.stat()
    return status.st_dev, status.st_ino


def _close_to_others(path: Path) -> None:
    if os.name != "posix":
        return
    try:
        if path.stat().st_mode & _OTHERS:
            path.chmod(FILE_MODE)
    except FileNotFoundError:
        return
    except PermissionError as error:
        told = not_writable(path)
        raise StoreError("The store can be read by other users.", told.hint) from error
