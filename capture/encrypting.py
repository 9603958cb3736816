"""The commands `foldcall encrypt` and `foldcall decrypt`: a passphrase for the store, or none."""

import argparse
import sys
from pathlib import Path

from capture.errors import CaptureError, MisuseError
from capture.store import convert, default_store_path, is_encrypted
from capture.terminal import show
from capture.transfer import store_option
from capture.unlock import new_passphrase, passphrase_of

_WARNING = (
    "Whoever loses the passphrase loses the store: nobody can open it without.",
    "Write it down and keep it apart from this machine.",
)
_LEFT = (
    "The old file was overwritten once and removed. A solid-state disk, a file system with"
    " snapshots or a backup of the machine may still hold parts of it: only an encrypted disk"
    " helps against that.",
    "Backups, exports, reports and the sound of calls kept before stay readable: remove them"
    " yourself. An encrypted store keeps no sound.",
)


def add_commands(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `encrypt` and `decrypt` to the commands of a parser."""
    lock = commands.add_parser(
        "encrypt", help="encrypt the store with a passphrase, or give it another one"
    )
    store_option(lock)
    lock.set_defaults(command=encrypt)
    free = commands.add_parser("decrypt", help="leave the store readable without a passphrase")
    free.add_argument("--yes", action="store_true", help="do not ask")
    store_option(free)
    free.set_defaults(command=decrypt)


def encrypt(chosen: argparse.Namespace) -> int:
    """Encrypt the store, a new one too; the exit code."""
    path = _path(chosen)
    old = passphrase_of(path) if is_encrypted(path) else None
    for line in _WARNING:
        show(line)
    path = convert(path, old, new_passphrase())
    show(f"Encrypted: {path}")
    for line in _LEFT:
        show(line)
    return 0


def decrypt(chosen: argparse.Namespace) -> int:
    """Take the encryption away; the exit code."""
    path = _path(chosen)
    if not is_encrypted(path):
        raise CaptureError("The store is not encrypted.", "There is nothing to do.")
    old = passphrase_of(path)
    if not chosen.yes:
        if not sys.stdin.isatty():
            raise MisuseError("This has to be confirmed.", "Give --yes.")
        show("Whoever can read the file can then read all that is in it. Type yes:")
        if sys.stdin.readline().strip().casefold() != "yes":
            show("Nothing was changed.")
            return 1
    show(f"Not encrypted any more: {convert(path, old, None)}")
    return 0


def _path(chosen: argparse.Namespace) -> Path:
    path: Path = chosen.store or default_store_path()
    return path
