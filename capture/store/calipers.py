"""The calipers of the store, their checks with gauge blocks, and which of them are retired."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlite_utils import Database

from capture.protocol.caliper import Caliper, GaugeCheck, GaugePoint
from capture.store.connection import writing
from capture.store.errors import StoreError
from capture.store.rows import as_text, as_typed, new_id

_TABLES = {
    "calipers": "added_at, id",
    "gauge_checks": "checked_on, at, id",
    "caliper_changes": "julianday(at), id",
}


@dataclass(frozen=True, slots=True)
class CaliperChange:
    """That a caliper was retired, or taken into use again; `at` is ISO 8601 with offset."""

    in_use: bool
    at: str
    by_name: str
    reason: str


@dataclass(frozen=True, slots=True)
class KeptCaliper:
    """A caliper of the store; the last of its `checks` and of its `changes` count."""

    id: str
    added_at: str
    caliper: Caliper
    checks: tuple[tuple[str, GaugeCheck], ...] = ()
    """Who made each check, and the check, the oldest first."""
    changes: tuple[CaliperChange, ...] = ()
    """When it was retired or taken into use again, the oldest first."""

    @property
    def in_use(self) -> bool:
        """Whether it is offered; a retired one stays for the visits that were made with it."""
        return not self.changes or self.changes[-1].in_use


def add(db: Database, caliper: Caliper, at: str) -> None:
    """Keep a caliper. Raises `StoreError` if one of this description is kept already."""
    for each in kept(db):
        if not _same(each.caliper.description, caliper.description):
            continue
        if each.in_use:
            raise StoreError(
                "A caliper of this description is kept already.", "Describe the new one otherwise."
            )
        # Visits tell calipers apart by their descriptions.
        raise StoreError(
            "A retired caliper has this description.",
            "Describe the new one otherwise; if it is the same, 'foldcall caliper return' it.",
        )
    with writing(db):
        db.execute(
            "INSERT INTO calipers VALUES (?, ?, ?, ?, ?)",
            [
                new_id(),
                as_text(at, "time"),
                as_typed(caliper.description.strip(), "description"),
                caliper.step_tenths_mm,
                caliper.opening_tenths_mm,
            ],
        )


def add_check(db: Database, caliper_id: str, check: GaugeCheck, by_name: str, at: str) -> None:
    """Keep a check of a caliper; earlier ones stay."""
    points = [[each.nominal_tenths_mm, each.read_tenths_mm] for each in check.points]
    with writing(db):
        db.execute(
            "INSERT INTO gauge_checks VALUES (?, ?, ?, ?, ?, ?)",
            [
                new_id(),
                caliper_id,
                as_text(at, "time"),
                as_text(check.on, "day"),
                as_typed(by_name, "name"),
                json.dumps(points),
            ],
        )


def add_change(db: Database, caliper_id: str, change: CaliperChange) -> None:
    """Retire a caliper or take it into use again. Raises `StoreError` if it stands so already."""
    for each in kept(db):
        if each.id == caliper_id and each.in_use == change.in_use:
            raise StoreError(
                f"The caliper is {'in use' if change.in_use else 'retired'} already.",
                "See 'foldcall caliper list'.",
            )
    with writing(db):
        db.execute(
            "INSERT INTO caliper_changes VALUES (?, ?, ?, ?, ?, ?)",
            [
                new_id(),
                caliper_id,
                as_text(change.at, "time"),
                int(change.in_use),
                as_typed(change.by_name, "name"),
                as_typed(change.reason, "reason"),
            ],
        )


def kept(db: Database) -> tuple[KeptCaliper, ...]:
    """All calipers, in the order in which they were added."""
    checks: dict[str, list[tuple[str, GaugeCheck]]] = {}
    found_rows = rows(db)
    for row in found_rows["gauge_checks"]:
        points = tuple(GaugePoint(*each) for each in json.loads(row["points"]))
        found = row["by_name"], GaugeCheck(row["checked_on"], points)
        checks.setdefault(row["caliper_id"], []).append(found)
    changes: dict[str, list[CaliperChange]] = {}
    for row in found_rows["caliper_changes"]:
        change = CaliperChange(bool(row["in_use"]), row["at"], row["by_name"], row["reason"])
        changes.setdefault(row["caliper_id"], []).append(change)
    return tuple(
        _kept(row, tuple(checks.get(row["id"], ())), tuple(changes.get(row["id"], ())))
        for row in found_rows["calipers"]
    )


def find(all_kept: Iterable[KeptCaliper], named: str) -> KeptCaliper:
    """The one caliper of this description in any case, or of this identifier.

    Raises `StoreError` if there is none, or if there are several.
    """
    found = [
        each
        for each in all_kept
        if each.id == named.lower() or _same(each.caliper.description, named)
    ]
    if len(found) == 1:
        return found[0]
    if found:
        ids = ", ".join(each.id for each in found)
        raise StoreError("Several calipers have this description.", f"Name one of: {ids}.")
    raise StoreError("There is no such caliper.", "See 'foldcall caliper list'.")


def rows(db: Database) -> dict[str, list[dict[str, Any]]]:
    """All of it as plain rows, for another station."""
    return {
        table: [dict(row) for row in db.query(f"SELECT * FROM {table} ORDER BY {order}")]
        for table, order in _TABLES.items()
    }


def take(db: Database, given: Mapping[str, Iterable[Mapping[str, Any]]]) -> int:
    """Add the rows of another station that are not here yet; how many."""
    count = 0
    with writing(db):
        for table in _TABLES:
            here = {row["id"] for row in db.query(f"SELECT id FROM {table}")}
            for row in given[table]:
                if row["id"] not in here:
                    names = ", ".join(f":{name}" for name in row)
                    db.execute(f"INSERT INTO {table} VALUES ({names})", dict(row))
                    count += 1
    return count


def _same(one: str, other: str) -> bool:
    return one.strip().casefold() == other.strip().casefold()


def _kept(
    row: Mapping[str, Any],
    checks: tuple[tuple[str, GaugeCheck], ...],
    changes: tuple[CaliperChange, ...],
) -> KeptCaliper:
    caliper = Caliper(
        row["description"],
        row["step_tenths_mm"],
        row["opening_tenths_mm"],
        checks[-1][1] if checks else None,
    )
    return KeptCaliper(row["id"], row["added_at"], caliper, checks, changes)
