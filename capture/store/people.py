"""Edits of clients and who is the same person as whom: kept as they were made, at each station.

A client's row shows what its edits lead to. Where two stations edited apart, it shows the last
edit that both know, and the fork is told until another edit settles it. Only what a client is
shown errs on the careful side meanwhile: what either station hid stays hidden.
"""

import json
from collections.abc import Mapping
from typing import Any
from uuid import UUID, uuid5

from sqlite_utils import Database

from capture.store.connection import writing
from capture.store.errors import StoreError
from capture.store.rows import Client, as_text, as_typed, client_of, new_id, to_json

_WRITTEN = ("name", "sex", "birth_date", "note")
_CHOICES: Mapping[str, Any] = {
    "equation": None,
    "conversion": None,
    "show_fat_percent": 1,
    "show_norms": 1,
}
"""What a client chose, each with what holds where nothing is told of it."""
_SHOWN = ("show_fat_percent", "show_norms")
_FIELDS = (*_WRITTEN, *_CHOICES)


def base_edit(client: Mapping[str, Any]) -> dict[str, Any]:
    """A client as first written, as an edit that follows none; equal at every station.

    A station that knew of no choices gave the same identifier to the same client.
    """
    values = {name: client[name] for name in _WRITTEN}
    values |= {name: client.get(name, usual) for name, usual in _CHOICES.items()}
    values |= {name: int(values[name]) for name in _SHOWN}  # true in a file, 1 in a table
    told = {name: v for name, v in values.items() if name in _WRITTEN or v != _CHOICES[name]}
    return {
        "id": str(uuid5(UUID(client["id"]), json.dumps(told, ensure_ascii=False))),
        "client_id": client["id"],
        "at": client["created_at"],
        "follows": "[]",
        **values,
    }


def edit_client(db: Database, client_id: str, at: str, changes: Mapping[str, Any]) -> Client:
    """Change some of what is known of a client; what it was is kept.

    Raises `StoreError` for an unknown client.
    """
    with writing(db):
        if _client(db, client_id) is None:
            raise StoreError("The store holds no such client.", "See 'foldcall clients list'.")
        _edit(db, client_id, at, changes)
        (row,) = db.query("SELECT * FROM clients WHERE id = ?", [client_id])
        return client_of(row)


def _edit(db: Database, client_id: str, at: str, changes: Mapping[str, Any]) -> None:
    for name in {"name", "note"} & changes.keys():
        as_typed(changes[name], name)
    row = _client(db, client_id) or {}
    if not _edits(db, client_id):
        _insert(db, base_edit(row))
    heads = _heads(_edits(db, client_id))
    _insert(
        db,
        {
            "id": new_id(),
            "client_id": client_id,
            "at": as_text(at, "time"),
            "follows": to_json(sorted(heads), "earlier edits"),  # type: ignore[arg-type]
            **{name: changes.get(name, row[name]) for name in _FIELDS},
        },
    )
    follow_edits(db, client_id)


def _client(db: Database, client_id: str) -> dict[str, Any] | None:
    return next(iter(db.query("SELECT * FROM clients WHERE id = ?", [client_id])), None)


def follow_edits(db: Database, client_id: str) -> bool:
    """Bring a client's row to what its edits lead to; whether they lead to several."""
    edits = _edits(db, client_id)
    if not edits:
        return False
    heads = _heads(edits)
    common = set.intersection(*(_ancestors(edits, head) for head in heads))
    # No edit in common: two stations wrote the client differently from the start.
    shown = max(common or edits, key=lambda each: (edits[each]["at"], each))
    if len(heads) == 1:
        (shown,) = heads
    values = {name: edits[shown][name] for name in _FIELDS}
    for name in _SHOWN:
        values[name] = min(edits[head][name] for head in heads)
    changed = ", ".join(f"{name} = :{name}" for name in _FIELDS)
    db.execute(f"UPDATE clients SET {changed} WHERE id = :id", {**values, "id": client_id})
    return len(heads) > 1


def client_heads(db: Database, client_id: str) -> list[dict[str, Any]]:
    """The ends of a client's edits: one, or several where stations edited apart."""
    edits = _edits(db, client_id)
    return [edits[head] for head in sorted(_heads(edits))]


def link_clients(db: Database, client_id: str, same_as: str, at: str) -> None:
    """Note that two clients are one person; visits of both are then listed under `same_as`.

    What was hidden from the one is hidden from the other as well.
    """
    with writing(db):
        people = {row["id"] for row in db.query("SELECT id FROM clients")}
        if not {client_id, same_as} <= people:
            raise StoreError("The store holds no such client.", "See 'foldcall clients list'.")
        if client_id == same_as or person(db, client_id) == person(db, same_as):
            raise StoreError("These are one client already.", "Nothing was changed.")
        gone, kept = person(db, client_id), person(db, same_as)
        db.execute(
            "INSERT INTO client_links (id, client_id, same_as, at) VALUES (?, ?, ?, ?)",
            [new_id(), gone, kept, as_text(at, "time")],
        )
        rebuild_people(db)
        one, other = _client(db, gone) or {}, _client(db, kept) or {}
        hidden = {name: 0 for name in _SHOWN if one[name] < other[name]}
        if hidden:
            _edit(db, kept, at, hidden)


def person(db: Database, client_id: str) -> str:
    """The client under whom this one's visits are listed."""
    row = db.execute("SELECT person_id FROM people WHERE client_id = ?", [client_id]).fetchone()
    return client_id if row is None else str(row[0])


def same_person(db: Database, client_id: str) -> tuple[str, ...]:
    """All the clients that are this person."""
    mine = person(db, client_id)
    found = {
        row[0] for row in db.execute("SELECT client_id FROM people WHERE person_id = ?", [mine])
    }
    return tuple(sorted(found | {mine}))


def rebuild_people(db: Database) -> None:
    """Work out who is listed under whom; the order in which the links came does not matter."""
    links = db.execute("SELECT client_id, same_as FROM client_links ORDER BY at, id").fetchall()
    group: dict[str, set[str]] = {}
    for one, other in links:
        joined = group.get(one, {one}) | group.get(other, {other})
        for each in joined:
            group[each] = joined
    db.execute("DELETE FROM people")
    given_up = {one for one, _ in links}
    for client_id, members in sorted(group.items()):
        kept = sorted(members - given_up) or sorted(members)
        db.execute("INSERT INTO people VALUES (?, ?)", [client_id, kept[0]])


def _edits(db: Database, client_id: str) -> dict[str, dict[str, Any]]:
    return {
        row["id"]: {**row, "follows": json.loads(row["follows"])}
        for row in db.query("SELECT * FROM client_edits WHERE client_id = ?", [client_id])
    }


def _heads(edits: Mapping[str, Mapping[str, Any]]) -> set[str]:
    followed = {one for each in edits.values() for one in each["follows"]}
    return set(edits) - followed


def _ancestors(edits: Mapping[str, Mapping[str, Any]], head: str) -> set[str]:
    found: set[str] = set()
    left = [head]
    while left:
        each = left.pop()
        if each in edits and each not in found:
            found.add(each)
            left.extend(edits[each]["follows"])
    return found


def _insert(db: Database, row: Mapping[str, Any]) -> None:
    names = ", ".join(row)
    places = ", ".join(f":{name}" for name in row)
    db.execute(f"INSERT INTO client_edits ({names}) VALUES ({places})", dict(row))
