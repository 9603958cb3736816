"""Takes people and visits from elsewhere into the store.

What is new is added, what is the same is left, what differs is told and never settled in silence.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlite_utils import Database

from capture.report.amendments import forked
from capture.store import snapshot
from capture.store.errors import StoreError, database_errors
from capture.store.journal import reading_id
from capture.store.people import base_edit, follow_edits, rebuild_people
from capture.store.rows import to_json

Rows = Iterable[Mapping[str, Any]]


@dataclass(slots=True)
class Joined:
    """What came of it. `conflicts` are lines for a person, without names."""

    added: dict[str, int] = field(default_factory=dict)
    same: int = 0
    conflicts: list[str] = field(default_factory=list)

    def count(self, what: str, number: int = 1) -> None:
        """Note that something was added."""
        self.added[what] = self.added.get(what, 0) + number


def join(db: Database, people: Mapping[str, Rows], visits: Rows, named: str) -> Joined:
    """Take everything; the caller holds the transaction and decides about conflicts.

    `named` says in messages where it came from. Raises `StoreError` for what cannot be kept.
    """
    told = Joined()
    mine = {row["client_id"] for row in db.query("SELECT client_id FROM tombstones")}
    theirs = {row["client_id"] for row in people["tombstones"]}
    have = {row["id"] for row in db.query("SELECT id FROM clients")}
    for client_id in sorted(theirs & have):
        told.conflicts.append(
            f"client {client_id}: erased on request in {named}, still here."
            " Erase them here as well, then merge again; nothing of them was taken."
        )
    barred = mine | theirs
    for row in people["tombstones"]:
        if row["client_id"] not in mine | have:
            _insert(db, "tombstones", row)
            told.count("tombstones")
    refused = {row["id"] for row in people["clients"] if row["id"] in mine}
    for client_id in sorted(refused):
        told.conflicts.append(
            f"client {client_id}: erased on request here, still in {named}; not taken."
        )
    for row in people["assessors"]:
        _same_or_added(db, "assessors", row, told)
    _take_clients(db, people, barred, told)
    for row in people["client_links"]:
        if not {row["client_id"], row["same_as"]} & barred:
            _same_or_added(db, "client_links", row, told)
    rebuild_people(db)
    for number, visit in enumerate(visits, 1):
        if visit["client_id"] in barred:
            continue
        with _place(f"visit {number}"):
            _take_visit(db, visit, told)
    return told


def _take_clients(db: Database, people: Mapping[str, Rows], barred: set[str], told: Joined) -> None:
    edits: dict[str, list[Mapping[str, Any]]] = {}
    for row in people["client_edits"]:
        edits.setdefault(row["client_id"], []).append(row)
    for row in people["clients"]:
        if row["id"] in barred:
            continue
        ours = _row(db, "clients", row["id"])
        if ours is None:
            _insert(db, "clients", row)
            told.count("clients")
        elif {**ours, **row} == ours:
            # What a file does not tell of, such as choices, says nothing against ours.
            told.same += 1
        else:
            # Written as their first edits, both are seen, and neither is lost.
            known = [each["id"] for each in edits.get(row["id"], [])]
            if not known:
                edits.setdefault(row["id"], []).append(base_edit(row))
            if not db.execute(
                "SELECT 1 FROM client_edits WHERE client_id = ?", [row["id"]]
            ).fetchone():
                _insert(db, "client_edits", base_edit(ours))
        for edit in edits.get(row["id"], []):
            _same_or_added(db, "client_edits", edit, told)
        if follow_edits(db, row["id"]):
            told.conflicts.append(
                f"client {row['id']}: edited in two ways."
                " See 'foldcall clients show', and edit the client to settle it."
            )


def _take_visit(db: Database, visit: Mapping[str, Any], told: Joined) -> None:
    visit_id = visit["id"]
    head = {name: visit[name] for name in _VISIT}
    if db.execute("SELECT 1 FROM visits WHERE id = ?", [visit_id]).fetchone() is None:
        _insert(db, "visits", {**head, "plan": to_json(visit["plan"], "plan")})
        _append(db, visit_id, visit["journal"])
        told.count("visits")
    else:
        ours = snapshot.visit_of(db, visit_id)
        if any(ours[name] != head[name] for name in _VISIT) or not _fits(
            ours["journal"], visit["journal"]
        ):
            told.conflicts.append(
                f"visit {visit_id}: the journals went apart after it was copied; each store"
                " keeps its own. Nothing of this visit was taken."
            )
            return
        more = visit["journal"][len(ours["journal"]) :]
        _append(db, visit_id, more)
        told.count("journal entries", len(more)) if more else None
        told.same += not more
    for result in visit["results"]:
        row = {**result, "visit_id": visit_id, "result": to_json(result["result"], "result")}
        _same_or_added(db, "results", row, told)
    before = {row["id"] for row in snapshot.amendments_of(db, visit_id)}
    for amendment in visit["amendments"]:
        _same_or_added(db, "amendments", {**amendment, "visit_id": visit_id}, told)
    if before or visit["amendments"]:
        for number in forked(snapshot.amendments_of(db, visit_id)):
            told.conflicts.append(
                f"visit {visit_id}: reading {number} was amended in two ways; the value as taken"
                " counts until it is amended again in 'foldcall review'."
            )


_VISIT = ("id", "client_id", "assessor_id", "started_at", "plan", "program_version")


def _fits(ours: list[Any], theirs: list[Any]) -> bool:
    shorter = min(len(ours), len(theirs))
    return ours[:shorter] == theirs[:shorter]


def _append(db: Database, visit_id: str, entries: Rows) -> None:
    for entry in entries:
        row = {name: entry[name] for name in ("sequence", "at", "source", "words", "confidence")}
        _insert(
            db,
            "journal",
            {
                "visit_id": visit_id,
                **row,
                "alternatives": to_json(entry["alternatives"], "alternatives"),
                "intent": to_json(entry["intent"], "intent"),
                "facts": to_json(entry["facts"], "facts"),
            },
        )
        for position, fact in enumerate(entry["readings"]):
            _insert(
                db,
                "reading_facts",
                {
                    "visit_id": visit_id,
                    "sequence": entry["sequence"],
                    "position": position,
                    "reading_id": reading_id(visit_id, fact["number"]),
                    **fact,
                },
            )


def _same_or_added(db: Database, table: str, row: Mapping[str, Any], told: Joined) -> None:
    """Add a row that has not come yet; one of the same identifier must be equal."""
    plain = {
        name: to_json(value, name) if isinstance(value, list) else value
        for name, value in row.items()
    }
    plain = {name: int(v) if isinstance(v, bool) else v for name, v in plain.items()}
    ours = _row(db, table, row["id"])
    if ours is None:
        _insert(db, table, plain)
        told.count(table.replace("_", " "))
    elif {**ours, **plain} == ours:
        told.same += 1
    else:
        told.conflicts.append(
            f"{table.replace('_', ' ').removesuffix('s')} {row['id']}: not the same in both;"
            " ours was kept."
        )


def _row(db: Database, table: str, row_id: str) -> dict[str, Any] | None:
    return next(iter(db.query(f"SELECT * FROM {table} WHERE id = ?", [row_id])), None)


def _insert(db: Database, table: str, row: Mapping[str, Any]) -> None:
    names = ", ".join(row)
    places = ", ".join(f":{name}" for name in row)
    try:
        db.execute(f"INSERT INTO {table} ({names}) VALUES ({places})", dict(row))
    except database_errors("IntegrityError") as error:
        raise _refused(table, error) from error
    except UnicodeEncodeError as error:
        raise _refused(table, error) from error


def _refused(table: str, error: Exception) -> StoreError:
    return StoreError(
        f"The record of {table.replace('_', ' ')} is refused: {error}.", "Nothing was taken."
    )


class _place:  # noqa: N801  # reads as a statement
    """Adds to a refusal where in the file it stands."""

    def __init__(self, where: str) -> None:
        self._where = where

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        if isinstance(error, StoreError):
            raise StoreError(f"{self._where}: {error.message}", error.hint) from error
