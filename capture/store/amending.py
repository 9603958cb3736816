"""Amendments: what a reviewer changed, beside the journal and never in it."""

import json

from sqlite_utils import Database

from capture.store.connection import writing
from capture.store.errors import StoreError
from capture.store.rows import as_id, as_text, as_typed
from capture.store.visits import visit


def amend(
    db: Database,
    visit_id: str,
    *,
    at: str,
    by_name: str,
    reason: str,
    kind: str,
    number: int | None = None,
    value_tenths_mm: int | None = None,
) -> None:
    """Add an amendment after those that stand: `value`, `withdrawn`, `as_taken`, `signed_off`.

    Raises `StoreError` if the visit or reading is unknown, or a second sign-off is asked for.
    """
    with writing(db):
        visit(db, visit_id)
        if (
            number is not None
            and not db.execute(
                "SELECT 1 FROM reading_facts WHERE visit_id = ? AND number = ?", [visit_id, number]
            ).fetchone()
        ):
            raise StoreError(f"The visit has no reading {number}.", "Look at its readings first.")
        (signed,) = db.execute(
            "SELECT signed_off FROM day_list WHERE visit_id = ?", [visit_id]
        ).fetchone()
        if (
            kind == "signed_off"
            and db.execute(
                "SELECT 1 FROM amendments WHERE visit_id = ? AND kind = 'signed_off'", [visit_id]
            ).fetchone()
        ):
            raise StoreError("The visit is signed off by name already.", "Nothing was changed.")
        db.execute(
            "INSERT INTO amendments (id, visit_id, at, by_name, reason, kind, number,"
            " value_tenths_mm, follows, after_sign_off) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [
                as_id(None),
                visit_id,
                as_text(at, "time"),
                as_typed(by_name, "name"),
                as_typed(reason, "reason"),
                kind,
                number,
                value_tenths_mm,
                json.dumps(_ends(db, visit_id, number), separators=(",", ":")),
                int(signed and kind != "signed_off"),
            ],
        )


def _ends(db: Database, visit_id: str, number: int | None) -> list[str]:
    """The amendments of this reading that none follows yet."""
    if number is None:
        return []
    rows = db.execute(
        "SELECT id, follows FROM amendments WHERE visit_id = ? AND number = ?", [visit_id, number]
    ).fetchall()
    followed = {one for _, follows in rows for one in json.loads(follows)}
    return sorted(each for each, _ in rows if each not in followed)
