"""`foldcall phrases`: what may be said in each state of a visit; a copy of the words to change."""

import argparse
from pathlib import Path

from capture.errors import MisuseError
from capture.packs import chosen_pack, copy_pack, pack_option
from capture.protocol.protocol import SEVEN_SITES
from capture.settings_file import read_settings, settings_path
from capture.terminal import show
from capture.wording.help import phrase_lines


def add_command(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `phrases` to the commands."""
    parser = commands.add_parser("phrases", help="print what may be said in each state of a visit")
    pack_option(parser)
    parser.add_argument(
        "--copy",
        metavar="FOLDER",
        type=Path,
        help="write the language pack into a new folder of your own, to be changed",
    )
    parser.set_defaults(command=_command)


def _command(chosen: argparse.Namespace) -> int:
    if chosen.copy is not None and chosen.pack is not None:
        raise MisuseError("--copy writes the pack of foldcall.", "Leave --pack out.")
    if chosen.copy is not None:
        copy_pack(chosen.copy)
        show(f"Written to {chosen.copy}. Change the *.gram files and pronunciations.dict, then:")
        show(f"foldcall check --pack {chosen.copy}")
        return 0
    pack = chosen_pack(chosen.pack, read_settings(settings_path()))
    for line in phrase_lines(pack.grammar, [site.id for site in SEVEN_SITES.sites]):
        show(line)
    return 0
