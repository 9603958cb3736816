"""Stores as earlier versions of the program left them."""

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from sqlite_utils import Database, Migrations

from capture.store import migrations


@contextlib.contextmanager
def store_of_steps(path: Path, count: int) -> Iterator[Database]:
    """A store after the first steps of its history; what is written to it is kept."""
    first = Migrations("foldcall")
    for name, step in migrations._STEPS[:count]:
        first(name=name)(step)
    with contextlib.closing(sqlite3.connect(path)) as opened:
        old = Database(opened)
        first.apply(old)
        yield old
        opened.commit()
