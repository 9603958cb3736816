"""The commands `foldcall backup` and `foldcall restore`: a whole copy, and the way back to it."""

import argparse
from datetime import datetime
from pathlib import Path

from capture.errors import MisuseError
from capture.store import (
    Held,
    default_store_path,
    is_encrypted,
    look_over,
    make_folder,
    restore,
)
from capture.terminal import show
from capture.transfer import store_of, store_option
from capture.unlock import passphrase_of
from capture.wiring import local_time
from capture.wording.counted import counted

FOLDER = "backups"
"""Where a backup goes that is given no place: a folder beside the store."""

_TOLD = {
    "clients": ("client",),
    "visits": ("visit",),
    "journal": ("journal entry", "journal entries"),
}


def add_commands(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `backup` and `restore` to the commands of a parser."""
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
    back = commands.add_parser(
        "restore", help="put a backup in the store's place; the store as it was stays beside it"
    )
    back.add_argument("backup", metavar="BACKUP", type=Path, help="a file that 'backup' wrote")
    store_option(back)
    back.set_defaults(command=run_restore)


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


def run_restore(chosen: argparse.Namespace) -> int:
    """Put a backup in the store's place; the exit code."""
    path = chosen.store or default_store_path()
    was_encrypted, is_now = is_encrypted(path), is_encrypted(chosen.backup)
    passphrase = passphrase_of(chosen.backup) if is_now else None
    now = local_time()
    done = restore(chosen.backup, path, passphrase, stamp=_stamp(now), at=now)
    show(f"Restored: {done.held.path}")
    for line in told(done.held):
        show(line)
    if done.erased:
        show(f"Erased since the backup, so from it too: {counted(done.erased, 'client')}.")
    if done.aside is None:
        return 0
    show(f"The store as it was lies beside it: {done.aside}")
    if done.erased is None:
        show("! It could not be read: clients who were erased since the backup are back.")
        return 0
    show(f"What only it holds comes in with: foldcall merge {done.aside}")
    if was_encrypted and not is_now:
        show("! The backup is not encrypted, as the store was: 'foldcall encrypt' encrypts it.")
    return 0


def told(held: Held) -> list[str]:
    """What a copy holds, in words."""
    parts = [counted(held.counts.get(table, 0), *nouns) for table, nouns in _TOLD.items()]
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


def _stamp(at: str) -> str:
    return f"{datetime.fromisoformat(at):%Y-%m-%d-%H%M%S}"


def _place(chosen: argparse.Namespace, store: Path) -> Path:
    """The file a backup goes to, named by the present minute where only a folder is given."""
    name = f"{store.stem}-{_stamp(local_time())}.db"
    if chosen.to is None:
        folder = (chosen.store or default_store_path()).resolve().parent / FOLDER
        make_folder(folder)
        return folder / name
    to: Path = chosen.to
    return to / name if to.is_dir() else to
