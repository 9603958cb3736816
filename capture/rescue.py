"""A visit goes on although its store cannot be written: the calls go into a rescue file.

The file holds lines of JSON: first who is measured and how, then every call of the visit so far,
then each further one, brought to the disk before it is announced. It is readable by its owner
alone. As soon as the store can be written again, at the latest at the next start, the calls are
taken back in, and the file goes (`capture/rescued.py`).

An encrypted store has no rescue file: it would lie in the open.
"""

import json
import os
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import platformdirs

from capture.begin import Opened
from capture.errors import CaptureError
from capture.store import Store, StoreError, StoreUnusableError, make_folder
from capture.store.place import FILE_MODE, sync
from capture.store.snapshot import plain_entry
from capture.visit.entry import Entry
from capture.wiring import StoredJournal

FORMAT, VERSION = "foldcall rescue", 1
PREFIX, SUFFIX = "foldcall-rescue-", ".jsonl"
RETRY_S = 15.0
"""The store is tried again so long after it failed. Own choice, no source: each try may wait for
another program, and the assessor with it."""

PEOPLE = ("clients", "assessors", "client_edits", "client_links", "tombstones")
"""The tables of people that a file holds."""


class RescueError(CaptureError):
    """A rescue file cannot be taken back in. It stays where it is."""


def folders_for(store: Path) -> tuple[Path, ...]:
    """Where a rescue file may lie: beside the store, then where this user's state is kept.

    Linux keeps a third in memory, which outlives the program, but not a power cut.
    """
    folders = [store.parent, platformdirs.user_state_path("foldcall", appauthor=False)]
    runtime = os.environ.get("XDG_RUNTIME_DIR", "")
    if runtime:
        folders.append(Path(runtime) / "foldcall")
    return tuple(folders)


class RescueFile:
    """One rescue file that is being written."""

    def __init__(self, path: Path, descriptor: int) -> None:
        self.path = path
        self._descriptor = descriptor

    @classmethod
    def begin(cls, path: Path, lines: Sequence[Mapping[str, Any]]) -> "RescueFile":
        """Make the file with its first lines, on the disk. OSError if it cannot be done whole."""
        make_folder(path.parent)
        flags = os.O_CREAT | os.O_EXCL | os.O_RDWR | os.O_APPEND
        descriptor = os.open(path, flags, FILE_MODE)
        file = cls(path, descriptor)
        try:
            with suppress(OSError):
                path.chmod(FILE_MODE)
            file.add(*lines)
            sync(path.parent)
        except BaseException:
            file.remove()
            raise
        return file

    def add(self, *lines: Mapping[str, Any]) -> None:
        """Add lines, on the disk before this returns. OSError if not; then none is there."""
        before = os.fstat(self._descriptor).st_size
        data = b"".join(_line(each) for each in lines)
        try:
            while data:
                data = data[os.write(self._descriptor, data) :]
            os.fsync(self._descriptor)
        except OSError:
            with suppress(OSError):
                os.ftruncate(self._descriptor, before)
            raise

    def remove(self) -> None:
        """Take the file away."""
        self.close()
        with suppress(OSError):
            self.path.unlink()

    def close(self) -> None:
        """Let go of the file."""
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1


class RescuingJournal:
    """The journal of one visit in the store, or in a rescue file while the store fails.

    `warn` is given a warning that is to stay in sight, and an empty text when it is over.
    """

    def __init__(
        self,
        store: Store,
        opened: Opened,
        warn: Callable[[str], None],
        *,
        folders: Sequence[Path] | None = None,
        now_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._store, self._visit_id, self._warn, self._now_s = store, opened.row.id, warn, now_s
        self._journal = StoredJournal(store, opened.row.id)
        self._folders = folders_for(store.path) if folders is None else tuple(folders)
        self._known = store.entries(self._visit_id)
        snapshot = store.visit_snapshot(self._visit_id)
        self._head = {
            "format": FORMAT,
            "version": VERSION,
            "store": str(store.path),
            "people": store.people_snapshot({snapshot["client_id"]}),
            "visit": {**snapshot, "journal": []},
        }
        self._file: RescueFile | None = None
        self._retry_at_s = 0.0
        self._trouble: StoreError | None = None

    def append(self, entry: Entry) -> None:
        """Add one entry durably: to the store, else to the rescue file. Else `StoreError`."""
        if self._file is None or self._now_s() >= self._retry_at_s:
            try:
                self.come_home()
                self._journal.append(entry)
            except StoreUnusableError as error:
                self._trouble = error
                self._retry_at_s = self._now_s() + RETRY_S
            else:
                self._known.append(entry)
                return
        self._rescue(entry)

    def come_home(self) -> None:
        """Bring what was rescued into the store, if anything was. `StoreUnusableError` if not."""
        if self._file is None:
            return
        have = self._store.entries(self._visit_id)
        if have != self._known[: len(have)]:
            raise StoreUnusableError(
                "Another program went on with this visit meanwhile.",
                "Leave this one; at the next start both are told.",
            )
        for entry in self._known[len(have) :]:
            self._journal.append(entry)
        self._file.remove()
        self._file = None
        self._warn("")

    def close(self) -> None:
        """Try the store once more; what is still not in it stays in the file."""
        with suppress(CaptureError):
            self.come_home()
        if self._file is not None:
            self._file.close()

    def _rescue(self, entry: Entry) -> None:
        if self._file is None:
            self._begin(entry)
        else:
            try:
                self._file.add(_call(entry))
            except OSError:
                full = self._file  # all of it goes to another place
                self._begin(entry, other_than=full.path.parent)
                full.remove()
        self._known.append(entry)
        self._warn(self._warning())

    def _begin(self, entry: Entry, other_than: Path | None = None) -> None:
        """Begin a file with the visit as far as it is known, and this entry."""
        lines = [self._head, *map(_call, self._known), _call(entry)]
        for folder in self._folders:
            if folder == other_than:
                continue
            path = folder / f"{PREFIX}{self._visit_id}{SUFFIX}"
            with suppress(OSError, CaptureError):
                # One that was left by an earlier start holds nothing that we do not.
                if path in rescues([folder]):
                    path.unlink()
                self._file = RescueFile.begin(path, lines)
                return
        trouble = self._trouble or StoreError("The store cannot be written.")
        raise StoreError(
            trouble.message, f"No rescue file can be written either: use paper. {trouble.hint}"
        ) from trouble

    def _warning(self) -> str:
        trouble, file = self._trouble, self._file
        message = "" if trouble is None else trouble.message
        hint = "" if trouble is None else trouble.hint
        where = "" if file is None else str(file.path)
        return f"NOT IN THE STORE: {message} Calls are kept in {where} for now. {hint}"


def rescues(folders: Sequence[Path]) -> list[Path]:
    """The rescue files of this user in these folders."""
    found = []
    for folder in dict.fromkeys(folders):
        with suppress(OSError):
            found += [each for each in sorted(folder.glob(f"{PREFIX}*{SUFFIX}")) if _is_ours(each)]
    return found


def _is_ours(path: Path) -> bool:
    """Whether it is a plain file that this user made: nobody else's word is taken."""
    if path.is_symlink() or not path.is_file():
        return False
    return os.name != "posix" or path.stat().st_uid == os.getuid()


def _call(entry: Entry) -> dict[str, Any]:
    return {"entry": plain_entry(entry)}


def _line(value: Mapping[str, Any]) -> bytes:
    text = json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.encode("ascii") + b"\n"
