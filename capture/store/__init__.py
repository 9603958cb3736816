"""One SQLite file that keeps clients, visits and the journal of every call. Never prints."""

from capture.store.backups import Held, look_over
from capture.store.cipher import Passphrase, is_encrypted
from capture.store.converting import convert, overwrite
from capture.store.errors import (
    StoreBusyError,
    StoreError,
    StoreLockedError,
    StoreUnusableError,
)
from capture.store.journal import reading_id
from capture.store.place import default_store_path, make_folder
from capture.store.restoring import Restored, restore
from capture.store.rows import Assessor, Client, Result, VisitRow
from capture.store.store import Store, open_store

__all__ = [
    "Assessor",
    "Client",
    "Held",
    "Passphrase",
    "Restored",
    "Result",
    "Store",
    "StoreBusyError",
    "StoreError",
    "StoreLockedError",
    "StoreUnusableError",
    "VisitRow",
    "convert",
    "default_store_path",
    "is_encrypted",
    "look_over",
    "make_folder",
    "open_store",
    "overwrite",
    "reading_id",
    "restore",
]
