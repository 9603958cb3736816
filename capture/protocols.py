"""The command `foldcall protocol`: which protocols there are, and a practitioner's own."""

import argparse
from pathlib import Path

from capture.errors import CaptureError, MisuseError
from capture.language.grammar import Grammar
from capture.pack import open_pack
from capture.packs import usual_folder
from capture.protocol.protocol import Protocol, Whichever
from capture.protocol.shipped import protocols, text_of
from capture.protocol.sites import HALF
from capture.protocol_file import open_protocol
from capture.terminal import show
from capture.units import millimetres
from capture.wiring import default_folder


def add_command(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `protocol` to the commands of a parser."""
    parser = commands.add_parser("protocol", help="show protocols; copy and check one of your own")
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    actions.add_parser("list", help="the protocols that come with foldcall").set_defaults(
        command=_list
    )
    shown = actions.add_parser("show", help="sites, order and rules of one")
    shown.add_argument("protocol", metavar="PROTOCOL", help="a name of the list, or a TOML file")
    shown.set_defaults(command=_show)
    copy = actions.add_parser("copy", help="write one to a file of your own, to be changed")
    copy.add_argument("protocol", metavar="NAME", help="a name of the list")
    copy.add_argument(
        "file", metavar="FILE", type=Path, help="must not exist yet, such as own.toml"
    )
    copy.set_defaults(command=_copy)
    check = actions.add_parser("check", help="say whether a file can be used, and what to mend")
    check.add_argument("file", metavar="FILE", help="a TOML file")
    check.set_defaults(command=_check)


def _list(_: argparse.Namespace) -> int:
    for name, protocol in protocols().items():
        show(f"{name:<18} {protocol.title}. {protocol.source}.")
    return 0


def _show(chosen: argparse.Namespace) -> int:
    for line in lines_of(open_protocol(chosen.protocol)):
        show(line)
    return 0


def _copy(chosen: argparse.Namespace) -> int:
    if chosen.protocol not in protocols():
        raise MisuseError(
            f"There is no protocol '{chosen.protocol}'.", f"Choose of {', '.join(protocols())}."
        )
    file: Path = chosen.file
    if file.suffix != ".toml":
        raise MisuseError(f"{file.name} is no name for a protocol.", "Let it end in .toml.")
    try:
        with file.open("x", encoding="utf-8") as opened:
            opened.write(text_of(chosen.protocol))
    except FileExistsError as error:
        raise CaptureError(f"{file} is there already.", "Nothing was written.") from error
    except OSError as error:
        raise CaptureError(f"{file} cannot be written: {error.strerror}.") from error
    show(f"Written to {file}. Change it, then: foldcall protocol check {file}")
    show("Give it an id and a title of its own, so that its visits are told apart.")
    return 0


def _check(chosen: argparse.Namespace) -> int:
    if not Path(chosen.file).is_file():
        raise MisuseError(f"There is no file {chosen.file}.", "Name a protocol's TOML file.")
    protocol = open_protocol(chosen.file)
    for line in (*lines_of(protocol), *_notes(protocol)):
        show(line)
    show(f"It can be used: foldcall measure --protocol {chosen.file}")
    return 0


def lines_of(protocol: Protocol) -> tuple[str, ...]:
    """A protocol in lines: its rules, then its sites in their order."""
    tolerance = protocol.tolerance
    either = "both" if tolerance.whichever is Whichever.LARGER else "either"
    third = (
        f"{millimetres(tolerance.absolute_tenths_mm)} mm and {tolerance.percent} percent"
        if either == "both"
        else f"{millimetres(tolerance.absolute_tenths_mm)} mm or {tolerance.percent} percent"
    )
    lines = [
        f"{protocol.title} ({protocol.id}). {protocol.source}.",
        f"{protocol.circuits} circuits; a third where two differ by more than {third}. "
        f"Tape halves between two marks are rounded {'up' if protocol.tape_up else 'down'}.",
    ]
    for number, site in enumerate(protocol.sites, 1):
        low, high = site.usual_tenths_mm
        lines.append(
            f"{number}. {site.title}: {site.fold.value} fold, {site.side.value} side, usually "
            f"{millimetres(low)} to {millimetres(high)} mm. {site.landmark.capitalize()}."
        )
        if site.tape_from is not None:
            share = _share(site.tape_share)
            women = site.tape_share_women
            also = "" if women is None else f", for women {_share(women)}"
            lines.append(
                f"   Tape from {site.tape_from} to {site.tape_to}; the mark at {share}{also}."
            )
    return tuple(lines)


def _share(share: tuple[int, int]) -> str:
    return "the half" if share == HALF else f"{share[0]}/{share[1]} of it"


def _grammar() -> Grammar:
    """The words that the settings choose."""
    return open_pack(usual_folder(None) or default_folder()).grammar


def _notes(protocol: Protocol) -> tuple[str, ...]:
    """What works, but perhaps not as was meant."""
    notes = []
    known = {
        str(slots["site"]) for _, slots in _grammar().automaton("foldcall.sites.site").sentences()
    }
    for site in protocol.sites:
        if site.id not in known:
            notes.append(
                f"Note: the voice knows no site '{site.id}'. It is measured in its turn, or by its "
                "number on the keypad, but cannot be called by name."
            )
        if not site.picture:
            notes.append(f"Note: '{site.id}' has no picture.")
    shipped = protocols().get(protocol.id)
    if shipped is not None and shipped != protocol:
        notes.append(
            f"Note: its id '{protocol.id}' is that of a protocol of foldcall. Give it its own."
        )
    return tuple(notes)
