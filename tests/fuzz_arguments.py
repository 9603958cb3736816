"""Calls every command with nonsense in every argument, in the same process.

A command must do what it does, or refuse in words with the exit code 1 or 2: no traceback, no
other code. The commands and their arguments are read from the parser itself, so that a new one is
tried as soon as it is there. Paths are folders, devices, stores, files of other kinds and names
that no file can have; all that is written goes into a folder of its own.
"""

import argparse
import io
import os
import random
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest.mock import patch

from capture.cli import command_parser, main
from capture.store import open_store

NASTY = (
    "", " ", "0", "-0", "-0.0", "-1", "nan", "NaN", "inf", "-inf", "1e309", "1e-400", "0x10",
    "1_000", "1e5", "99999999999999999999999", "9" * 400, "0." + "9" * 400, "1/0", "6 3/0 in", "½",
    "٣", "12,5", "true", "\x1b[2J", "\x1b]0;x\x07", "\n", "\t", "\r", "\u202e", "\ufeff", "\x7f",
    "x" * 20_000, "é" * 5_000, "\udcff", "-", "--", "-x", "@file", "%s", "%(prog)s", "{}", "'", '"',
    "=1+1", "2026-02-30", "9999-12-31", "0000-00-00", "triceps=", "=10", "10=10", "10=nan", "1=1=1",
)  # fmt: skip
"""Values that programs take for something else. A NUL cannot be an argument of a program."""

PLAIN = (
    "1", "2", "12", "12.4", "0.2", "80", "40", "34", "170", "Rowan Alderby", "Tobias Quill",
    "Ada Moss", "female", "male", "yes", "no", "last", "2026-03-02", "1985-03-31", "seven_sites",
    "jackson_pollock_1978_men_7", "siri", "triceps=12", "chest=12,13", "10=10", "6 3/4 in", "1/3",
    "reading_wanted", "dial caliper", "csv", "json", "fhir", "max",
)  # fmt: skip
"""Values that mean something to one command or another."""

SELDOM = frozenset({"demo", "check", "measure", "listen", "phrases"})
"""Commands that load a model or play sound, which takes seconds."""

REFUSED = frozenset({1, 2})


@dataclass
class Arguments:
    """Makes calls and gives them; `last` is the call that was given last."""

    folder: Path
    last: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Make the places that paths may lead to."""
        self.folder.mkdir(exist_ok=True)
        with open_store(self.folder / "store.db") as store:
            store.add_client("Rowan Alderby", "male", at="2026-03-02T12:00:00+01:00")
        (self.folder / "deep").mkdir(exist_ok=True)
        (self.folder / "text.toml").write_text("[measure]\n", encoding="utf-8")
        (self.folder / "empty.wav").write_bytes(b"")
        (self.folder / "table.csv").write_text("a,b\n1,2\n", encoding="utf-8")
        self._commands = dict(commands(command_parser()))
        often = [name for name in self._commands if not SELDOM & set(name)]
        seldom = [name for name in self._commands if SELDOM & set(name)]
        self._names = often * 8 + seldom
        self._number = 0

    def __call__(self, rng: random.Random) -> bool:
        """One call; whether the command did what it does."""
        name = rng.choice(self._names)
        self.last = [*name, *self._given(self._commands[name], rng)]
        if rng.random() < 0.1:
            self.last.insert(rng.randrange(len(self.last) + 1), rng.choice(NASTY))
        code, told = called(self.last, self.folder)
        for sign in ("Something went wrong", "Traceback"):
            if sign in told:
                raise AssertionError(f"{sign}: {told[-3000:]}")
        if code not in {0, *REFUSED}:
            raise AssertionError(f"exit code {code}: {told[-3000:]}")
        if code in REFUSED and not told.strip():
            raise AssertionError("refused without a word")
        return code == 0

    def _given(self, parser: argparse.ArgumentParser, rng: random.Random) -> list[str]:
        """Arguments for one command: the needed ones mostly, of the others some."""
        placed, named = [], []
        for action in parser._actions:
            if isinstance(action, (argparse._HelpAction, argparse._SubParsersAction)):
                continue
            if not action.option_strings:
                placed += self._values(action, rng)
            elif rng.random() < (0.95 if action.required else 0.25):
                named += [rng.choice(action.option_strings), *self._values(action, rng)]
        return [*named, *placed] if rng.random() < 0.5 else [*placed, *named]

    def _values(self, action: argparse.Action, rng: random.Random) -> list[str]:
        if action.nargs == 0:
            return []
        count = 1 if action.nargs in {None, "?"} else rng.randint(0, 3)
        return [self._value(action, rng) for _ in range(count)]

    def _value(self, action: argparse.Action, rng: random.Random) -> str:
        if action.choices is not None and rng.random() < 0.8:
            return str(rng.choice(list(action.choices)))
        if action.type is Path and rng.random() < 0.8:
            return self._path(rng)
        return rng.choice(PLAIN if rng.random() < 0.6 else NASTY)

    def _path(self, rng: random.Random) -> str:
        self._number += 1
        new = f"new{self._number}"
        return rng.choice(
            (
                "store.db", "store.db", "text.toml", "empty.wav", "table.csv", "deep", ".", "..",
                "/", f"{new}.db", f"{new}.csv", f"{new}.json", f"{new}.html", f"deep/{new}",
                f"missing/{new}", "store.db/below", "/dev/null", "/dev/full", "/dev/zero",
                "/proc/self/mem", f"{new}\n.csv", f"{new}\x1b[2J.json", "n" * 300, "d/" * 3000,
                f"{new}\udcff.csv", "~nobody/x",
            )
        )  # fmt: skip


def commands(
    parser: argparse.ArgumentParser, name: tuple[str, ...] = ()
) -> Iterator[tuple[tuple[str, ...], argparse.ArgumentParser]]:
    """Every command with its parser; a command with actions is each of them."""
    below = [each for each in parser._actions if isinstance(each, argparse._SubParsersAction)]
    if not below:
        yield name, parser
    for each in below:
        for word, inner in each.choices.items():
            yield from commands(inner, (*name, word))


class NoTerminal(io.StringIO):
    """An output as of a pipe: UTF-8, and no terminal."""

    encoding = "utf-8"

    def write(self, text: str) -> int:
        """Refuse what a pipe cannot carry."""
        text.encode("utf-8")
        return super().write(text)


def called(arguments: Sequence[str], folder: Path) -> tuple[Any, str]:
    """Call the program in a folder, with nobody at the keyboard; the exit code and what it told."""
    out, error = NoTerminal(), NoTerminal()
    with at_home(folder), redirect_stdout(out), redirect_stderr(error):
        try:
            code: Any = main(list(arguments))
        except SystemExit as ended:
            code = 0 if ended.code is None else ended.code
    return code, out.getvalue()[-2000:] + error.getvalue()


@contextmanager
def at_home(folder: Path) -> Iterator[None]:
    """A home of its own for whatever is written."""
    places = {f"XDG_{name}_HOME": str(folder / name) for name in ("DATA", "CONFIG", "STATE")}
    variables: Mapping[str, str] = {
        **{name: value for name, value in os.environ.items() if not name.startswith("FOLDCALL")},
        **places,
        "HOME": str(folder),
        "XDG_RUNTIME_DIR": str(folder / "runtime"),
        "FOLDCALL_STORE": str(folder / "store.db"),
    }
    before = Path.cwd()
    os.chdir(folder)
    try:
        with (
            patch.dict(os.environ, variables, clear=True),
            patch.object(sys, "stdin", io.StringIO("")),
        ):
            yield
    finally:
        os.chdir(before)
