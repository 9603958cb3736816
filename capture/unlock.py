"""Opening a store whose passphrase somebody has to give. No other command asks for one.

The passphrase is typed at a prompt that does not show it, or is the first line of the file that
the environment names. It is never an argument and never itself in the environment: other programs
can read both.
"""

import getpass
import os
import stat
import warnings
from pathlib import Path

from capture.errors import CaptureError, MisuseError
from capture.store import Passphrase, Store, StoreLockedError, is_encrypted, open_store

VARIABLE = "FOLDCALL_PASSPHRASE_FILE"
"""Names a file whose first line is the passphrase, such as a secret's or `/dev/fd/3`."""

NEW_VARIABLE = "FOLDCALL_NEW_PASSPHRASE_FILE"
"""The same for the passphrase that a store is to be encrypted with from now on."""

_MOST_BYTES = 4096


def open_unlocked(path: Path, *, create: bool = True) -> Store:
    """Open a store as `open_store` does, and ask for the passphrase of an encrypted one."""
    if not is_encrypted(path):
        return open_store(path, create=create)
    return open_store(path, create=create, passphrase=passphrase_of(path))


def passphrase_of(path: Path) -> Passphrase:
    """Ask for the passphrase of this store. Raises `CaptureError` if nobody can be asked."""
    named = os.environ.get(VARIABLE, "").strip()
    if named:
        return _in_file(Path(named))
    return _asked(f"Passphrase of {path.name}: ")


def new_passphrase() -> Passphrase:
    """Ask for a new passphrase, twice. Raises `MisuseError` if it is short or not the same."""
    named = os.environ.get(NEW_VARIABLE, "").strip()
    if named:
        found = _in_file(Path(named))
    else:
        found = _asked("New passphrase: ")
        if not found.is_short and _asked("The same once more: ") != found:
            raise MisuseError("The two passphrases differ.", "Nothing was changed. Begin again.")
    if found.is_short:
        raise MisuseError(
            "The passphrase is too short.", "Take four or five words, or at least 8 letters."
        )
    return found


def _asked(prompt: str) -> Passphrase:
    try:
        with warnings.catch_warnings():
            # Where the terminal would show what is typed, nobody is asked.
            warnings.simplefilter("error", getpass.GetPassWarning)
            return Passphrase(getpass.getpass(prompt))
    except (getpass.GetPassWarning, EOFError, OSError) as error:
        raise StoreLockedError(
            "A passphrase is needed, and there is no terminal to type it on.",
            f"Name a file that holds it in the environment variable {VARIABLE}. If the store was"
            " never encrypted, its file is damaged: restore a backup.",
        ) from error


def _in_file(path: Path) -> Passphrase:
    """The first line of a file that nobody else can read."""
    try:
        with path.open("rb") as file:
            status = os.fstat(file.fileno())
            if os.name == "posix" and stat.S_ISREG(status.st_mode) and status.st_mode & 0o077:
                raise CaptureError(
                    "Other users can read the file that holds the passphrase.",
                    f"Close it to them: chmod 600 {path}",
                )
            line = file.read(_MOST_BYTES).splitlines()[:1]
        return Passphrase(b"".join(line).decode("utf-8-sig"))
    except UnicodeDecodeError:
        # The error itself would hold what was read.
        raise CaptureError("The file that holds the passphrase is no UTF-8 text.") from None
    except OSError as error:
        raise CaptureError(
            f"The file that holds the passphrase cannot be read: {error.strerror}.",
            f"Check {path}.",
        ) from error
