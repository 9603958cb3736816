"""The store as the rest of the program uses it."""

import os
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any

from sqlite_utils import Database

from capture.protocol.caliper import Caliper, GaugeCheck
from capture.store import (
    amending,
    backups,
    briefs,
    calipers,
    connection,
    erasing,
    joining,
    journal,
    listing,
    migrations,
    people,
    place,
    snapshot,
    upkeep,
    visits,
)
from capture.store.calipers import CaliperChange, KeptCaliper
from capture.store.cipher import Passphrase
from capture.store.errors import StoreError, StoreUnusableError, told_plainly
from capture.store.rows import Assessor, Client, Result, VisitRow, as_id
from capture.store.sounds import sounds_of
from capture.visit.entry import Entry, Plain


def open_store(
    path: str | os.PathLike[str],
    *,
    create: bool = True,
    busy_timeout_ms: int = connection.BUSY_TIMEOUT_MS,
    passphrase: Passphrase | None = None,
) -> "Store":
    """Open the store at a path, making it (and its folder) unless `create` is False.

    `busy_timeout_ms` says how long each call waits for another program, in milliseconds. A store
    of an older version is brought up to this one. Raises `StoreError` if the path is a folder,
    nothing is there and nothing may be made, the file is no store of ours, a newer version wrote
    it, it is damaged or cannot be written, another program holds it, or the disk is full.

    With a passphrase the store is an encrypted one, and a new one will be. Raises
    `StoreLockedError` if it is missing or wrong. The store belongs to the thread that opened it.
    """
    given = Path(path)
    with told_plainly(given):
        file = place.prepare(given, create=create)
        # Before it is opened: a file that is exchanged meanwhile is then seen to be another.
        identity = place.identity(file)
        db = connection.connect(file, busy_timeout_ms, passphrase)
        try:
            migrations.refuse_strangers(db)
            if not create and migrations.is_empty(db):
                raise place.no_store(file)
            connection.use_write_ahead_log(db, busy_timeout_ms)
            migrations.migrate(db)
            return Store(db, file, identity, passphrase)
        except BaseException:
            db.close()
            raise


class Store:
    """One open store. Use it in a `with` block, or call `close`.

    Every method raises `StoreError` with a message and a hint when it cannot do its work; then
    the store holds what it held before, and the next call may succeed. Times are ISO 8601 with
    offset and come from the caller, as do identifiers (UUIDs) unless they are left out.
    """

    def __init__(
        self,
        db: Database,
        path: Path,
        identity: tuple[int, int],
        passphrase: Passphrase | None = None,
    ) -> None:
        self.db = db
        self.path = path
        self._passphrase = passphrase
        self._identity = identity
        self.sounds = sounds_of(path)

    def __enter__(self) -> "Store":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file. What was saved is safe without this."""
        self.db.close()

    def add_client(
        self,
        name: str,
        sex: str,
        *,
        at: str,
        birth_date: str | None = None,
        note: str = "",
        id: str | None = None,
        **choices: Any,
    ) -> Client:
        """Save a new client. `sex` is `female` or `male`; `birth_date` is ISO 8601.

        `choices` are equation, conversion, show_fat_percent and show_norms of a `Client`.
        """
        client = Client(as_id(id), at, name, sex, birth_date, note, **choices)
        with self._saving():
            visits.add_client(self.db, client)
        return client

    def add_assessor(self, name: str, *, at: str, id: str | None = None) -> Assessor:
        """Save a new assessor."""
        assessor = Assessor(as_id(id), at, name)
        with self._saving():
            visits.add_assessor(self.db, assessor)
        return assessor

    def clients(self) -> list[Client]:
        """Read all clients in the order in which they were added."""
        with told_plainly(self.path):
            return visits.clients(self.db)

    def assessors(self) -> list[Assessor]:
        """Read all assessors in the order in which they were added."""
        with told_plainly(self.path):
            return visits.assessors(self.db)

    def find_client(self, name: str) -> Client | None:
        """Find the one client of this name in any case; `StoreError` if there are several."""
        return visits.find(self.clients(), name)

    def find_assessor(self, name: str) -> Assessor | None:
        """Find the one assessor of this name in any case; `StoreError` if there are several."""
        return visits.find(self.assessors(), name)

    def add_caliper(self, caliper: Caliper, *, at: str) -> None:
        """Keep a caliper; its description must be new."""
        with self._saving():
            calipers.add(self.db, caliper, at)

    def add_gauge_check(self, caliper_id: str, check: GaugeCheck, *, by_name: str, at: str) -> None:
        """Keep a check of a caliper with gauge blocks; `at` is when it was entered."""
        with self._saving():
            calipers.add_check(self.db, caliper_id, check, by_name, at)

    def change_caliper(self, caliper_id: str, change: CaliperChange) -> None:
        """Retire a caliper, or take it into use again; one that stands so already is refused."""
        with self._saving():
            calipers.add_change(self.db, caliper_id, change)

    def calipers(self) -> tuple[KeptCaliper, ...]:
        """The calipers in the order in which they were added, each with its last check."""
        with told_plainly(self.path):
            return calipers.kept(self.db)

    def take_calipers(self, other: "Store") -> int:
        """Add the calipers of another store, their checks and changes; how many were not here."""
        with told_plainly(other.path):
            given = calipers.rows(other.db)
        with self._saving():
            return calipers.take(self.db, given)

    def begin_visit(
        self,
        client_id: str,
        assessor_id: str,
        *,
        at: str,
        plan: Plain,
        program_version: str,
        id: str | None = None,
    ) -> VisitRow:
        """Save a new visit with the plan that it will follow; neither changes any more."""
        visit_id = as_id(id)
        with self._saving():
            visits.begin_visit(
                self.db,
                visit_id,
                client_id=client_id,
                assessor_id=assessor_id,
                at=at,
                plan=plan,
                program_version=program_version,
            )
            return visits.visit(self.db, visit_id)

    def visits(self, client_id: str | None = None) -> list[VisitRow]:
        """Read the visits, of one client or of all, the newest first."""
        with told_plainly(self.path):
            return visits.visits(self.db, client_id)

    def open_visits(self) -> list[VisitRow]:
        """Read the visits that are not signed off, the newest first."""
        with told_plainly(self.path):
            return visits.open_visits(self.db)

    def visit(self, visit_id: str) -> VisitRow:
        """Read one visit."""
        with told_plainly(self.path):
            return visits.visit(self.db, visit_id)

    def newest_visit(self) -> str | None:
        """The identifier of the visit that began last, None if there is none."""
        with told_plainly(self.path):
            return listing.newest(self.db)

    def visit_counts(self) -> list[dict[str, Any]]:
        """For each `person` the number of `visits` and the date of the `last`."""
        with told_plainly(self.path):
            return listing.counts(self.db)

    def day_rows(self, date: str | None, *, unsigned: bool = False) -> list[dict[str, Any]]:
        """The visits of a day or of all days; see `capture.store.listing.day_rows`."""
        with told_plainly(self.path):
            return listing.day_rows(self.db, date, unsigned)

    def briefs(self, rules: int, visit_ids: Sequence[str]) -> dict[str, Any]:
        """The kept briefs, made by these rules, of those visits that have one."""
        with told_plainly(self.path):
            return briefs.kept(self.db, rules, visit_ids)

    def keep_briefs(self, rules: int, made: Iterable[tuple[str, int, int, Plain]]) -> None:
        """Keep briefs of visits; see `capture.store.briefs.keep`."""
        with self._saving():
            briefs.keep(self.db, rules, made)

    def light_snapshots(self, visit_ids: Sequence[str]) -> list[dict[str, Any]]:
        """Many visits at once as plain objects, without intents and results."""
        with told_plainly(self.path):
            return list(snapshot.light_visits(self.db, visit_ids))

    def visits_beginning(self, start: str) -> list[str]:
        """Identifiers of the visits whose identifier begins so."""
        with told_plainly(self.path):
            return listing.beginning(self.db, start)

    def visits_before(self, client_id: str, at: str, most: int = 8) -> list[str]:
        """Identifiers of a person's visits up to a time, the newest first."""
        with told_plainly(self.path):
            return listing.before(self.db, client_id, at, most)

    def latest_of_assessor(self, assessor_id: str, most: int) -> list[str]:
        """Identifiers of an assessor's latest visits, the newest first."""
        with told_plainly(self.path):
            return listing.latest_of(self.db, assessor_id, most)

    def append(self, visit_id: str, entry: Entry, result: Plain | None = None) -> None:
        """Save the next entry of a visit and its reading facts together, or nothing of them.

        When this returns, the entry is on the disk: it outlives a crash and a power failure.
        `entry.sequence` must be one more than that of the visit's last entry. `result` is what was
        computed from the visit as it stands after this entry, saved with it.
        """
        with self._saving(), connection.writing(self.db):
            journal.append(self.db, visit_id, entry)
            if result is not None:
                row = Result(as_id(None), visit_id, entry.at, entry.sequence, result)
                visits.add_result(self.db, row)

    def entries(self, visit_id: str) -> list[Entry]:
        """Read the journal of a visit in order, equal to what was appended."""
        with told_plainly(self.path):
            return journal.entries(self.db, visit_id)

    def add_result(
        self, visit_id: str, *, at: str, sequence: int, result: Plain, id: str | None = None
    ) -> Result:
        """Save what was computed from the visit as it stood after the entry `sequence`."""
        row = Result(as_id(id), visit_id, at, sequence, result)
        with self._saving(), connection.writing(self.db):
            visits.add_result(self.db, row)
        return row

    def results(self, visit_id: str) -> list[Result]:
        """Read what was computed from a visit, the oldest first."""
        with told_plainly(self.path):
            return visits.results(self.db, visit_id)

    def edit_client(self, client_id: str, *, at: str, **changes: str | bool | None) -> Client:
        """Change anything of a `Client` but its identifier; what it was is kept."""
        with self._saving():
            return people.edit_client(self.db, client_id, at, changes)

    def client_versions(self, client_id: str) -> list[dict[str, Any]]:
        """The ends of a client's edits: more than one where stations edited apart."""
        with told_plainly(self.path):
            return people.client_heads(self.db, client_id)

    def link_clients(self, client_id: str, same_as: str, *, at: str) -> None:
        """Note that two clients are one person; visits of both are listed under `same_as`."""
        with self._saving():
            people.link_clients(self.db, client_id, same_as, at)

    def same_person(self, client_id: str) -> tuple[str, ...]:
        """The identifiers of all clients that are this person."""
        with told_plainly(self.path):
            return people.same_person(self.db, client_id)

    def erase_client(self, client_id: str, *, at: str) -> int:
        """Remove a person with everything of theirs; the number of visits removed.

        Nothing remains but the identifiers, each in an empty tombstone. The file is rewritten,
        so that no byte of it holds what was removed. Kept sound goes first: if the power fails
        in between, the person is still there to be erased again.
        """
        with self._saving():
            ids = people.same_person(self.db, client_id)
            for visit_id in listing.of_clients(self.db, ids):
                self.sounds.remove(visit_id)
            return erasing.erase(self.db, ids, at)

    @property
    def is_encrypted(self) -> bool:
        """Whether the file is encrypted."""
        return self._passphrase is not None

    def sweep_sounds(self, *, at: str) -> int:
        """Remove kept sound that is not to be there any more; of how many visits.

        That is the sound of visits that are signed off by name, unknown (erased, or left by a
        crash), or began more than `listing.SOUND_DAYS` days before `at`; and all of it beside an
        encrypted store.
        """
        with told_plainly(self.path):
            if self.is_encrypted:
                return self.sounds.sweep(lambda _: ())
            return self.sounds.sweep(lambda ids: listing.sound_wanted(self.db, ids, at))

    def amend(self, visit_id: str, **given: Any) -> None:
        """Add an amendment to a visit; see `capture.store.amending.amend`."""
        with self._saving():
            amending.amend(self.db, visit_id, **given)

    def amendments(self, visit_id: str) -> list[dict[str, Any]]:
        """Read the amendments of a visit, the oldest first."""
        with told_plainly(self.path):
            return snapshot.amendments_of(self.db, visit_id)

    def people_snapshot(
        self, only: Collection[str] | None = None
    ) -> dict[str, list[dict[str, Any]]]:
        """All people as plain objects, or only some clients."""
        with told_plainly(self.path):
            return snapshot.people_of(self.db, only)

    def visit_snapshots(self, only: Collection[str] | None = None) -> Iterator[dict[str, Any]]:
        """Every visit as a plain object, or those of some clients."""
        with told_plainly(self.path):
            yield from snapshot.visits_of(self.db, only)

    def visit_snapshot(self, visit_id: str) -> dict[str, Any]:
        """One visit as a plain object. Raises `StoreError` if it is unknown."""
        with told_plainly(self.path):
            visits.visit(self.db, visit_id)
            return snapshot.visit_of(self.db, visit_id)

    def join(
        self,
        people: Mapping[str, joining.Rows],
        visits: joining.Rows,
        *,
        named: str,
        refuse_conflicts: bool,
    ) -> joining.Joined:
        """Take people and visits from elsewhere, in one transaction.

        With `refuse_conflicts` a single conflict takes everything back and raises `StoreError`.
        """
        with self._saving(), connection.writing(self.db):
            told = joining.join(self.db, people, visits, named)
            if told.conflicts and refuse_conflicts:
                raise StoreError(
                    f"{len(told.conflicts)} conflict(s), the first: {told.conflicts[0]}",
                    "Nothing was taken.",
                )
            return told

    def check(self) -> tuple[str, ...]:
        """Look the whole store over; return one line a problem, none for a sound store."""
        with told_plainly(self.path):
            return upkeep.problems(self.db)

    def backup(self, path: str | os.PathLike[str]) -> backups.Held:
        """Copy the store into a new file, looked over before it gets its name.

        An encrypted store gives an encrypted backup with the same passphrase.
        """
        with told_plainly(self.path):
            return backups.backup(self.db, Path(path), self._passphrase)

    @contextmanager
    def _saving(self) -> Iterator[None]:
        """Refuse to write into a file that has lost its place.

        SQLite goes on writing into a file that was moved or replaced; what it writes then is
        gone with the program.
        """
        with told_plainly(self.path):
            try:
                same = place.identity(self.path) == self._identity
            except FileNotFoundError:
                same = False
            if not same:
                raise StoreUnusableError(
                    "The file of the store was moved, removed or replaced while it was open.",
                    f"Put it back to {self.path}, then start again. Nothing more was saved.",
                )
            yield
