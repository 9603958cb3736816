"""The command `foldcall clients`: the people measured, and what they may ask of their data."""

import argparse
import sys
from collections.abc import Callable, Collection, Iterator, Mapping
from datetime import date
from pathlib import Path
from typing import Any

from capture.composition.client import ClientDefaults
from capture.composition.equations import equation
from capture.errors import CaptureError, MisuseError
from capture.rescued import remove_rescues
from capture.showable import one_line
from capture.store import Client, Store, make_folder
from capture.store.place import make_file
from capture.terminal import show
from capture.transfer import client_id_of, store_of, store_option, write_json, write_new
from capture.wiring import local_time
from capture.wording.counted import counted

_NO_CHANGE = "Nothing was changed."


def add_command(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `clients` to the commands of a parser."""
    parser = commands.add_parser("clients", help="add, find, edit, join, export or erase clients")
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)

    def action(name: str, told: str, run: Callable[[argparse.Namespace], int]) -> _Parser:
        found = actions.add_parser(name, help=told)
        store_option(found)
        found.set_defaults(command=run)
        return found

    action("list", "every client with visits and last visit", _list)
    action("find", "clients whose name holds some letters", _list).add_argument("text")
    action("show", "one client, with versions that do not agree", _show).add_argument("client")
    _fields(action("add", "a new client", _add), new=True)
    edit = action("edit", "change what is known of a client; what it was is kept", _edit)
    edit.add_argument("client", help="name or identifier")
    _fields(edit, new=False)
    same = action("same", "note that two clients are one person", _same)
    same.add_argument("client", help="listed no more; its visits go to KEPT")
    same.add_argument("kept", metavar="KEPT", help="name or identifier")
    same.add_argument("--yes", action="store_true", help="do not ask")
    export = action("export", "all data of one person as JSON", _export)
    export.add_argument("client", help="name or identifier")
    export.add_argument("file", metavar="FILE", type=Path, help="must not exist yet")
    export.add_argument(
        "--sound", metavar="FOLDER", type=Path, help="copy kept sound here too; must not exist yet"
    )
    erase = action("erase", "remove a person with everything of theirs, on request", _erase)
    erase.add_argument("client", help="name or identifier")
    erase.add_argument("--yes", action="store_true", help="do not ask")


_Parser = argparse.ArgumentParser


def _fields(parser: _Parser, *, new: bool) -> None:
    parser.add_argument("name" if new else "--name", help="the name" if new else "another name")
    parser.add_argument("--sex", choices=("female", "male"), required=new)
    parser.add_argument("--born", metavar="YYYY-MM-DD", help="birth date; '' takes it away")
    parser.add_argument("--note", help="anything worth knowing")
    parser.add_argument(
        "--equation",
        metavar="ID",
        help="what the results are computed by, see 'compute --list'; '' for the usual one",
    )
    parser.add_argument(
        "--conversion",
        metavar="ID",
        help="from density to percent, see 'compute --conversions'; '' for the usual one",
    )
    parser.add_argument(
        "--show-fat", choices=("yes", "no"), help="whether the client is shown a percent"
    )
    parser.add_argument(
        "--show-norms", choices=("yes", "no"), help="and where it lies among others"
    )


def _list(chosen: argparse.Namespace) -> int:
    wanted = getattr(chosen, "text", "").casefold()
    with store_of(chosen) as store:
        counts = {row["person"]: row for row in store.visit_counts()}
        listed = [each for each in store.clients() if wanted in each.name.casefold()]
    for client in sorted(listed, key=lambda each: (each.name.casefold(), each.id)):
        seen = counts.get(client.id)
        told = (
            "no visit"
            if seen is None
            else f"{counted(int(seen['visits']), 'visit')}, last {seen['last']}"
        )
        show(f"{client.id}  {one_line(client.name)}  {client.sex}  {told}")
    if not listed:
        show("No client found." if wanted else "The store holds no client yet.")
    return 0


def _show(chosen: argparse.Namespace) -> int:
    with store_of(chosen) as store:
        client = _client(store, chosen.client)
        versions = store.client_versions(client.id)
        others = [each for each in store.same_person(client.id) if each != client.id]
    show(*_lines(client))
    for other in others:
        show(f"also       {other}")
    if len(versions) > 1:
        show("Edited in two ways at two stations; 'clients edit' settles it:")
        for each in versions:
            shown = ", ".join(f"{name} {one_line(str(each[name]))!a}" for name in _VERSION)
            show(f"  {each['at']}: {shown}")
    return 0


def _add(chosen: argparse.Namespace) -> int:
    born = _born(chosen.born) if chosen.born is not None else None
    choices = _choices(chosen)
    _check(choices, chosen.sex)
    with store_of(chosen, create=True) as store:
        namesakes = [
            each for each in store.clients() if each.name.casefold() == chosen.name.casefold()
        ]
        client = store.add_client(
            chosen.name,
            chosen.sex,
            at=local_time(),
            birth_date=born,
            note=chosen.note or "",
            **choices,
        )
    show(*_lines(client))
    if namesakes:
        show("There is another client of this name. If it is the same person: 'clients same'.")
    return 0


def _edit(chosen: argparse.Namespace) -> int:
    given = {"name": chosen.name, "sex": chosen.sex, "note": chosen.note}
    changes = {name: value for name, value in given.items() if value is not None}
    if chosen.born is not None:
        changes["birth_date"] = _born(chosen.born)
    choices = _choices(chosen)
    if not changes and not choices:
        raise MisuseError(
            "Nothing to change is given.",
            "Give --name, --sex, --born, --note, --equation, --conversion, --show-fat or"
            " --show-norms.",
        )
    with store_of(chosen) as store:
        client = _client(store, chosen.client)
        if choices:
            _check(client.choices | choices, chosen.sex or client.sex)
        client = store.edit_client(client.id, at=local_time(), **changes, **choices)
    show(*_lines(client))
    return 0


_VERSION = (
    "name", "sex", "birth_date", "note", "equation", "conversion", "show_fat_percent",
    "show_norms",
)  # fmt: skip


def _choices(chosen: argparse.Namespace) -> dict[str, Any]:
    """What was given of equation, conversion and what is shown."""
    found: dict[str, Any] = {}
    for name in ("equation", "conversion"):
        if getattr(chosen, name) is not None:
            found[name] = getattr(chosen, name) or None
    for name, given in (("show_fat_percent", chosen.show_fat), ("show_norms", chosen.show_norms)):
        if given is not None:
            found[name] = given == "yes"
    return found


def _check(choices: Mapping[str, Any], sex: str) -> None:
    """Refuse ids that are not known, and an equation for the other sex."""
    try:
        defaults = ClientDefaults.from_plain(ClientDefaults().to_plain() | dict(choices))
    except CaptureError as error:
        raise MisuseError(error.message, error.hint) from error
    if defaults.equation_id is None:
        return
    using = equation(defaults.equation_id)
    if sex not in using.sexes:
        raise MisuseError(
            f"{using.id} was made for the other sex.", "See 'foldcall compute --list'."
        )


def _same(chosen: argparse.Namespace) -> int:
    with store_of(chosen) as store:
        gone, kept = _client(store, chosen.client), _client(store, chosen.kept)
        for client in (gone, kept):
            show(*_lines(client))
        if not _agreed(chosen, f"Are these one person, to be listed as {one_line(kept.name)}?"):
            return 1
        store.link_clients(gone.id, kept.id, at=local_time())
    show(f"Visits of both are listed under {one_line(kept.name)}.")
    return 0


def _export(chosen: argparse.Namespace) -> int:
    with store_of(chosen) as store:
        client = _client(store, chosen.client)
        ids = store.same_person(client.id)
        write_new(chosen.file, write_json(store, ids))
        show(f"Written: {chosen.file}")
        if chosen.sound is not None:
            calls = _export_sound(store, ids, chosen.sound)
            show(f"The sound of {calls} calls: {chosen.sound}" if calls else "No sound is kept.")
    return 0


def _export_sound(store: Store, client_ids: Collection[str], folder: Path) -> int:
    """Copy the kept sound, by visit and journal entry, for its owner only; how many calls."""
    calls = 0
    if folder.exists():
        raise CaptureError("There is a folder of this name already.", "Give a new name.")
    try:
        # Visits of linked clients are listed under each of them.
        for visit_id in {each.id for client_id in client_ids for each in store.visits(client_id)}:
            for number in sorted(store.sounds.kept(visit_id)):
                file = folder / visit_id / f"{number}.flac"
                make_folder(file.parent)
                make_file(file, must_be_new=True)
                file.write_bytes(store.sounds.of_entry(visit_id, number) or b"")
                calls += 1
    except OSError as error:
        raise CaptureError(
            f"The sound cannot be copied: {error.strerror}.", "Give another folder."
        ) from error
    return calls


def _erase(chosen: argparse.Namespace) -> int:
    with store_of(chosen) as store:
        client = _client(store, chosen.client)
        visits = len(store.visits(client.id))
        show(*_lines(client))
        if not _agreed(
            chosen,
            f"Erase this client with {counted(visits, 'visit')}, journals and all, for ever?",
        ):
            return 1
        # First, as the sound is: if the power fails, the person is there to be erased again.
        rescued, others = remove_rescues(store, store.same_person(client.id))
        count = store.erase_client(client.id, at=local_time())
    show(f"Erased: the client and {counted(count, 'visit')}, with any sound that was kept of them.")
    if rescued:
        show(f"Removed: {rescued} rescue files with calls that were not in the store.")
    for path in others:
        show(f"! {path} holds calls of the client for another store. It was left.")
    show("Backups, exports and reports made before are not reached: remove them yourself.")
    return 0


def _client(store: Store, named: str) -> Client:
    found = client_id_of(store, named)
    return next(each for each in store.clients() if each.id == found)


def _agreed(chosen: argparse.Namespace, question: str) -> bool:
    """Whether the person says yes; where nobody can be asked, only with --yes."""
    if chosen.yes:
        return True
    if not sys.stdin.isatty():
        raise MisuseError("This has to be confirmed.", "Give --yes.")
    show(f"{question} Type yes:")
    if sys.stdin.readline().strip().casefold() == "yes":
        return True
    show(_NO_CHANGE)
    return False


def _born(text: str) -> str | None:
    if not text:
        return None
    try:
        born = date.fromisoformat(text)
    except ValueError:
        born = None
    if born is None or born.isoformat() != text or born.year < 1880:
        raise MisuseError("The birth date is none.", "Write it as 1985-04-30.")
    return text


def _lines(client: Client) -> tuple[str, ...]:
    born = "not known" if client.birth_date is None else client.birth_date
    return (
        f"client     {client.id}",
        f"name       {one_line(client.name)}",
        f"sex        {client.sex}",
        f"born       {born}",
        *((f"note       {one_line(client.note)}",) if client.note else ()),
        *_choice_lines(client),
    )


def _choice_lines(client: Client) -> Iterator[str]:
    """What was chosen for the client; nothing where everything is as usual."""
    if client.equation is not None:
        yield f"equation   {one_line(client.equation)}"
    if client.conversion is not None:
        yield f"conversion {one_line(client.conversion)}"
    if not client.show_fat_percent:
        yield "shown      the folds only, no percent of fat"
    elif not client.show_norms:
        yield "shown      the percent, not where it lies among others"
