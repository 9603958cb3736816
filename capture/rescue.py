"""A visit goes on although its store cannot be written: the calls go into a rescue file.

The file holds lines of JSON: first who is measured and how, then every call of the visit so far,
then each further one, brought to the disk before it is announced. It is readable by its owner
alone. As soon as the store can be written again, at the latest at the next start, the calls are
taken back in, and the file goes. What is in the store already is not taken twice.

An encrypted store has no rescue file: it would lie in the open.
"""

import json
import os
import time
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import platformdirs

from capture.begin import Opened
from capture.errors import CaptureError
from capture.signing import result_at_sign_off, signs_off
from capture.store import Store, StoreError, StoreUnusableError, make_folder
from capture.store.place import FILE_MODE, sync
from capture.store.snapshot import entry_from_plain, plain_entry
from capture.visit.entry import Entry
from capture.visit.replay import replay
from capture.visit.state import Plan
from capture.wiring import StoredJournal, local_time

FORMAT, VERSION = "foldcall rescue", 1
PREFIX, SUFFIX = "foldcall-rescue-", ".jsonl"
RETRY_S = 15.0
"""The store is tried again so long after it failed. Own choice, no source: each try may wait for
another program, and the assessor with it."""

_MOST_BYTES = 20_000_000
_PEOPLE = ("clients", "assessors", "client_edits", "client_links", "tombstones")


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


@dataclass(frozen=True, slots=True)
class Rescued:
    """What a rescue file holds."""

    path: Path
    store: str
    people: Mapping[str, list[dict[str, Any]]]
    visit: Mapping[str, Any]
    """As a snapshot of the store has it, with the whole journal."""

    @property
    def date(self) -> str:
        """The day on which the visit began."""
        return str(self.visit["started_at"])[:10]

    @property
    def count(self) -> int:
        """How many calls of the visit it holds."""
        return len(self.visit["journal"])


def read_rescue(path: Path) -> Rescued:
    """Read a rescue file and walk its visit. Raises `RescueError` with the line that is wrong.

    A last line without its end was never announced; it is left out.
    """
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise RescueError("The rescue file is too large to be one.", f"Look at {path}.")
        *lines, _torn = path.read_bytes().split(b"\n")
    except OSError as error:
        raise RescueError(
            f"The rescue file cannot be read: {error.strerror}.", f"Look at {path}."
        ) from error
    if not lines:
        raise RescueError("The rescue file is empty.", f"Remove {path}.")
    number, head, journal = 1, {}, []
    try:
        head = json.loads(lines[0])
        if head["format"] != FORMAT or head["version"] != VERSION:
            raise ValueError("another format or version")
        people = {name: list(head["people"][name]) for name in _PEOPLE}
        for number, line in enumerate(lines[1:], 2):  # noqa: B007  # told in the error
            journal.append(json.loads(line)["entry"])
            entry_from_plain(journal[-1])
        replay(Plan.from_plain(head["visit"]["plan"]), map(entry_from_plain, journal))
        return Rescued(path, str(head["store"]), people, {**head["visit"], "journal": journal})
    except (KeyError, TypeError, ValueError, AttributeError, RecursionError, CaptureError) as error:
        raise RescueError(
            f"Line {number} of the rescue file is not as it was written ({error}).",
            f"Nothing was taken; keep {path} and type its readings in by hand.",
        ) from error


def waiting(store: Store, folders: Sequence[Path] | None = None) -> Iterator[Rescued | RescueError]:
    """The rescue files that are for this store, and those that cannot be read."""
    for path in rescues(folders_for(store.path) if folders is None else folders):
        try:
            found = read_rescue(path)
        except RescueError as error:
            yield error
            continue
        if found.store == str(store.path):
            yield found


def remove_rescues(
    store: Store, client_ids: Collection[str], folders: Sequence[Path] | None = None
) -> tuple[int, list[Path]]:
    """Remove the rescue files with calls of these clients, overwritten once.

    Returns how many, and those that are left because they belong to another store. One that is
    too damaged to say whose it is goes, if it names a client. Raises `RescueError` if one stays.
    """
    removed, others = 0, []
    for path in rescues(folders_for(store.path) if folders is None else folders):
        try:
            content = path.read_bytes()
            if not any(each.encode() in content for each in client_ids):
                continue
            if _store_of(content) not in {None, str(store.path)}:
                others.append(path)
                continue
            with path.open("r+b") as file:
                file.write(bytes(len(content)))
                file.flush()
                os.fsync(file.fileno())
            path.unlink()
            sync(path.parent)
        except OSError as error:
            raise RescueError(
                f"A rescue file could not be removed: {error.strerror}.", f"Remove {path}."
            ) from error
        removed += 1
    return removed, others


def _store_of(content: bytes) -> str | None:
    """The store that a rescue file was written for, None if it does not say."""
    try:
        return str(json.loads(content.partition(b"\n")[0])["store"])
    except (ValueError, KeyError, TypeError, RecursionError):
        return None


def take_back(store: Store, rescued: Rescued) -> str:
    """Take a rescued visit into the store and remove the file; a line on what came of it.

    What the store has already is left; who was erased from it is not brought back. Raises
    `CaptureError` if the store has gone on another way; then the file stays.
    """
    people = store.people_snapshot()
    if rescued.visit["client_id"] in {row["client_id"] for row in people["tombstones"]}:
        _unlink(rescued.path)
        return "A rescue file of a client who was erased was removed."
    have = {row["id"] for table in ("clients", "assessors") for row in people[table]}
    missing: dict[str, list[dict[str, Any]]] = {name: [] for name in _PEOPLE}
    missing["assessors"] = [row for row in rescued.people["assessors"] if row["id"] not in have]
    if rescued.visit["client_id"] not in have:
        missing |= {name: rescued.people[name] for name in ("clients", "client_edits")}
    try:
        told = store.join(missing, [rescued.visit], named=rescued.path.name, refuse_conflicts=True)
    except (KeyError, TypeError, ValueError) as error:
        raise RescueError(
            f"The rescue file is not as it was written ({error}).", f"Keep {rescued.path}."
        ) from error
    except StoreUnusableError:
        raise
    except StoreError as error:
        raise RescueError(
            f"The visit of {rescued.date} in the rescue file does not go on from the store's.",
            f"Compare by hand, then remove {rescued.path}: {error.message}",
        ) from error
    _add_result(store, str(rescued.visit["id"]))
    _unlink(rescued.path)
    added = told.added.get("journal entries", 0)
    if told.added.get("visits"):
        added = rescued.count
    return f"{added} calls of the visit of {rescued.date} were taken back into the store."


def _add_result(store: Store, visit_id: str) -> None:
    """Add what the readings come to, if the visit was signed off while the store failed."""
    entries = store.entries(visit_id)
    if not any(map(signs_off, entries)) or store.results(visit_id):
        return
    row = store.visit(visit_id)
    result = result_at_sign_off(Plan.from_plain(row.plan), entries, row.client.choices)
    if result is not None:
        store.add_result(visit_id, at=local_time(), sequence=len(entries), result=result)


def _unlink(path: Path) -> None:
    with suppress(OSError):
        path.unlink()
        sync(path.parent)


def _call(entry: Entry) -> dict[str, Any]:
    return {"entry": plain_entry(entry)}


def _line(value: Mapping[str, Any]) -> bytes:
    text = json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.encode("ascii") + b"\n"
