"""Which sound devices and which voice this machine uses: its own part of the settings file.

The file is TOML and belongs to the person: other tables and their comments are left as they are.
"""

import json
import math
import os
import tempfile
import tomllib
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import platformdirs

from capture.errors import CaptureError
from capture.sound.devices import ByName
from capture.sound.gate import ECHO_TAIL_S
from capture.sound.voice import FASTEST, SLOWEST, VoiceKind

VARIABLE = "FOLDCALL_SETTINGS"
"""The environment variable that names the settings file."""

TABLE = "sound"
_KEYS = (
    "microphone", "microphone_host", "speaker", "speaker_host", "voice", "volume", "pace",
    "echo_tail_s",
)  # fmt: skip
LONGEST_TAIL_S = 2.0
_FOLDER_MODE = 0o700


class SettingsError(CaptureError):
    """The settings file cannot be read or written."""


@dataclass(frozen=True, slots=True)
class SoundSettings:
    """The table `sound`.

    `microphone` and `speaker` are None for the system's own. `volume` is 0 to 1, `pace` 0.8 to
    1.15, `echo_tail_s` 0 to 2 s: how long the room goes on after the voice.
    """

    microphone: ByName | None = None
    speaker: ByName | None = None
    voice: VoiceKind = VoiceKind.BANK
    volume: float = 1.0
    pace: float = 1.0
    echo_tail_s: float = ECHO_TAIL_S


def settings_path() -> Path:
    """Where the settings lie: FOLDCALL_SETTINGS, or the platform's own folder for this user."""
    named = os.environ.get(VARIABLE, "").strip()
    if named:
        return Path(named).expanduser()
    return platformdirs.user_config_path("foldcall", appauthor=False) / "settings.toml"


def read_sound_settings(path: Path) -> SoundSettings:
    """The settings of a file; the usual ones where there is no file or no such table.

    Raises SettingsError for what has the wrong form.
    """
    table = _tables(path).get(TABLE, {})
    if not isinstance(table, dict):
        raise _wrong(path, TABLE, f"Write [{TABLE}] and its keys below.")
    for key in table:
        if key not in _KEYS:
            raise SettingsError(
                f"The settings in {path} name '{key}' in [{TABLE}], which is none.",
                f"Choose of: {', '.join(_KEYS)}.",
            )
    try:
        voice = VoiceKind(table.get("voice", VoiceKind.BANK))
    except ValueError as error:
        raise _wrong(path, "voice", f"Choose of: {', '.join(VoiceKind)}.") from error
    return SoundSettings(
        _device(path, table, "microphone"),
        _device(path, table, "speaker"),
        voice,
        _number(path, table, "volume", (0, 1), 1.0),
        _number(path, table, "pace", (SLOWEST, FASTEST), 1.0),
        _number(path, table, "echo_tail_s", (0, LONGEST_TAIL_S), ECHO_TAIL_S),
    )


def write_sound_settings(path: Path, settings: SoundSettings) -> None:
    """Put the table `sound` into the file, for its owner only; everything else in it stays.

    Raises SettingsError if the file cannot be read or written, or would not stay the same.
    """
    before = _tables(path)
    text = path.read_text(encoding="utf-8") if before else ""
    written = _with_table(text, _lines(settings))
    if not _same_but_sound(written, before):
        raise SettingsError(
            f"The settings in {path} cannot be changed without touching others.",
            f"Write the table [{TABLE}] as a block of its own.",
        )
    try:
        path.parent.mkdir(mode=_FOLDER_MODE, parents=True, exist_ok=True)
        # A new file takes the old one's place whole; it is owner-only from its beginning.
        number, name = tempfile.mkstemp(prefix=".settings-", dir=path.parent)
        try:
            with os.fdopen(number, "w", encoding="utf-8") as file:
                file.write(written)
            Path(name).replace(path)
        except OSError:
            with suppress(OSError):
                Path(name).unlink()
            raise
    except OSError as error:
        raise SettingsError(
            f"The settings cannot be written to {path}: {error.strerror}.",
            f"Check the folder, or name another file with {VARIABLE}.",
        ) from error


def _tables(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except (ValueError, RecursionError) as error:  # also numbers and nestings without end
        raise SettingsError(
            f"The settings in {path} are no TOML: {error}.", "Mend the file, or delete it."
        ) from error
    except OSError as error:
        raise SettingsError(
            f"The settings in {path} cannot be read: {error.strerror}.", "Check the file."
        ) from error


def _same_but_sound(written: str, before: dict[str, Any]) -> bool:
    try:
        after = tomllib.loads(written)
    except (ValueError, RecursionError):
        return False
    return {**after, TABLE: None} == {**before, TABLE: None}


def _device(path: Path, table: dict[str, Any], key: str) -> ByName | None:
    name, host = table.get(key), table.get(f"{key}_host", "")
    if name is None:
        return None
    if not isinstance(name, str) or not isinstance(host, str):
        raise _wrong(path, key, "Write the name of the device in quotes.")
    return ByName(name, host)


def _number(
    path: Path, table: dict[str, Any], key: str, bounds: tuple[float, float], usual: float
) -> float:
    value = table.get(key, usual)
    lowest, highest = bounds
    if (
        isinstance(value, bool)
        or not isinstance(value, int | float)
        or not math.isfinite(value)
        or not lowest <= value <= highest
    ):
        raise _wrong(path, key, f"Write a number from {lowest:g} to {highest:g}.")
    return float(value)


def _wrong(path: Path, key: str, hint: str = "") -> SettingsError:
    return SettingsError(f"The setting '{key}' in {path} is wrong.", hint or "Mend it.")


def _lines(settings: SoundSettings) -> list[str]:
    lines = [f"[{TABLE}]"]
    for key, device in (("microphone", settings.microphone), ("speaker", settings.speaker)):
        if device is not None:
            lines.append(f"{key} = {_quoted(device.name)}")
            lines.append(f"{key}_host = {_quoted(device.host)}")
    lines.append(f'voice = "{settings.voice.value}"')
    lines.append(f"volume = {settings.volume:.2f}")
    lines.append(f"pace = {settings.pace:.2f}")
    lines.append(f"echo_tail_s = {settings.echo_tail_s:.2f}")
    return lines


def _quoted(text: str) -> str:
    """A TOML string: JSON's own, but that TOML wants one more sign escaped."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _with_table(text: str, table: list[str]) -> str:
    """The text with its table replaced, or added at the end."""
    kept: list[str] = []
    inside, placed = False, False
    for line in text.rstrip("\n").split("\n") if text else ():
        header = line.split("#")[0].strip()
        if header == f"[{TABLE}]":
            inside, placed = True, True
            kept.extend(table)
            continue
        if inside and header.startswith("["):
            inside = False
            kept.append("")
        if not inside:
            kept.append(line)
    if not placed:
        kept.extend(["", *table] if kept else table)
    return "\n".join(kept) + "\n"
