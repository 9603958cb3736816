"""What the settings file holds, as plain values: its tables, each read by whoever it concerns.

The file is TOML. Every part of the program asks for its own table here, and every slip is told by
one error, `SettingsError`, with the file, the table and what to write.
"""

import difflib
import math
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any

from capture.errors import CaptureError

KNOWN_TABLES = ("sound", "measure", "keys", "voice_check", "language")
"""The tables that a settings file may hold. Another one is a slip, and is told."""


class SettingsError(CaptureError):
    """The settings file cannot be read or written, or something in it is wrong."""


@dataclass(frozen=True, slots=True)
class Table:
    """One table of the file; without entries where the file has none. `file` is told in errors."""

    file: str
    name: str
    entries: Mapping[str, Any] = field(default_factory=dict)

    def allow(self, known: Collection[str]) -> None:
        """Raise SettingsError if the table names anything else."""
        for key in self.entries:
            if key not in known:
                raise SettingsError(
                    f"The settings in {self.file} name '{key}' in [{self.name}], which is none.",
                    f"{_meant(key, known)}Choose of: {', '.join(known)}.",
                )

    def text(self, key: str, usual: str, hint: str) -> str:
        """A text. Raises SettingsError with the hint for anything else."""
        value = self.entries.get(key, usual)
        if not isinstance(value, str):
            raise self.wrong(key, hint)
        return value

    def choice(self, key: str, usual: str, known: Collection[str]) -> str:
        """One of these texts. Raises SettingsError for another."""
        value = self.entries.get(key, usual)
        if not isinstance(value, str) or value not in known:
            raise self.wrong(key, f"{_meant(value, known)}Choose of: {', '.join(known)}.")
        return value

    def switch(self, key: str, usual: bool) -> bool:
        """True or false. Raises SettingsError for anything else."""
        value = self.entries.get(key, usual)
        if not isinstance(value, bool):
            raise self.wrong(key, "Write true or false.")
        return value

    def number(
        self, key: str, usual: float, bounds: tuple[float, float], unit: str = "a number"
    ) -> float:
        """A number within bounds, both allowed. Raises SettingsError for another."""
        value = self.entries.get(key, usual)
        lowest, highest = bounds
        if (
            isinstance(value, bool)
            or not isinstance(value, int | float)
            or not math.isfinite(value)
            or not lowest <= value <= highest
        ):
            raise self.wrong(key, f"Write {unit} from {lowest:g} to {highest:g}.")
        return float(value)

    def wrong(self, key: str, hint: str) -> SettingsError:
        """The error for a value that cannot be used."""
        return SettingsError(f"The setting '{key}' of [{self.name}] in {self.file} is wrong.", hint)


@dataclass(frozen=True, slots=True)
class Settings:
    """All tables of one file, read once. `file` is its path, told in errors."""

    file: str
    tables: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    def table(self, name: str) -> Table:
        """One of the known tables, empty where the file has none."""
        return Table(self.file, name, self.tables.get(name, {}))


def parse_settings(text: str, file: str) -> Settings:
    """The settings of a TOML text.

    Raises SettingsError for what is no TOML, for a table that is not known, and for a setting
    that stands in no table.
    """
    tables = tables_of(text, file)
    for name, table in tables.items():
        if name not in KNOWN_TABLES:
            what = f"table [{name}]" if isinstance(table, dict | list) else f"setting '{name}'"
            known = ", ".join(f"[{each}]" for each in KNOWN_TABLES)
            raise SettingsError(
                f"The settings in {file} have a {what}, which is none.",
                f"{_meant(name, KNOWN_TABLES, '[{}]')}Every setting stands in one of {known}.",
            )
        if not isinstance(table, dict):
            raise SettingsError(f"The setting '{name}' in {file} is no table.", f"Write [{name}].")
    return Settings(file, tables)


def tables_of(text: str, file: str) -> dict[str, Any]:
    """Whatever stands in a TOML text, known or not. Raises SettingsError for what is no TOML."""
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # also numbers and nestings without end
        raise SettingsError(
            f"The settings in {file} are no TOML: {error}.", "Mend the file, or delete it."
        ) from error


def _meant(told: object, known: Collection[str], form: str = "'{}'") -> str:
    near = difflib.get_close_matches(str(told)[:80], known, 1)
    return f"Did you mean {form.format(near[0])}? " if near else ""
