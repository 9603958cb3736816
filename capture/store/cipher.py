"""Encryption of the store at rest, by SQLCipher; the package sqlcipher3 is an optional extra.

SQLCipher encrypts each page of the database, of its write-ahead log and of its journal with
AES-256 and a checksum (HMAC-SHA512); the key is worked out from the passphrase in 256 000 rounds
of PBKDF2. We take its own settings, so that other programs with SQLCipher 4 open the file.
"""

import importlib
import sqlite3
import stat
import unicodedata
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import cast

from capture.store.errors import ENCRYPTING_BUILD, StoreError, StoreLockedError, primary_code

LEAST_LETTERS = 8
"""A shorter passphrase is refused; common practice, no source."""

_JOURNAL_MAGIC = bytes.fromhex("d9d505f920a163d7")
"""A rollback journal begins so; how many pages the file had stands at byte 16.
Source: https://www.sqlite.org/fileformat2.html, section 3."""

_PAGE_BYTES = 4096
"""SQLCipher 4 writes whole pages of this size."""


@dataclass(frozen=True, slots=True)
class Passphrase:
    """What opens an encrypted store. It shows itself nowhere."""

    text: str = field(repr=False)

    def __post_init__(self) -> None:
        # One system sends an accented letter as one character, another as two.
        object.__setattr__(self, "text", unicodedata.normalize("NFC", self.text))
        if not self.text or not self.text.isprintable():
            raise StoreError(
                "The passphrase is empty, or holds a character that is no letter or sign.",
                "Give one line of text.",
            )

    @property
    def is_short(self) -> bool:
        """Whether it is too short to protect anything."""
        return len(self.text) < LEAST_LETTERS

    def quoted(self) -> str:
        """It as a text of SQL: PRAGMA takes no parameters."""
        return "'" + self.text.replace("'", "''") + "'"


def is_encrypted(path: Path) -> bool:
    """Whether the file looks like an encrypted store: whole pages, but none of plain SQLite's.

    Every byte of such a file looks like chance, so that more cannot be known without the
    passphrase. False if there is no file, or none that can be read. SQLite itself looks: if we
    opened and closed the file, the locks of other connections of this program would be lost.
    """
    try:
        status = path.stat()
    except OSError:
        return False  # whoever opens the file finds out why
    whole_pages = status.st_size > 0 and status.st_size % _PAGE_BYTES == 0
    if not (stat.S_ISREG(status.st_mode) and whole_pages) or _was_never_finished(path):
        return False
    try:
        uri = f"{path.resolve().as_uri()}?mode=ro&immutable=1"
        with closing(sqlite3.connect(uri, uri=True)) as probe:
            probe.execute("PRAGMA schema_version").fetchone()
    except sqlite3.Error as error:
        return primary_code(error) == sqlite3.SQLITE_NOTADB
    return False


def _was_never_finished(path: Path) -> bool:
    """Whether the power failed while the file was made: its journal says that it was empty.

    SQLite empties it at the next opening. Till then half of its first page looks like chance.
    """
    try:
        with path.with_name(path.name + "-journal").open("rb") as file:
            head = file.read(20)
    except OSError:
        return False
    return head[:8] == _JOURNAL_MAGIC and head[16:] == bytes(4)


def require() -> None:
    """Raise `StoreError` if the package that encrypts is not installed."""
    try:
        importlib.import_module(ENCRYPTING_BUILD)
    except ImportError as error:
        raise StoreError(
            "An encrypted store needs the package sqlcipher3, which is not installed.",
            "Install foldcall with its extra 'encryption', or the package: pip install sqlcipher3.",
        ) from error


def locked() -> StoreLockedError:
    """Say that the file cannot be opened without a passphrase."""
    return StoreLockedError(
        "The store is encrypted (or is no store).",
        "Give the passphrase that it was encrypted with.",
    )


def wrong_passphrase() -> StoreLockedError:
    """Say that the passphrase does not open the file."""
    return StoreLockedError(
        "The passphrase is wrong.",
        "Type it once more. If it is surely right, the file is damaged or is no store: take a"
        " backup.",
    )


def open_encrypted(
    path: Path, passphrase: Passphrase | None, busy_timeout_ms: int, *, read_only: bool = False
) -> sqlite3.Connection:
    """Open a file with the SQLite that encrypts; without a passphrase a plain one.

    The file must exist. Raises `StoreLockedError` if the passphrase is wrong, `StoreError` if the
    package is not installed.
    """
    require()
    driver = importlib.import_module(ENCRYPTING_BUILD)
    connection = cast(
        "sqlite3.Connection",
        driver.connect(
            f"{path.as_uri()}?mode={'ro' if read_only else 'rw'}",
            uri=True,
            timeout=busy_timeout_ms / 1_000,
            isolation_level=None,
        ),
    )
    try:
        # Else SQLCipher writes to the terminal what it thinks of a wrong key.
        connection.execute("PRAGMA cipher_log_level = NONE")
        if passphrase is not None:
            connection.execute(f"PRAGMA key = {passphrase.quoted()}")
            connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except driver.DatabaseError as error:
        connection.close()
        if primary_code(error) == sqlite3.SQLITE_NOTADB:
            raise wrong_passphrase() from None
        raise
    return connection
