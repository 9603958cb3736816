"""The tables, triggers and views of the store, in the order in which they came.

A migration is never edited after its release: a change is a new one at the end. All tables are
STRICT. What was heard, keyed and computed is append-only, and triggers keep it so for every
program that opens the file. Lengths are whole tenths of a millimetre.
"""

from sqlite_utils import Database, Migrations

from capture.store.connection import pragma, writing
from capture.store.errors import StoreError
from capture.store.schema_001 import STATEMENTS
from capture.store.schema_002 import STATEMENTS as STATEMENTS_002
from capture.store.schema_003 import STATEMENTS as STATEMENTS_003
from capture.store.schema_004 import STATEMENTS as STATEMENTS_004
from capture.store.schema_005 import STATEMENTS as STATEMENTS_005
from capture.store.schema_006 import STATEMENTS as STATEMENTS_006
from capture.store.schema_007 import STATEMENTS as STATEMENTS_007

APPLICATION_ID = 0x666F6C64
"""Marks an SQLite file as a store of foldcall: the letters "fold" in ASCII."""


def _first_tables(db: Database) -> None:
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    for statement in STATEMENTS:
        db.execute(statement)


def _end_of_the_day(db: Database) -> None:
    for statement in STATEMENTS_002:
        db.execute(statement)


def _choices_of_clients(db: Database) -> None:
    for statement in STATEMENTS_003:
        db.execute(statement)


def _kept_briefs(db: Database) -> None:
    for statement in STATEMENTS_004:
        db.execute(statement)


def _calipers(db: Database) -> None:
    for statement in STATEMENTS_005:
        db.execute(statement)


def _dwell_in_the_views(db: Database) -> None:
    for statement in STATEMENTS_006:
        db.execute(statement)


def _retired_calipers(db: Database) -> None:
    for statement in STATEMENTS_007:
        db.execute(statement)


_STEPS = (
    ("001_first_tables", _first_tables),
    ("002_end_of_the_day", _end_of_the_day),
    ("003_choices_of_clients", _choices_of_clients),
    ("004_kept_briefs", _kept_briefs),
    ("005_calipers", _calipers),
    ("006_dwell", _dwell_in_the_views),
    ("007_retired_calipers", _retired_calipers),
)

migrations = Migrations("foldcall")
for _name, _step in _STEPS:
    migrations(name=_name)(_step)


def is_empty(db: Database) -> bool:
    """Say whether the database holds nothing at all, as one just made."""
    return db.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchone() is None


def is_older(db: Database) -> bool:
    """Say whether an older version wrote the store, so that some of today's tables lack."""
    return bool(migrations.pending(db))


def refuse_strangers(db: Database) -> None:
    """Raise `StoreError` if the file belongs to another program or to a newer foldcall.

    Nothing is written. An empty database is nobody's yet.
    """
    if is_empty(db):
        return
    if pragma(db, "application_id") != APPLICATION_ID:
        raise StoreError(
            "The file is a database of another program, not a store.",
            "Give the path of a store, or of a file that does not exist yet.",
        )
    known = {name for name, _ in _STEPS}
    if any(applied.name not in known for applied in migrations.applied(db)):
        raise StoreError(
            "The store was written by a newer version of foldcall.",
            "Update foldcall on this computer. Nothing was changed.",
        )


def migrate(db: Database) -> None:
    """Bring the store up to this version, whole or not at all.

    Two programs may open a new store at once: the second waits, then finds nothing to do.
    """
    if migrations.applied(db) and not migrations.pending(db):
        return
    with writing(db):
        refuse_strangers(db)
        migrations.apply(db)
