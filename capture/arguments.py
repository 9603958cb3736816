"""Arguments of the commands: what was called wrongly is told in one line, with what to do."""

import argparse
import difflib
import re
import sys
from typing import Any, NoReturn

from capture.errors import MisuseError
from capture.terminal import show

MOST_SHOWN = 40
"""Characters of a wrong word that are repeated."""

_CHOICE = re.compile(r"argument (?P<what>.*?): invalid choice: (?P<given>.*) \(choose from ", re.S)
_APART = re.compile(r"argument (?P<one>.*?): not allowed with argument (?P<other>.*)", re.S)
_VALUE = re.compile(r"argument (?P<what>.*?): expected (?:one|at least one|\d+) arguments?", re.S)
_MISSING = re.compile(r"the following arguments are required: (?P<what>.*)", re.S)
_NO_NUMBER = re.compile(r"argument (?P<what>.*?): invalid (?:int|float) value: (?P<given>.*)", re.S)
_SHORT = re.compile(r"ambiguous option: (?P<given>.*) could match (?P<all>.*)", re.S)
_UNKNOWN = re.compile(r"unrecognized arguments: (?P<what>.*)", re.S)


class Arguments(argparse.ArgumentParser):
    """A parser whose errors say what is wrong and what to do, as all others of the program."""

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """As `argparse` does, but a command tells of an argument that it does not know itself."""
        found, unknown = super().parse_known_args(args, namespace)
        if unknown and " " in self.prog:
            self.error(f"unrecognized arguments: {' '.join(unknown)}")
        return found, unknown

    def error(self, message: str) -> NoReturn:
        """Raise `MisuseError` for what `argparse` found wrong."""
        help_is = f"See '{self.prog} --help'."
        if found := _CHOICE.fullmatch(message.partition("choose from ")[0] + "choose from "):
            raise self._no_choice(found["what"], found["given"], help_is)
        if found := _APART.fullmatch(message):
            raise MisuseError(
                f"{found['one']} and {found['other']} do not go together.", "Leave one of them out."
            )
        if found := _VALUE.fullmatch(message):
            raise MisuseError(f"{found['what']} lacks its value.", help_is)
        if found := _MISSING.fullmatch(message):
            raise self._missing(found["what"].split(", "), help_is)
        if found := _UNKNOWN.fullmatch(message):
            raise self._unknown(found["what"].split(" ")[0], help_is)
        if found := _NO_NUMBER.fullmatch(message):
            raise MisuseError(
                f"{found['what']} cannot be {_short(found['given'])}.", "Give a number."
            )
        if found := _SHORT.fullmatch(message):
            raise MisuseError(f"{_short(found['given'])} may be {found['all']}.", "Write it out.")
        raise MisuseError(f"{message[:1].upper()}{message[1:]}.", help_is)

    def _no_choice(self, what: str, given: str, help_is: str) -> MisuseError:
        choices = self._choices(what)
        near = difflib.get_close_matches(_short(given).strip("'"), choices, 1)
        if near:
            hint = f"Did you mean {near[0]}?"
        elif what == "COMMAND":
            hint = help_is
        else:
            hint = f"Choose of: {', '.join(choices)}."
        kind = {"COMMAND": "command", "ACTION": "action"}.get(what)
        if kind is None:
            return MisuseError(f"{what} cannot be {_short(given)}.", hint)
        return MisuseError(f"There is no {kind} {_short(given)}.", hint)

    def _missing(self, what: list[str], help_is: str) -> MisuseError:
        if what == ["ACTION"]:
            choices = ", ".join(self._choices("ACTION"))
            return MisuseError("What is to be done is missing.", f"Choose of: {choices}.")
        are = "is" if len(what) == 1 else "are"
        return MisuseError(f"{' and '.join(what)} {are} missing.", help_is)

    def _unknown(self, given: str, help_is: str) -> MisuseError:
        options = [name for action in self._actions for name in action.option_strings]
        near = difflib.get_close_matches(given, options, 1)
        hint = f"Did you mean {near[0]}?" if near else help_is
        return MisuseError(f"{_short(given)} is not known here.", hint)

    def _choices(self, what: str) -> list[str]:
        """What an argument may be; `what` is how `argparse` names it."""
        for action in self._actions:
            if action.choices is not None and what in _names(action):
                return [str(each) for each in action.choices]
        return []

    def _print_message(self, message: str, file: Any = None) -> None:
        if message:
            lines = message.removesuffix("\n").split("\n")
            show(*lines, error=file is not sys.stdout)


def _names(action: argparse.Action) -> set[str]:
    shown = action.metavar if isinstance(action.metavar, str) else action.dest
    return {"/".join(action.option_strings), shown}


def _short(given: str) -> str:
    """What was given, quoted once and cut where it is long."""
    bare = given.strip("'\"")
    return f"'{bare[:MOST_SHOWN]}{'...' if len(bare) > MOST_SHOWN else ''}'"
