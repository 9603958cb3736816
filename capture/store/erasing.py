"""Erasing a person on request. The only place where rows of the journal are ever removed."""

from collections.abc import Collection

from sqlite_utils import Database

from capture.store.connection import writing
from capture.store.errors import StoreError
from capture.store.rows import as_text

_OF_VISITS = ("briefs", "amendments", "results", "reading_facts", "journal")
_OF_CLIENTS = ("people", "client_edits", "client_links", "visits")
_LOCKED = (*_OF_VISITS, "visits", "client_edits", "client_links")


def erase(db: Database, client_ids: Collection[str], at: str) -> int:
    """Remove these clients with all that is theirs; the number of visits removed.

    The triggers that keep the tables append-only are lifted inside this one transaction and
    stand again when it ends, whichever way it ends. The connection overwrites what it removes;
    the file is then written anew and the write-ahead log emptied. Raises `StoreError` for an
    unknown client.
    """
    marks = ", ".join("?" for _ in client_ids)
    ids = list(client_ids)
    with writing(db):
        known = db.execute(f"SELECT count(*) FROM clients WHERE id IN ({marks})", ids).fetchone()
        if known[0] != len(ids):
            raise StoreError("The store holds no such client.", "See 'foldcall clients list'.")
        locks = db.execute(
            "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND name IN"
            f" ({', '.join('?' for _ in _LOCKED)})",
            [f"{table}_no_delete" for table in _LOCKED],
        ).fetchall()
        for name, _ in locks:
            db.execute(f"DROP TRIGGER {name}")
        visits = f"SELECT id FROM visits WHERE client_id IN ({marks})"
        (count,) = db.execute(f"SELECT count(*) FROM ({visits})", ids).fetchone()
        for table in _OF_VISITS:
            db.execute(f"DELETE FROM {table} WHERE visit_id IN ({visits})", ids)
        db.execute(f"DELETE FROM client_links WHERE same_as IN ({marks})", ids)
        for table in _OF_CLIENTS:
            db.execute(f"DELETE FROM {table} WHERE client_id IN ({marks})", ids)
        db.execute(f"DELETE FROM clients WHERE id IN ({marks})", ids)
        for client_id in ids:
            db.execute("INSERT INTO tombstones VALUES (?, ?)", [client_id, as_text(at, "time")])
        for _, statement in locks:
            db.execute(statement)
    db.execute("VACUUM")
    busy, *_ = db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    if busy:
        raise StoreError(
            "The person is erased, but another program has the store open, so that what was"
            " removed may still lie in the file beside it.",
            "Close the other program, then open and close the store once.",
        )
    return int(count)
