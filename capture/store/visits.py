"""Clients, assessors, their visits and what was computed from them."""

import json
import unicodedata
from collections.abc import Iterable
from typing import Any, TypeVar

from sqlite_utils import Database

from capture.store.connection import writing
from capture.store.errors import StoreError
from capture.store.rows import (
    Assessor,
    Client,
    Result,
    VisitRow,
    as_text,
    as_typed,
    as_whole,
    client_of,
    to_json,
)
from capture.visit.entry import Plain

_Person = TypeVar("_Person", Client, Assessor)

_VISITS = """
    SELECT visits.*,
        clients.id AS person_id, clients.created_at AS client_created_at,
        clients.name AS client_name,
        clients.sex, clients.birth_date, clients.note, clients.equation, clients.conversion,
        clients.show_fat_percent, clients.show_norms,
        assessors.created_at AS assessor_created_at, assessors.name AS assessor_name
    FROM visits
    LEFT JOIN people ON people.client_id = visits.client_id
    JOIN clients ON clients.id = coalesce(people.person_id, visits.client_id)
    JOIN assessors ON assessors.id = visits.assessor_id
"""
_NEWEST_FIRST = " ORDER BY julianday(visits.started_at) DESC, visits.rowid DESC"


def unknown_visit() -> StoreError:
    """Say that the store holds no such visit."""
    return StoreError("The store holds no such visit.", "List the visits and take one of them.")


def add_client(db: Database, client: Client) -> None:
    """Save a client. Raises `StoreError` or `sqlite3.IntegrityError` if a value is refused."""
    _insert(
        db,
        "clients",
        id=client.id,
        created_at=as_text(client.created_at, "time"),
        name=as_typed(client.name, "name"),
        sex=as_text(client.sex, "sex"),
        birth_date=None if client.birth_date is None else as_text(client.birth_date, "birth date"),
        note=as_typed(client.note, "note"),
        equation=None if client.equation is None else as_text(client.equation, "equation"),
        conversion=None if client.conversion is None else as_text(client.conversion, "conversion"),
        show_fat_percent=int(client.show_fat_percent),
        show_norms=int(client.show_norms),
    )


def add_assessor(db: Database, assessor: Assessor) -> None:
    """Save an assessor. Raises as `add_client` does."""
    _insert(
        db,
        "assessors",
        id=assessor.id,
        created_at=as_text(assessor.created_at, "time"),
        name=as_typed(assessor.name, "name"),
    )


def clients(db: Database) -> list[Client]:
    """Read all clients in the order in which they were added.

    One who was found to be the same person as another is left out.
    """
    return [
        client_of(row)
        for row in db.query(
            "SELECT * FROM clients WHERE id NOT IN"
            " (SELECT client_id FROM people WHERE client_id <> person_id) ORDER BY rowid"
        )
    ]


def assessors(db: Database) -> list[Assessor]:
    """Read all assessors in the order in which they were added."""
    return [Assessor(**row) for row in db.query("SELECT * FROM assessors ORDER BY rowid")]


def find(people: Iterable[_Person], name: str) -> _Person | None:
    """Find the one person of this name, whatever the case and the way of writing accents.

    None if there is nobody. Raises `StoreError` if there are several: a name must not pick one.
    """
    found = [person for person in people if _folded(person.name) == _folded(name)]
    if len(found) > 1:
        raise StoreError(
            "Several people in the store have this name.",
            "Name the one you mean by the identifier.",
        )
    return found[0] if found else None


def begin_visit(
    db: Database,
    visit_id: str,
    *,
    client_id: str,
    assessor_id: str,
    at: str,
    plan: Plain,
    program_version: str,
) -> None:
    """Save a new visit with its plan. Raises `StoreError` if client or assessor is unknown."""
    with writing(db):
        for table, known_id in (("clients", client_id), ("assessors", assessor_id)):
            if db.execute(f"SELECT 1 FROM {table} WHERE id = ?", [known_id]).fetchone() is None:
                raise StoreError(
                    f"The store holds no such {table.removesuffix('s')}.",
                    "Add the person first.",
                )
        _insert(
            db,
            "visits",
            id=visit_id,
            client_id=client_id,
            assessor_id=assessor_id,
            started_at=as_text(at, "time"),
            plan=to_json(plan, "plan"),
            program_version=as_text(program_version, "version of the program"),
        )


def visits(db: Database, client_id: str | None = None) -> list[VisitRow]:
    """Read the visits, of one client or of all, the newest first."""
    where = "" if client_id is None else " WHERE clients.id = ?"
    given = [] if client_id is None else [client_id]
    return [_visit(row) for row in db.query(_VISITS + where + _NEWEST_FIRST, given)]


def open_visits(db: Database) -> list[VisitRow]:
    """Read the visits that are not signed off, the newest first."""
    where = " WHERE visits.id IN (SELECT visit_id FROM day_list WHERE NOT signed_off)"
    return [_visit(row) for row in db.query(_VISITS + where + _NEWEST_FIRST)]


def visit(db: Database, visit_id: str) -> VisitRow:
    """Read one visit. Raises `StoreError` if it is unknown."""
    for row in db.query(_VISITS + " WHERE visits.id = ?", [visit_id]):
        return _visit(row)
    raise unknown_visit()


def add_result(db: Database, result: Result) -> None:
    """Save what was computed from a visit, inside the caller's transaction.

    Raises `StoreError` if the visit is unknown or has no such entry.
    """
    sequence = as_whole(result.sequence, "sequence")
    visit(db, result.visit_id)
    if not db.execute(
        "SELECT 1 FROM journal WHERE visit_id = ? AND sequence = ?",
        [result.visit_id, sequence],
    ).fetchone():
        raise StoreError(
            f"The visit has no entry {sequence}.", "Compute the result from the visit again."
        )
    _insert(
        db,
        "results",
        id=result.id,
        visit_id=result.visit_id,
        computed_at=as_text(result.computed_at, "time"),
        sequence=sequence,
        result=to_json(result.result, "result"),
    )


def results(db: Database, visit_id: str) -> list[Result]:
    """Read what was computed from a visit, oldest first. Raises `StoreError` if it is unknown."""
    visit(db, visit_id)
    return [
        Result(**{**row, "result": json.loads(row["result"])})
        for row in db.query("SELECT * FROM results WHERE visit_id = ? ORDER BY rowid", [visit_id])
    ]


def _insert(db: Database, table: str, **row: Any) -> None:
    """Add one row; the names of columns are ours, never a caller's."""
    places = ", ".join(f":{column}" for column in row)
    db.execute(f"INSERT INTO {table} ({', '.join(row)}) VALUES ({places})", row)


def _folded(name: str) -> str:
    return unicodedata.normalize("NFC", " ".join(name.split())).casefold()


def _visit(row: dict[str, Any]) -> VisitRow:
    return VisitRow(
        id=row["id"],
        client=Client(
            id=row["person_id"],
            created_at=row["client_created_at"],
            name=row["client_name"],
            sex=row["sex"],
            birth_date=row["birth_date"],
            note=row["note"],
            equation=row["equation"],
            conversion=row["conversion"],
            show_fat_percent=bool(row["show_fat_percent"]),
            show_norms=bool(row["show_norms"]),
        ),
        assessor=Assessor(
            id=row["assessor_id"],
            created_at=row["assessor_created_at"],
            name=row["assessor_name"],
        ),
        started_at=row["started_at"],
        plan=json.loads(row["plan"]),
        program_version=row["program_version"],
    )
