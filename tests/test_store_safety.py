"""The store under bad luck: crashes, full disks, other programs, other users, wrong files."""

import contextlib
import dataclasses
import errno
import os
import sqlite3
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import platformdirs
import pytest

from capture.store import (
    Store,
    StoreBusyError,
    StoreError,
    backups,
    connection,
    default_store_path,
    open_store,
    place,
)
from capture.visit.entry import Entry, ReadingFact, ReadingState, Source

AT = "2026-05-04T09:30:00+02:00"
VISIT = "11111111-2222-4333-8444-555555555555"
OTHER_VISIT = "99999999-2222-4333-8444-555555555555"
ROOT = Path(__file__).parents[1]

on_posix = pytest.mark.skipif(os.name != "posix", reason="modes of files are POSIX's")

# What every second program in these tests starts with.
PRELUDE = """
import sqlite3, sys
from capture.store import open_store
from capture.visit.entry import Entry, ReadingFact, ReadingState, Source

def say(what):
    print(what, flush=True)

def entry(sequence, words=""):
    facts = tuple(
        ReadingFact(sequence, state, "chest", 1, 100 + sequence)
        for state in (ReadingState.HEARD, ReadingState.CONFIRMED)
    )
    return Entry(
        sequence, "2026-05-04T09:30:00+02:00", Source.VOICE, words or f"call {sequence}",
        0.5, ({"words": "fifty"},), {"kind": "reading"}, ({"kind": "heard"},), facts,
    )

path, visit = sys.argv[1:]
"""


def entry(sequence: int) -> Entry:
    """Make the entry that the second program makes for the same number."""
    facts = tuple(
        ReadingFact(sequence, state, "chest", 1, 100 + sequence)
        for state in (ReadingState.HEARD, ReadingState.CONFIRMED)
    )
    return Entry(
        sequence=sequence,
        at=AT,
        source=Source.VOICE,
        words=f"call {sequence}",
        confidence=0.5,
        alternatives=({"words": "fifty"},),
        intent={"kind": "reading"},
        facts=({"kind": "heard"},),
        readings=facts,
    )


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Make a store with two visits whose journals are empty, and close it."""
    path = tmp_path / "foldcall.db"
    with open_store(path) as store:
        client = store.add_client("Ada Lind", "female", at=AT)
        assessor = store.add_assessor("Bo Ek", at=AT)
        for visit_id in (VISIT, OTHER_VISIT):
            store.begin_visit(
                client.id, assessor.id, at=AT, plan={}, program_version="1", id=visit_id
            )
    return path


@pytest.fixture
def store(path: Path) -> Iterator[Store]:
    """Open the store, and close it after the test."""
    with open_store(path, create=False) as opened:
        yield opened


Start = Callable[..., "subprocess.Popen[str]"]


@pytest.fixture
def start() -> Iterator[Start]:
    """Start a second program on the store; it is ended with the test at the latest."""
    with contextlib.ExitStack() as ending:

        def run(code: str, path: Path, visit: str = VISIT) -> "subprocess.Popen[str]":
            program = subprocess.Popen(
                [sys.executable, "-c", PRELUDE + code, str(path), visit],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                text=True,
                cwd=ROOT,
            )
            ending.enter_context(program)
            ending.callback(program.kill)
            return program

        yield run


def hears(program: "subprocess.Popen[str]", expected: str) -> None:
    """Wait for a line of the second program."""
    assert program.stdout is not None
    assert program.stdout.readline() == expected + "\n"


def tell(program: "subprocess.Popen[str]") -> None:
    """Let a second program go on that waits for a line."""
    assert program.stdin is not None
    program.stdin.write("go on\n")
    program.stdin.flush()


def refused(path: Path, *, create: bool = True) -> StoreError:
    """Open a store that must not open; check that the person is told what to do."""
    with pytest.raises(StoreError) as caught:
        open_store(path, create=create, busy_timeout_ms=50).close()
    assert caught.value.hint
    assert str(path) not in caught.value.message
    return caught.value


# Crashes


@pytest.mark.parametrize(
    "moment",
    ["BEGIN", "INSERT INTO journal", "INSERT INTO reading_facts", "'confirmed'", "COMMIT"],
    ids=["at the start", "before the call", "before its facts", "between its facts", "at commit"],
)
def test_killed_inside_an_append_keeps_whole_entries_only(
    path: Path, start: Start, moment: str
) -> None:
    """After kill -9 every saved entry is there, none half, and the journal goes on."""
    program = start(
        f"""
store = open_store(path, create=False)
for sequence in range(1, 6):
    store.append(visit, entry(sequence))

def halt(sql):
    if {moment!r} in sql:
        say("inside")
        sys.stdin.read()

store.db.conn.set_trace_callback(halt)
store.append(visit, entry(6))
""",
        path,
    )
    hears(program, "inside")
    program.kill()
    program.wait()
    with open_store(path, create=False) as store:
        assert store.entries(VISIT) == [entry(sequence) for sequence in range(1, 6)]
        assert store.check() == ()
        store.append(VISIT, entry(6))
        assert store.entries(VISIT)[-1] == entry(6)


def test_killed_after_half_an_entry_reached_the_disk(path: Path, start: Start) -> None:
    """Pages of an unfinished entry that are in the log already do not count."""
    program = start(
        """
store = open_store(path, create=False)
store.append(visit, entry(1))

def halt(sql):
    if sql == "COMMIT":
        say("inside")
        sys.stdin.read()

store.db.execute("PRAGMA cache_size = 1")
store.db.conn.set_trace_callback(halt)
store.append(visit, entry(2, "spoken at length " * 100_000))
""",
        path,
    )
    hears(program, "inside")
    assert path.with_name("foldcall.db-wal").stat().st_size > 1_000_000
    program.kill()
    program.wait()
    with open_store(path, create=False) as store:
        assert store.entries(VISIT) == [entry(1)]
        assert store.check() == ()


@pytest.mark.parametrize("told", [1, 2, 25])
def test_killed_at_any_time_keeps_what_it_told(path: Path, start: Start, told: int) -> None:
    """What the program has said is saved is saved, when it is killed while it goes on saving."""
    program = start(
        """
with open_store(path, create=False) as store:
    for sequence in range(1, 10_000):
        store.append(visit, entry(sequence))
        say(sequence)
""",
        path,
    )
    for sequence in range(1, told + 1):
        hears(program, str(sequence))
    program.kill()
    program.wait()
    with open_store(path, create=False) as store:
        found = store.entries(VISIT)
        assert len(found) >= told
        assert found == [entry(sequence) for sequence in range(1, len(found) + 1)]
        assert store.check() == ()


def test_error_in_the_middle_of_an_append_takes_all_of_it_back(store: Store) -> None:
    """An append that fails at its last fact leaves the journal as it was, ready for the next."""
    store.append(VISIT, entry(1))
    bad = dataclasses.replace(entry(2).readings[1], circuit=0)
    with pytest.raises(StoreError):
        store.append(VISIT, dataclasses.replace(entry(2), readings=(entry(2).readings[0], bad)))
    assert store.entries(VISIT) == [entry(1)]
    store.append(VISIT, entry(2))
    assert store.entries(VISIT) == [entry(1), entry(2)]


# Full disks


def test_full_disk_loses_nothing(store: Store) -> None:
    """When the file cannot grow, the append says so; with room made, the same entry is saved.

    SQLite is told how many pages the file may have and then reports what it reports for a disk
    without room.
    """
    (pages,) = store.db.execute("PRAGMA page_count").fetchone()
    store.db.execute(f"PRAGMA max_page_count = {pages + 2}")
    saved: list[Entry] = []

    def go_on() -> None:
        for sequence in range(1, 1_000):
            store.append(VISIT, entry(sequence))
            saved.append(entry(sequence))

    with pytest.raises(StoreError, match="disk is full") as caught:
        go_on()
    assert saved
    assert caught.value.hint
    assert store.entries(VISIT) == saved
    assert store.check() == ()
    store.db.execute("PRAGMA max_page_count = 1000000")
    store.append(VISIT, entry(len(saved) + 1))
    assert len(store.entries(VISIT)) == len(saved) + 1


def test_full_disk_at_the_first_opening_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No room for even an empty file is told as a full disk."""

    def no_room(*_: object) -> int:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(place.os, "open", no_room)
    assert "disk is full" in refused(tmp_path / "foldcall.db").message


# Other programs


def test_store_in_use_is_told_after_a_short_wait(path: Path, store: Store, start: Start) -> None:
    """While another program writes, opening and appending say so; afterwards they succeed."""
    program = start(
        """
other = sqlite3.connect(path, isolation_level=None)
other.execute("BEGIN IMMEDIATE")
say("held")
sys.stdin.readline()
other.execute("ROLLBACK")
say("free")
sys.stdin.read()
""",
        path,
    )
    hears(program, "held")
    store.db.execute("PRAGMA busy_timeout = 50")
    with pytest.raises(StoreBusyError, match="another program") as caught:
        store.append(VISIT, entry(1))
    assert caught.value.hint
    assert isinstance(refused(path), StoreBusyError)
    assert store.entries(VISIT) == []  # reading goes on meanwhile
    tell(program)
    hears(program, "free")
    store.append(VISIT, entry(1))
    assert store.entries(VISIT) == [entry(1)]


def test_second_writer_waits_for_the_first(store: Store, start: Start, path: Path) -> None:
    """An append that meets another program's transaction waits and is then saved after it."""
    program = start(
        """
with open_store(path, create=False) as other:
    other.db.execute("BEGIN IMMEDIATE")
    say("held")
    sys.stdin.readline()
    other.db.execute("UPDATE clients SET note = 'moved in between'")
    other.db.execute("COMMIT")
""",
        path,
    )
    store.db.execute("PRAGMA busy_timeout = 60000")
    hears(program, "held")
    asked = threading.Event()
    store.db.conn.set_trace_callback(lambda sql: asked.set() if "BEGIN" in sql else None)

    def let_go() -> None:
        asked.wait()
        tell(program)

    thread = threading.Thread(target=let_go)
    thread.start()
    store.append(VISIT, entry(1))
    thread.join()
    assert store.entries(VISIT) == [entry(1)]
    assert store.clients()[0].note == "moved in between"


def test_two_programs_write_at_once(store: Store, start: Start, path: Path) -> None:
    """Two stations on one file each save their visit whole."""
    program = start(
        """
with open_store(path, create=False, busy_timeout_ms=60_000) as other:
    say("ready")
    sys.stdin.readline()
    for sequence in range(1, 41):
        other.append(visit, entry(sequence))
say("done")
""",
        path,
        OTHER_VISIT,
    )
    store.db.execute("PRAGMA busy_timeout = 60000")
    hears(program, "ready")
    tell(program)
    for sequence in range(1, 41):
        store.append(VISIT, entry(sequence))
    hears(program, "done")
    expected = [entry(sequence) for sequence in range(1, 41)]
    assert store.entries(VISIT) == store.entries(OTHER_VISIT) == expected
    assert store.check() == ()


def test_one_visit_open_twice_does_not_fork(store: Store, path: Path) -> None:
    """If the same visit is open in two windows, the one that is behind is told so."""
    with open_store(path) as second:
        store.append(VISIT, entry(1))
        with pytest.raises(StoreError, match="does not follow entry 1"):
            second.append(VISIT, dataclasses.replace(entry(1), words="fifty"))
        second.append(VISIT, entry(2))
    assert store.entries(VISIT) == [entry(1), entry(2)]


def test_four_programs_make_one_store(tmp_path: Path, start: Start) -> None:
    """Programs that all open a new store at the same time share it."""
    path = tmp_path / "new" / "foldcall.db"
    code = """
say("ready")
sys.stdin.readline()
with open_store(path, busy_timeout_ms=60_000) as store:
    store.add_assessor("Bo Ek", at="2026-05-04T09:30:00+02:00")
say("done")
"""
    programs = [start(code, path) for _ in range(4)]
    for program in programs:
        hears(program, "ready")
    for program in programs:
        tell(program)
    for program in programs:
        hears(program, "done")
    with open_store(path, create=False) as store:
        assert len(store.assessors()) == 4


def test_turning_on_the_log_is_tried_again(
    path: Path, start: Start, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where SQLite refuses the write-ahead log without waiting, we wait and try again.

    SQLite is told not to wait, as it does of itself when two programs make one store; the other
    program ends its reading when we first wait.
    """
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as plain:
        plain.execute("PRAGMA journal_mode = DELETE")
    program = start(
        """
other = sqlite3.connect(path, isolation_level=None)
other.execute("BEGIN")
other.execute("SELECT * FROM clients").fetchall()
say("reading")
sys.stdin.readline()
other.execute("ROLLBACK")
say("done")
""",
        path,
    )
    hears(program, "reading")
    assert isinstance(refused(path), StoreBusyError)
    waits = []

    def wait(seconds: float) -> None:
        if not waits:
            tell(program)
            hears(program, "done")
        waits.append(seconds)

    monkeypatch.setattr(connection.time, "sleep", wait)
    with contextlib.closing(connection.connect(path, busy_timeout_ms=0)) as db:
        connection.use_write_ahead_log(db, busy_timeout_ms=60_000)
        assert connection.pragma(db, "journal_mode") == "wal"
    assert waits


@pytest.mark.skipif(os.name == "nt", reason="Windows does not move an open file")
@pytest.mark.parametrize("fate", ["moved", "replaced"])
def test_file_that_loses_its_place_is_noticed(store: Store, path: Path, fate: str) -> None:
    """Nothing is said to be saved when the file was moved or replaced under the program."""
    store.append(VISIT, entry(1))
    path.rename(path.with_name("elsewhere.db"))
    if fate == "replaced":
        path.write_bytes(b"")
    with pytest.raises(StoreError, match="moved, removed or replaced") as caught:
        store.append(VISIT, entry(2))
    assert caught.value.hint
    path.with_name("elsewhere.db").replace(path)
    store.append(VISIT, entry(2))
    assert store.entries(VISIT) == [entry(1), entry(2)]


# Other users


@pytest.fixture
def umask(request: pytest.FixtureRequest) -> Iterator[int]:
    """Set a umask for the length of the test."""
    before = os.umask(request.param)
    yield request.param
    os.umask(before)


def mode(path: Path) -> int:
    """Read the permission bits."""
    return path.stat().st_mode & 0o777


@on_posix
@pytest.mark.parametrize("umask", [0, 0o022, 0o777], indirect=True, ids=oct)
@pytest.mark.usefixtures("umask")
def test_only_the_owner_can_read_the_store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file, the files beside it and new folders are the owner's alone, from the first byte."""
    tmp_path.chmod(0o755)
    path = tmp_path / "new" / "newer" / "foldcall.db"
    at_first = []

    def watched(path: Path, busy_timeout_ms: int) -> sqlite3.Connection:
        at_first.append((mode(path), path.stat().st_size))
        return connect(path, busy_timeout_ms)

    connect = connection._raw_connection
    monkeypatch.setattr(connection, "_raw_connection", watched)
    with open_store(path) as store:
        store.add_assessor("Bo Ek", at=AT)
        assert {item.name: mode(item) for item in path.parent.iterdir()} == {
            "foldcall.db": 0o600,
            "foldcall.db-wal": 0o600,
            "foldcall.db-shm": 0o600,
        }
        copy = store.backup(path.with_name("copy.db")).path
        assert mode(copy) == 0o600
    assert at_first == [(0o600, 0)]
    assert mode(tmp_path / "new") == mode(tmp_path / "new" / "newer") == 0o700
    assert mode(tmp_path) == 0o755  # it was there before


@on_posix
def test_store_that_others_could_read_is_closed_to_them(path: Path) -> None:
    """A store whose mode was loosened, and the files beside it, are tightened when opened."""
    with open_store(path) as first:
        first.append(VISIT, entry(1))
        files = list(path.parent.iterdir())
        assert len(files) == 3
        for item in files:
            item.chmod(0o666)
        with open_store(path):
            assert [mode(item) for item in files] == [0o600] * 3


@on_posix
def test_store_that_stays_open_to_others_is_refused(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file that others can read, and that is not ours to close, is not used."""

    def not_owner(*_: object) -> None:
        raise PermissionError(errno.EPERM, os.strerror(errno.EPERM))

    path.chmod(0o644)
    monkeypatch.setattr(Path, "chmod", not_owner)
    assert "read by other users" in refused(path).message


# Places that do not work


@pytest.fixture
def ordinary_folder() -> Iterator[Path]:
    """Give a folder of an ordinary user, and make the test that user: no mode binds root."""
    root = os.geteuid() == 0
    with tempfile.TemporaryDirectory() as name:
        outer = Path(name)
        inner = outer / "inner"
        inner.mkdir(mode=0o700)
        with open_store(inner / "foldcall.db") as store:
            store.add_assessor("Bo Ek", at=AT)
        if root:
            outer.chmod(0o755)
            for item in (inner, *inner.iterdir()):
                os.chown(item, 65534, 65534)
            os.seteuid(65534)
        yield inner
        if root:
            os.seteuid(0)
        inner.chmod(0o700)


@on_posix
def test_folder_that_cannot_be_written_is_told(ordinary_folder: Path) -> None:
    """In a read-only folder a new store, or a folder for one, cannot be made."""
    ordinary_folder.chmod(0o500)
    for name in ("new.db", "folder/new.db"):
        assert "cannot be written" in refused(ordinary_folder / name).message


@on_posix
def test_store_in_a_read_only_folder_is_told(ordinary_folder: Path) -> None:
    """A store needs files beside it, so that its folder must be writable too."""
    ordinary_folder.chmod(0o500)
    assert "cannot be written" in refused(ordinary_folder / "foldcall.db").message


@on_posix
@pytest.mark.parametrize("bits", [0o400, 0o000], ids=["read-only", "closed"])
def test_file_that_cannot_be_written_is_told(ordinary_folder: Path, bits: int) -> None:
    """A read-only store is told at the opening, not at the first reading."""
    path = ordinary_folder / "foldcall.db"
    path.chmod(bits)
    assert "cannot be written" in refused(path).message


def test_connection_that_cannot_write_is_told(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same on every platform: SQLite itself has opened the file for reading only."""

    def read_only(path: Path, busy_timeout_ms: int) -> sqlite3.Connection:
        return sqlite3.connect(
            f"{path.as_uri()}?mode=ro",
            uri=True,
            timeout=busy_timeout_ms / 1_000,
            isolation_level=None,
        )

    monkeypatch.setattr(connection, "_raw_connection", read_only)
    assert "cannot be written" in refused(path).message


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="no device of our own here")
@pytest.mark.parametrize("create", [True, False])
def test_a_device_is_no_store_and_stays_as_it_is(create: bool) -> None:
    """Closing /dev/null to others, as a store is, would harm the whole machine."""
    ours, theirs = os.openpty()
    try:
        device = Path(os.ttyname(theirs))
        device.chmod(0o622)
        with pytest.raises(StoreError, match="no file"):
            open_store(device, create=create)
        assert device.stat().st_mode & 0o777 == 0o622
    finally:
        os.close(ours)
        os.close(theirs)


def test_folder_is_no_store(tmp_path: Path) -> None:
    """A folder's path is told, with an example of a file's."""
    error = refused(tmp_path)
    assert "is a folder" in error.message
    assert str(tmp_path / "foldcall.db") in error.hint


@pytest.mark.parametrize("below", ["foldcall.db", "folder/foldcall.db"])
def test_path_below_a_file_is_told(tmp_path: Path, below: str) -> None:
    """No folder can be made where a file is."""
    (tmp_path / "file").write_text("a file")
    assert "a file is in its place" in refused(tmp_path / "file" / below).message


@pytest.mark.parametrize("there", [False, True], ids=["nothing", "an empty file"])
def test_store_that_is_not_there_is_not_made_unasked(tmp_path: Path, there: bool) -> None:
    """With `create=False` a mistyped path is told and stays as it was."""
    path = tmp_path / "folder" / "foldcall.db"
    if there:
        path.parent.mkdir()
        path.touch()
    assert "no store" in refused(path, create=False).message
    assert path.exists() is there
    assert not there or path.stat().st_size == 0


def test_file_that_vanishes_is_not_made_by_sqlite(tmp_path: Path) -> None:
    """SQLite itself never makes the file: it would follow the umask."""
    with pytest.raises(sqlite3.OperationalError):
        connection.connect(tmp_path / "foldcall.db")
    assert list(tmp_path.iterdir()) == []


def test_path_with_odd_characters_is_taken_as_it_is(tmp_path: Path) -> None:
    """Signs that mean something in a URI mean nothing in the name of a store."""
    path = tmp_path / "a%20b #1" / "ö&mode=memory.db"
    with open_store(path) as store:
        store.add_assessor("Bo Ek", at=AT)
    assert path.stat().st_size > 0


# Files that are no stores


def test_text_file_is_no_store(tmp_path: Path) -> None:
    """A file that is no database is refused and not touched."""
    path = tmp_path / "notes.txt"
    path.write_text("Skinfolds, Tuesday\n" * 100)
    assert "not a store" in refused(path).message
    assert path.read_text() == "Skinfolds, Tuesday\n" * 100


def test_damaged_first_page_is_told(path: Path) -> None:
    """A store whose table of contents is overwritten is told to be damaged."""
    content = bytearray(path.read_bytes())
    content[100:4096] = b"\xff" * (4096 - 100)
    path.write_bytes(content)
    assert "damaged" in refused(path).message


def test_damage_deeper_down_is_found_by_the_check(path: Path) -> None:
    """A store that opens but whose journal is overwritten does not pass the check."""
    with open_store(path) as store:
        for sequence in range(1, 100):
            store.append(VISIT, entry(sequence))
        root = store.db.execute("SELECT rootpage FROM sqlite_master WHERE name = 'journal'")
        (page,) = root.fetchone()
        assert store.check() == ()
    content = bytearray(path.read_bytes())
    content[(page - 1) * 4096 : page * 4096] = b"\xff" * 4096
    path.write_bytes(content)
    with open_store(path) as store:
        assert store.check() != ()
        with pytest.raises(StoreError, match="damaged") as caught:
            store.entries(VISIT)
        assert caught.value.hint


def test_check_finds_what_a_careless_program_did(store: Store, path: Path) -> None:
    """Rows without their visit and gaps in a journal are found, and no name is told."""
    for sequence in (1, 2, 3):
        store.append(VISIT, entry(sequence))
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as careless:
        for table in ("journal", "visits", "reading_facts"):
            careless.execute(f"DROP TRIGGER {table}_no_delete")
        careless.execute("DELETE FROM reading_facts")
        careless.execute("DELETE FROM journal WHERE sequence = 2")
        careless.execute("DELETE FROM visits WHERE id = ?", [VISIT])
    lines = store.check()
    assert any("has a gap" in line for line in lines)
    assert any("refers to a row of visits" in line for line in lines)
    assert "Ada" not in " ".join(lines)


# Backups


def test_backup_holds_everything(store: Store, tmp_path: Path) -> None:
    """A backup taken in the middle of a visit opens as a store with all that was saved."""
    for sequence in (1, 2):
        store.append(VISIT, entry(sequence))
    copy = store.backup(tmp_path / "copy.db").path
    store.append(VISIT, entry(3))
    assert not (tmp_path / "copy.db.part").exists()
    with open_store(copy, create=False) as restored:
        assert restored.entries(VISIT) == [entry(1), entry(2)]
        assert restored.visits() == store.visits()
        assert sorted(restored.db.schema.split(";")) == sorted(store.db.schema.split(";"))
        assert restored.check() == ()
        restored.append(VISIT, entry(3))


@pytest.mark.parametrize("taken", ["copy.db", "copy.db.part"])
def test_backup_overwrites_nothing(store: Store, tmp_path: Path, taken: str) -> None:
    """A file that is there already stays, and no half a backup is left."""
    (tmp_path / taken).write_text("something else")
    before = sorted(item.name for item in tmp_path.iterdir())
    with pytest.raises(StoreError, match="already") as caught:
        store.backup(tmp_path / "copy.db")
    assert caught.value.hint
    assert (tmp_path / taken).read_text() == "something else"
    assert sorted(item.name for item in tmp_path.iterdir()) == before


def test_backup_into_no_folder_is_told(store: Store, tmp_path: Path) -> None:
    """A backup makes no folders: a mistyped path would hide it."""
    with pytest.raises(StoreError, match="does not exist") as caught:
        store.backup(tmp_path / "nowhere" / "copy.db")
    assert str(tmp_path / "nowhere") in caught.value.hint


def test_backup_that_lacks_a_row_is_thrown_away(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A copy that does not hold what the store holds is not left behind as a backup."""
    store.append(VISIT, entry(1))
    sync = backups.sync

    def after_a_loss(part: Path) -> None:
        with contextlib.closing(sqlite3.connect(part, isolation_level=None)) as copy:
            copy.execute("DROP TRIGGER reading_facts_no_delete")
            copy.execute("DELETE FROM reading_facts WHERE position = 1")
        sync(part)

    monkeypatch.setattr(backups, "sync", after_a_loss)
    with pytest.raises(StoreError, match="does not hold") as caught:
        store.backup(tmp_path / "copy.db")
    assert caught.value.hint
    assert not list(tmp_path.glob("copy.db*"))


# The usual place


def test_variable_names_the_store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """FOLDCALL_STORE, if set, says where the store lies; a tilde is the home folder."""
    monkeypatch.setenv("FOLDCALL_STORE", str(tmp_path / "mine.db"))
    assert default_store_path() == tmp_path / "mine.db"
    monkeypatch.setenv("FOLDCALL_STORE", "~/mine.db")
    assert default_store_path() == Path.home() / "mine.db"


@pytest.mark.parametrize("value", [None, "", "  "], ids=["unset", "empty", "blank"])
def test_store_lies_in_the_data_folder_of_the_platform(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, value: str | None
) -> None:
    """Without the variable the platform says where, and asking makes nothing."""
    monkeypatch.delenv("FOLDCALL_STORE", raising=False)
    if value is not None:
        monkeypatch.setenv("FOLDCALL_STORE", value)
    monkeypatch.setattr(platformdirs, "user_data_path", lambda name, **_: tmp_path / name)
    assert default_store_path() == tmp_path / "foldcall" / "foldcall.db"
    assert list(tmp_path.iterdir()) == []
