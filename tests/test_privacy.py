"""What is kept is its owner's alone, is told to nobody, and goes when it is erased."""

import contextlib
import itertools
import json
import logging
import os
import shutil
import sqlite3
import stat
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from capture.cli import main
from capture.store import Store, open_store
from capture.store.errors import StoreUnusableError

AT = "2026-05-04T09:30:00+02:00"
ROOT = Path(__file__).parents[1]
NAME, ASSESSOR, NOTE = "Quintessa Marigold", "Thaddeus Windermere", "zirconia-pacemaker"
VALUE = "47.4"
"""Names, a note and a reading that stand nowhere else."""

on_posix = pytest.mark.skipif(os.name != "posix", reason="modes of files are POSIX's")


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A home of its own for all that the program writes; the present folder lies in it."""
    for name in ("DATA", "CONFIG", "STATE", "CACHE"):
        monkeypatch.setenv(f"XDG_{name}_HOME", str(tmp_path / name.lower()))
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "runtime"))
    monkeypatch.setenv("FOLDCALL_SETTINGS", str(tmp_path / "config" / "foldcall" / "settings.toml"))
    monkeypatch.delenv("FOLDCALL_STORE", raising=False)
    work = tmp_path / "work"
    work.mkdir()
    monkeypatch.chdir(work)
    return tmp_path


@pytest.fixture
def typed(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Type these lines at a visit in line mode."""

    def lines(*given: str) -> None:
        monkeypatch.setattr(sys, "stdin", Typed(given))

    return lines


class Typed:
    """A standard input that is no terminal."""

    def __init__(self, lines: tuple[str, ...]) -> None:
        self._lines = iter(f"{line}\n" for line in lines)

    def __iter__(self) -> Any:
        return self._lines

    def readline(self) -> str:
        """The next line, empty at the end."""
        return next(self._lines, "")

    def isatty(self) -> bool:
        """Nobody sits there."""
        return False


def measured(typed: Callable[..., None], *options: str) -> int:
    """Measure the client by typed lines: the preparation, permissions, tape lengths, a reading."""
    calls = ["ready"] + ["granted"] * 3 + ["6 3/4", ""] * 3 + [VALUE, ""]
    typed(*calls)
    return main(
        [
            *("measure", "--client", NAME, "--assessor", ASSESSOR, "--sex", "female"),
            *("--age", "41", "--plain", "--no-microphone", "--silent", *options),
        ]
    )


@pytest.fixture(scope="module")
def templates(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the measured store is kept for the tests that only want one."""
    return tmp_path_factory.mktemp("templates")


@pytest.fixture
def store_file(home: Path, typed: Callable[..., None], templates: Path) -> Path:
    """The usual store with one visit, closed."""
    path, made = home / "data" / "foldcall" / "foldcall.db", templates / "foldcall.db"
    if made.exists():
        path.parent.mkdir(parents=True)
        shutil.copy(made, path)
    else:
        assert measured(typed) == 0
        shutil.copy(path, made)
    return path


# Files


@on_posix
@pytest.mark.parametrize("umask", [0o000, 0o022], ids=oct)
def test_every_file_is_its_owner_s_alone(
    home: Path, typed: Callable[..., None], umask: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Store and the files beside it, reports, exports, backups, settings: whatever the umask is.

    The files of the running program are looked at as well, after each call of the visit.
    """
    seen: dict[str, int] = {}

    def look() -> None:
        for file in home.rglob("*"):
            if file.is_file():
                seen[file.name] = seen.get(file.name, 0) | stat.S_IMODE(file.stat().st_mode)

    real = Store.append

    def append(self: Store, *given: Any) -> None:
        real(self, *given)
        look()

    monkeypatch.setattr(Store, "append", append)
    before = os.umask(umask)
    try:
        assert measured(typed) == 0
        secret = home / "secret"
        secret.touch(0o600)
        secret.write_text("four plain words, or five")
        monkeypatch.setenv("FOLDCALL_PASSPHRASE_FILE", str(secret))
        monkeypatch.setenv("FOLDCALL_NEW_PASSPHRASE_FILE", str(secret))
        for arguments in (
            ["report", "last"],
            ["export", "all.csv"],
            ["export", "all.json"],
            ["export", "all.fhir", "--as", "fhir"],
            ["clients", "export", NAME, "one.json"],
            ["backup"],
            ["backup", "here.db"],
        ):
            assert main(arguments) == 0
            look()
        main(["check", "--remember"])
    finally:
        os.umask(before)
    look()
    assert {"foldcall.db", "foldcall.db-wal", "foldcall.db-shm", "all.csv", "all.columns.csv"} <= {
        *seen
    }
    assert any(name.startswith("report-") for name in seen)
    assert {name: oct(mode) for name, mode in seen.items() if mode & 0o077} == {}
    for folder in (home / "data" / "foldcall", home / "data" / "foldcall" / "backups"):
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700


@on_posix
def test_a_rescue_file_is_its_owner_s_alone(
    home: Path, typed: Callable[..., None], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is saved beside a store that cannot be written, too."""
    real = Store.append
    calls = itertools.count()
    modes = []

    def fails(self: Store, visit_id: str, entry: Any, result: Any) -> None:
        if next(calls) > 2:
            modes.extend(
                stat.S_IMODE(file.stat().st_mode) for file in home.rglob("foldcall-rescue-*")
            )
            raise StoreUnusableError("The disk is full: nothing more can be saved.", "Make room.")
        real(self, visit_id, entry, result)

    monkeypatch.setattr(Store, "append", fails)
    before = os.umask(0)
    try:
        measured(typed)
    finally:
        os.umask(before)
    modes += [stat.S_IMODE(file.stat().st_mode) for file in home.rglob("foldcall-rescue-*")]
    assert set(modes) == {0o600}


# Logs and errors


def said_nothing(text: str) -> None:
    """Check that a text holds neither name, note nor value."""
    for part in (*NAME.split(), *ASSESSOR.split(), NOTE, VALUE, "forty seven"):
        assert part not in text, part


class CanaryError(RuntimeError):
    """An error that nobody expected, whose message holds everything that must not be told."""

    def __init__(self) -> None:
        super().__init__(f"{NAME} {ASSESSOR} {NOTE} {VALUE} /home/{NAME}/clip.flac")


BROKEN = (
    "capture.store.visits.clients",
    "capture.store.visits.add_client",
    "capture.store.journal.append",
    "capture.begin.Plan.to_plain",
    "capture.session.Session.drain",
    "capture.screen.plain.PlainScreen.said",
    "capture.visit.machine.step",
)
"""Where the program breaks, one at a time: store, plan, session, screen, machine."""


@pytest.mark.parametrize("place", BROKEN)
def test_an_unexpected_error_tells_where_and_nothing_more(
    home: Path,
    typed: Callable[..., None],
    place: str,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> None:
    """Neither the terminal nor any file holds a name, a note, a value or the path of a clip."""

    def breaks(*_: Any, **__: Any) -> Any:
        try:
            {}[NAME]
        except KeyError as cause:
            raise CanaryError from cause

    monkeypatch.setattr(place, breaks)
    if place == "capture.visit.machine.step":
        monkeypatch.setattr("capture.road.step", breaks)
    code = measured(typed)
    told = capfd.readouterr().err
    assert code == 1
    assert "CanaryError" in told
    assert "KeyError" in told
    said_nothing(told)
    for file in home.rglob("*.log"):
        said_nothing(file.read_text(encoding="utf-8", errors="replace"))


def damaged(path: Path) -> None:
    """Write over the journal's words, beside the program."""
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("DROP TRIGGER journal_no_update")
        db.execute("""UPDATE journal SET intent = '{"kind":"Quintessa Marigold"}'""")


def of_another(path: Path) -> None:
    """Take our mark away."""
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("PRAGMA application_id = 1")


def newer(path: Path) -> None:
    """Note a step that this version does not know."""
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute(
            "INSERT INTO _sqlite_migrations (migration_set, name, applied_at)"
            " VALUES ('foldcall', '999_later', 'then')"
        )


FAULTS: dict[str, Callable[[Path], object]] = {
    "no database": lambda path: path.write_bytes(f"{NAME} {VALUE}".encode()),
    "cut short": lambda path: path.write_bytes(path.read_bytes()[:5000]),
    "journal damaged": damaged,
    "another program's": of_another,
    "newer": newer,
}


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize(
    "arguments",
    [
        ["clients", "show", NAME],
        ["report", "last"],
        ["review", "--plain"],
        ["export", "out.json"],
        ["backup", "out.db"],
        ["check"],
    ],
    ids=lambda arguments: arguments[0],
)
def test_an_expected_error_holds_no_name_and_no_value(
    store_file: Path,
    typed: Callable[..., None],
    fault: str,
    arguments: list[str],
    capfd: pytest.CaptureFixture[str],
) -> None:
    """A damaged, strange or newer store is told in plain words about the file, not its content."""
    FAULTS[fault](store_file)
    capfd.readouterr()
    typed()
    main(arguments)
    told = capfd.readouterr().err
    said_nothing(told)
    assert "Traceback" not in told


def test_nothing_personal_is_logged(
    home: Path, typed: Callable[..., None], caplog: pytest.LogCaptureFixture
) -> None:
    """With every logger open, a visit, its review, report and erasure leave no name in a record."""
    with caplog.at_level(logging.DEBUG):
        assert measured(typed) == 0
        typed("1", "list", "quit")
        assert main(["review", "--plain"]) == 0
        assert main(["report", "last", "--out", "r.html"]) == 0
        assert main(["clients", "erase", NAME, "--yes"]) == 0
    said_nothing(caplog.text)
    assert list(home.rglob("*.log")) == []


@pytest.mark.usefixtures("store_file")
def test_the_name_of_no_file_holds_a_person(home: Path) -> None:
    """Reports, exports and backups are named by date and number."""
    for arguments in (["report", "last"], ["backup"]):
        assert main(arguments) == 0
    for file in home.rglob("*"):
        said_nothing(file.name)


# Network

NO_NETWORK = """
import socket, sys

def watch(event, arguments):
    # vosk imports urllib3, which binds to its own machine once to see whether IPv6 is known.
    if event == "socket.bind" and arguments[1][:2] == ("::1", 0):
        return
    if event in ("socket.connect", "socket.bind", "socket.sendto", "socket.sendmsg",
                 "socket.getaddrinfo", "socket.gethostbyname", "socket.gethostbyaddr"):
        raise SystemExit(f"the network was asked: {event}")

sys.addaudithook(watch)
from capture.cli import main
sys.exit(main(sys.argv[1:]))
"""


@pytest.mark.parametrize(
    "arguments",
    [
        [
            *("measure", "--client", NAME, "--assessor", ASSESSOR, "--sex", "female"),
            *("--age", "41", "--plain", "--fast", "--from-wav"),
            str(ROOT / "demo_audio" / "visit.wav"),
        ],
        ["check"],
    ],
    ids=["measure", "check"],
)
def test_nothing_asks_the_network(home: Path, arguments: list[str]) -> None:
    """The interpreter itself reports what sockets do; the demo is watched in test_cli.py."""
    if "--from-wav" in arguments and not Path(arguments[-1]).is_file():
        wav = next(iter(sorted((ROOT / "demo_audio").glob("*.wav"))), None) or next(
            iter(sorted((ROOT / "demo_audio").rglob("*.flac")))
        )
        arguments = [*arguments[:-1], str(wav)]
    run = subprocess.run(
        [sys.executable, "-c", NO_NETWORK, *arguments],
        capture_output=True,
        text=True,
        check=False,
        cwd=home / "work",
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdin=subprocess.DEVNULL,
    )
    assert "network" not in run.stderr
    if arguments[0] != "check":
        assert run.returncode == 0, run.stderr


def test_the_watch_on_the_network_works(home: Path) -> None:
    """A program that does ask is caught."""
    ask = NO_NETWORK.replace("from capture.cli import main", "main = socket.create_connection")
    run = subprocess.run(
        [sys.executable, "-c", ask.replace("sys.argv[1:]", "('127.0.0.1', 9)")],
        capture_output=True,
        text=True,
        check=False,
        cwd=home,
    )
    assert "network" in run.stderr


# Erasing


def held_anywhere(folder: Path, *texts: str) -> list[str]:
    """The texts that stand in any file of a folder, byte for byte."""
    content = b"".join(file.read_bytes() for file in folder.rglob("*") if file.is_file())
    return [text for text in texts if text.encode() in content]


def test_who_is_erased_is_in_no_rescue_file(
    store_file: Path, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Calls that wait outside the store go too, whole or torn; another store's are told.

    Backups are not reached, and that is said.
    """
    assert main(["backup", str(home / "before.db")]) == 0
    with open_store(store_file) as store:
        (row,) = store.visits()
        head = {
            "format": "foldcall rescue",
            "version": 1,
            "store": str(store.path),
            "people": store.people_snapshot({row.client.id}),
            "visit": store.visit_snapshot(row.id),
        }
    line = json.dumps(head).encode() + b"\n"
    ours = (
        store_file.parent / "foldcall-rescue-1.jsonl",
        home / "state" / "foldcall" / "foldcall-rescue-2.jsonl",
        home / "runtime" / "foldcall" / "foldcall-rescue-3.jsonl",
    )
    other = store_file.parent / "foldcall-rescue-4.jsonl"
    stranger = store_file.parent / "foldcall-rescue-5.jsonl"
    for path, content in (
        (ours[0], line),
        (ours[1], line * 2),
        (ours[2], line[: len(line) // 2 + 400]),
        (other, line.replace(b'foldcall.db"', b'other.db"')),
        (stranger, b"{}\n"),
    ):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    assert NAME.encode() in ours[2].read_bytes()
    capsys.readouterr()
    assert main(["clients", "erase", NAME, "--yes"]) == 0
    told = capsys.readouterr().out
    assert "3 rescue files" in told
    assert f"{other} holds calls of the client" in told
    assert "Backups, exports and reports" in told
    assert [path for path in (*ours, other, stranger) if path.exists()] == [other, stranger]
    assert held_anywhere(home, NAME) == [NAME]
    other.unlink()
    (home / "before.db").unlink()
    assert held_anywhere(home, NAME) == []


@pytest.mark.parametrize("open_meanwhile", [False, True], ids=["closed", "store still open"])
def test_who_is_erased_is_in_no_byte(store_file: Path, open_meanwhile: bool) -> None:
    """Name, old name, note, words, amendment, results: not in the store, its log or its journal.

    Not in free pages either: what is deleted is overwritten, and the file written anew.
    """
    folder = store_file.parent
    with open_store(store_file) as store:
        (client,) = store.clients()
        store.edit_client(client.id, at=AT, note=NOTE)
        store.edit_client(client.id, at=AT, name="Quintessa Larkspur")
        (row,) = store.visits()
        numbers = [fact.number for each in store.entries(row.id) for fact in each.readings]
        store.amend(
            row.id,
            number=numbers[-1],
            kind="value",
            value_tenths_mm=461,
            at=AT,
            by_name=ASSESSOR,
            reason="misread-by-the-dial",
        )
        store.add_result(row.id, at=AT, sequence=1, result={"note": "result-of-quintessa"})
    canaries = ("Quintessa", "Larkspur", NOTE, "misread-by-the-dial", "result-of-", row.id)
    assert held_anywhere(folder, *canaries) == [*canaries]
    if open_meanwhile:
        with open_store(store_file) as store:
            store.erase_client(client.id, at=AT)
            assert held_anywhere(folder, *canaries) == []
    else:
        assert main(["clients", "erase", "Quintessa Larkspur", "--yes"]) == 0
    assert held_anywhere(folder, *canaries) == []
