"""One SQLite file that keeps clients, visits and the journal of every call. Never prints."""

from capture.store.errors import StoreBusyError, StoreError
from capture.store.journal import reading_id
from capture.store.place import default_store_path
from capture.store.rows import Assessor, Client, Result, VisitRow
from capture.store.store import Store, open_store

__all__ = [
    "Assessor",
    "Client",
    "Result",
    "Store",
    "StoreBusyError",
    "StoreError",
    "VisitRow",
    "default_store_path",
    "open_store",
    "reading_id",
]
