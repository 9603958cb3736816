"""The settings file on the disk: where it lies, read once, one table written at a time.

The file belongs to the person: other tables, their order and all comments are left as they are.
"""

import os
import tempfile
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

import platformdirs

from capture.settings_table import Settings, SettingsError, parse_settings, tables_of

VARIABLE = "FOLDCALL_SETTINGS"
"""The environment variable that names the settings file."""

MOST_BYTES = 1_000_000
_FOLDER_MODE = 0o700


def settings_path() -> Path:
    """Where the settings lie: FOLDCALL_SETTINGS, or the platform's own folder for this user."""
    named = os.environ.get(VARIABLE, "").strip()
    if named:
        return Path(named).expanduser()
    return platformdirs.user_config_path("foldcall", appauthor=False) / "settings.toml"


def read_settings(path: Path) -> Settings:
    """All tables of a file, none where there is no file.

    Raises SettingsError if it cannot be read, or holds a table that is not known.
    """
    return parse_settings(_text(path), str(path))


def write_table(
    path: Path, name: str, entries: Mapping[str, str | bool | int | float | list[str]]
) -> None:
    """Put one table into the file, for its owner only; everything else in it stays.

    Comments of the table stay too; what it names and `entries` does not is taken out. Raises
    SettingsError if the file cannot be read or written, or would not stay the same.
    """
    before = _text(path)
    written = _with_table(before, path, name, entries)
    target = path.resolve()  # where the name is a link, the file behind it is the person's
    try:
        target.parent.mkdir(mode=_FOLDER_MODE, parents=True, exist_ok=True)
        # A new file takes the old one's place whole; it is owner-only from its beginning.
        number, beside = tempfile.mkstemp(prefix=".settings-", dir=target.parent)
        try:
            with os.fdopen(number, "w", encoding="utf-8", newline="") as file:
                file.write(written)
            Path(beside).replace(target)
        except OSError:
            with suppress(OSError):
                Path(beside).unlink()
            raise
    except OSError as error:
        raise SettingsError(
            f"The settings cannot be written to {path}: {error.strerror}.",
            f"Check the folder, or name another file with {VARIABLE}.",
        ) from error


def _text(path: Path) -> str:
    """What stands in the file, line ends as they are; nothing where there is none."""
    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        return ""
    except (OSError, ValueError) as error:  # a name with a NUL is a ValueError
        told = error.strerror if isinstance(error, OSError) else error
        raise SettingsError(
            f"The settings in {path} cannot be read: {told}.", "Check the file."
        ) from error
    if len(content) > MOST_BYTES:
        raise SettingsError(f"The file {path} is too large for settings.", "Check the file.")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise SettingsError(
            f"The settings in {path} are no UTF-8 text: see byte {error.start}.",
            "Save the file as UTF-8.",
        ) from error


def _with_table(
    text: str, path: Path, name: str, entries: Mapping[str, str | bool | int | float | list[str]]
) -> str:
    """The text with the table in it; checked to read back as meant and to be else the same."""
    import tomlkit  # noqa: PLC0415 - only who writes settings waits for it
    from tomlkit.exceptions import TOMLKitError  # noqa: PLC0415
    from tomlkit.items import Table  # noqa: PLC0415

    before = tables_of(text, str(path))
    try:
        document = tomlkit.parse(text)
        if name not in document:
            document[name] = tomlkit.table()
        table = document[name]
        if not isinstance(table, Table):
            raise _cannot_be_changed(path, name)
        for key in [key for key in table if key not in entries]:
            del table[key]
        # Comments and blank lines at its end belong to the table that follows.
        body, rest = table.value.body, []
        while body and body[-1][0] is None:
            rest.append(body.pop())
        for key, value in entries.items():
            table[key] = value
        body.extend(reversed(rest))
        written = tomlkit.dumps(document)
        after = tables_of(written, str(path))
    except (TOMLKitError, ValueError, RecursionError) as error:
        raise _cannot_be_changed(path, name) from error
    if after != {**before, name: dict(entries)}:
        raise _cannot_be_changed(path, name)
    return written


def _cannot_be_changed(path: Path, name: str) -> SettingsError:
    return SettingsError(
        f"The settings in {path} cannot be changed without touching others.",
        f"Write the table [{name}] as a block of its own.",
    )
