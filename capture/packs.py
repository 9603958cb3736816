"""Which language pack is used: the one that comes with the program, or a practitioner's own.

A pack of one's own is a folder that `foldcall phrases --copy` wrote and that was changed since. It
is looked over before each use: one with a fault that could let a wrong value through is refused.
"""

import argparse
import shutil
from pathlib import Path

from capture.errors import CaptureError, MisuseError
from capture.pack import Pack, open_pack
from capture.pack_check import faults_of
from capture.settings_file import read_settings, settings_path
from capture.settings_table import Settings, SettingsError
from capture.wiring import LANGUAGE, default_pack

TABLE = "language"
KEY = "pack"


def pack_option(parser: argparse.ArgumentParser) -> None:
    """Add `--pack` to a command."""
    parser.add_argument(
        "--pack",
        metavar="FOLDER",
        type=Path,
        help=f"a language pack of your own, or '{LANGUAGE}' for the one that comes with foldcall",
    )


def own_folder(given: Path | None, settings: Settings | None = None) -> Path | None:
    """The folder of the own pack that is wanted: the given one, else the settings'.

    None for the pack that comes with the program. Raises SettingsError for a wrong setting.
    """
    if given is not None:
        return None if str(given) == LANGUAGE and not given.exists() else given
    if settings is None:
        return None
    table = settings.table(TABLE)
    table.allow((KEY,))
    hint = "Write the folder of a language pack."
    named = table.text(KEY, LANGUAGE, hint)
    if not named.strip() or "\0" in named:
        raise table.wrong(KEY, hint)
    if named == LANGUAGE:
        return None
    # A folder is named from where the settings lie, not from where a command happens to run.
    return Path(settings.file).parent / Path(named).expanduser()


def usual_folder(given: Path | None) -> Path | None:
    """As `own_folder` with the settings file; None where that cannot be read, for a check."""
    try:
        return own_folder(given, read_settings(settings_path()))
    except SettingsError:
        return None


def chosen_pack(given: Path | None, settings: Settings | None = None) -> Pack:
    """The language pack to use, opened.

    Raises CaptureError that tells the first fault of an own pack and how many there are.
    """
    folder = own_folder(given, settings)
    if folder is None:
        return default_pack()
    faults = faults_of(folder)
    if faults:
        more = f" ({len(faults)} faults in all.)" if len(faults) > 1 else ""
        raise CaptureError(
            f"The language pack {folder} cannot be used: {faults[0].told}{more}",
            f"{faults[0].hint} See 'foldcall check --pack {folder}'.",
        )
    return open_pack(folder)


def copy_pack(target: Path) -> None:
    """Write the pack that comes with the program into a new folder, to be changed there.

    Raises MisuseError if something is there already, CaptureError if it cannot be written.
    """
    if target.exists() or target.is_symlink():
        raise MisuseError(f"{target} is there already.", "Name a folder that is not.")
    # What is half written must not look like a pack.
    beside = target.with_name(target.name + ".part")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copytree(default_pack().folder, beside, copy_function=shutil.copyfile)
        beside.rename(target)
    except (OSError, shutil.Error, ValueError) as error:
        shutil.rmtree(beside, ignore_errors=True)
        told = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise CaptureError(
            f"The language pack cannot be written to {target}: {told}.",
            "Name another folder, or make room.",
        ) from error
