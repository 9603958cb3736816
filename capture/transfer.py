"""The commands `foldcall export` and `foldcall import`: what leaves the program and comes back."""

import argparse
import os
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

from capture.errors import CaptureError, MisuseError
from capture.exchange.document import document_lines, read_document
from capture.exchange.errors import FileRefused
from capture.exchange.fhir import bundle
from capture.exchange.table import dictionary_lines, table_lines
from capture.exchange.table_read import read_table
from capture.showable import json_text
from capture.store import Store, default_store_path
from capture.terminal import show
from capture.unlock import open_unlocked
from capture.wording.counted import counted

MOST_BYTES = 256_000_000
"""A larger file is refused: it is read whole. Export clients one by one, or merge stores."""


def add_commands(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `export` and `import` to the commands of a parser."""
    out = commands.add_parser("export", help="write readings as a CSV table, JSON or FHIR")
    out.add_argument("file", metavar="FILE", type=Path, help="must not exist yet")
    out.add_argument(
        "--as",
        dest="form",
        choices=tuple(_WRITERS),
        help="the form (default: by the file's ending, .csv or .json)",
    )
    out.add_argument("--client", metavar="NAME", help="one client only, by name or identifier")
    store_option(out)
    out.set_defaults(command=run_export)
    back = commands.add_parser("import", help="take an exported CSV table or JSON file back")
    back.add_argument("file", metavar="FILE", type=Path, help="ends in .csv or .json")
    store_option(back)
    back.set_defaults(command=run_import)


def store_option(parser: argparse.ArgumentParser) -> None:
    """Add `--store` to a command."""
    parser.add_argument("--store", metavar="FILE", type=Path, help="another store than the usual")


def store_of(chosen: argparse.Namespace, *, create: bool = False) -> Store:
    """Open the store that a command names, or the usual one."""
    return open_unlocked(chosen.store or default_store_path(), create=create)


def client_id_of(store: Store, named: str) -> str:
    """A client by identifier, or by name if only one has it. Raises `CaptureError` if none."""
    for client in store.clients():
        if client.id == named.lower():
            return client.id
    found = store.find_client(named)
    if found is None:
        raise CaptureError("There is no such client.", "See 'foldcall clients list'.")
    return found.id


def run_export(chosen: argparse.Namespace) -> int:
    """Write the export; the exit code."""
    form = chosen.form or chosen.file.suffix.removeprefix(".").lower()
    if form not in _WRITERS:
        raise MisuseError("The form is not known.", "Give --as csv, json or fhir.")
    with store_of(chosen) as store:
        only = None
        if chosen.client is not None:
            only = store.same_person(client_id_of(store, chosen.client))
        write_new(chosen.file, _WRITERS[form](store, only))
    show(f"Written: {chosen.file}")
    if form == "csv":
        beside = chosen.file.with_suffix(".columns.csv")
        write_new(beside, dictionary_lines())
        show(f"What its columns say: {beside}")
    return 0


def write_json(store: Store, only: Iterable[str] | None) -> Iterator[str]:
    """The JSON export as lines with their ends."""
    ids = None if only is None else tuple(only)
    for line in document_lines(store.people_snapshot(ids), store.visit_snapshots(ids)):
        yield f"{line}\n"


def _write_table(store: Store, only: Iterable[str] | None) -> Iterator[str]:
    ids = None if only is None else tuple(only)
    return table_lines(store.people_snapshot(ids), store.visit_snapshots(ids))


def _write_fhir(store: Store, only: Iterable[str] | None) -> Iterator[str]:
    ids = None if only is None else tuple(only)
    found = bundle(store.people_snapshot(ids), store.visit_snapshots(ids))
    yield json_text(found, indent=1)
    yield "\n"


_WRITERS: dict[str, Callable[[Store, Iterable[str] | None], Iterator[str]]] = {
    "csv": _write_table,
    "json": write_json,
    "fhir": _write_fhir,
}


def write_new(path: Path, parts: Iterable[str]) -> None:
    """Write a new file that only its owner can read; an existing one is never overwritten.

    What was begun is removed if it cannot be finished.
    """
    try:
        descriptor = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    except FileExistsError as error:
        raise CaptureError("There is a file of this name already.", "Give a new name.") from error
    except (OSError, ValueError) as error:
        raise _cannot("written", error) from error
    try:
        with os.fdopen(descriptor, "w", encoding="utf-8", newline="") as file:
            file.writelines(parts)
    except BaseException as error:
        path.unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise _cannot("written", error) from error
        raise


def _cannot(what: str, error: Exception) -> CaptureError:
    reason = getattr(error, "strerror", None) or "the name is none"
    return CaptureError(f"The file cannot be {what}: {reason}.", "Check its name and place.")


def read_text(path: Path) -> str:
    """The text of a file from elsewhere, if it is UTF-8 and not huge."""
    try:
        with path.open("rb") as file:
            found = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        raise _cannot("read", error) from error
    if len(found) > MOST_BYTES:
        raise FileRefused(f"The file is larger than {MOST_BYTES // 1_000_000} MB.")
    try:
        return found.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = found[: error.start].count(b"\n") + 1
        raise FileRefused(f"Line {line} is no UTF-8 text.") from error


def run_import(chosen: argparse.Namespace) -> int:
    """Take a file back, whole or not at all; the exit code."""
    reader = {".csv": read_table, ".json": read_document}.get(chosen.file.suffix.lower())
    if reader is None:
        raise MisuseError("The form is not known.", "The file's name must end in .csv or .json.")
    try:
        found: dict[str, Any] = reader(read_text(chosen.file))
    except FileRefused as error:
        for problem in error.problems:
            show(problem, error=True)
        raise
    people = {name: rows for name, rows in found.items() if isinstance(rows, list)}
    visits = people.pop("visits")
    with store_of(chosen, create=True) as store:
        told = store.join(people, visits, named="the file", refuse_conflicts=True)
    show(told_in_words(told.added, told.same))
    return 0


def told_in_words(added: dict[str, int], same: int) -> str:
    """What was taken, in one line.

    >>> told_in_words({"clients": 1, "visits": 2}, 0)
    'Taken: 1 client, 2 visits. Already there: 0.'
    """
    parts = ", ".join(
        counted(count, what.removesuffix("s"), what) for what, count in sorted(added.items())
    )
    return f"Taken: {parts or 'nothing'}. Already there: {same}."
