"""The command `foldcall backup`: a whole copy of the store, made while a visit may run."""

import argparse
from datetime import datetime
from pathlib import Path

from capture.errors import MisuseError
from capture.store import Held, default_store_path, look_over, make_folder
from capture.terminal import show
from capture.transfer import store_of, store_option
from capture.unlock import passphrase_of
from capture.wiring import local_time

FOLDER = "backups"
"""Where a backup goes that is given no place: a folder beside the store."""

_TOLD = ("clients", "visits", "journal")


def add_command(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `backup` to the commands of a parser."""
    parser = commands.add_parser("backup", help="copy the store safely, or check such a copy")
    parser.add_argument(
        "to",
        metavar="TO",
        nargs="?",
        type=Path,
        help=f"a new file, or a folder (default: {FOLDER} beside the store)",
    )
    parser.add_argument(
        "--check", metavar="FILE", type=Path, help="look a backup over instead of making one"
    )
    store_option(parser)
    parser.set_defaults(command=run)


def run(chosen: argparse.Namespace) -> int:
    """Make a backup, or check one; the exit code."""
    if chosen.check is not None:
        if chosen.to is not None:
            raise MisuseError("A backup is made or checked.", "Leave out TO or --check.")
        held = look_over(chosen.check, lambda: passphrase_of(chosen.check))
        show(f"Sound: {held.path}")
    else:
        with store_of(chosen) as store:
            held = store.backup(_place(chosen, store.path))
        show(f"Written and read again: {held.path}")
    for line in told(held):
        show(line)
    return 0


def told(held: Held) -> list[str]:
    """What a copy holds, in words."""
    parts = [f"{held.counts.get(table, 0)} {_named(table)}" for table in _TOLD]
    at = "" if held.last_at is None else held.last_at[:16].replace("T", " ")
    last = f" The last one is of {at}." if at else ""
    lines = [f"It holds {', '.join(parts)}.{last}"]
    if held.replayed is not None:
        lines.append(f"Visit {held.replayed[:8]} was replayed from it.")
    if not held.is_private:
        lines.append(
            "Other users can read it: its disk keeps no permissions, or they were changed."
        )
    return lines


def _named(table: str) -> str:
    return "entries of journals" if table == "journal" else table


def _place(chosen: argparse.Namespace, store: Path) -> Path:
    """The file a backup goes to, named by the present minute where only a folder is given."""
    now = datetime.fromisoformat(local_time())
    name = f"{store.stem}-{now:%Y-%m-%d-%H%M%S}.db"
    if chosen.to is None:
        folder = (chosen.store or default_store_path()).resolve().parent / FOLDER
        make_folder(folder)
        return folder / name
    to: Path = chosen.to
    return to / name if to.is_dir() else to
