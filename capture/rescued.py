"""What is done with a rescue file afterwards: read, taken back into the store, or removed.

What is in the store already is not taken twice.
"""

import json
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from capture import rescue
from capture.errors import CaptureError
from capture.rescue import FORMAT, VERSION, RescueError, rescues
from capture.signing import result_at_sign_off, signs_off
from capture.store import Store, StoreError, StoreUnusableError, overwrite
from capture.store.place import sync
from capture.store.snapshot import entry_from_plain
from capture.visit.replay import replay
from capture.visit.state import Plan
from capture.wiring import local_time

_MOST_BYTES = 20_000_000


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
        people = {name: list(head["people"][name]) for name in rescue.PEOPLE}
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
    for path in rescues(rescue.folders_for(store.path) if folders is None else folders):
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
    for path in rescues(rescue.folders_for(store.path) if folders is None else folders):
        try:
            content = path.read_bytes()
            if not any(each.encode() in content for each in client_ids):
                continue
            if _store_of(content) not in {None, str(store.path)}:
                others.append(path)
                continue
            overwrite(path)
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
    missing: dict[str, list[dict[str, Any]]] = {name: [] for name in rescue.PEOPLE}
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
