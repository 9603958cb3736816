"""Faults in the middle of a visit: full, read-only, locked, damaged, moved; and what is rescued.

Each test drives the real session: keys in, the plain screen out, a store on the disk.
"""

import dataclasses
import io
import os
import sqlite3
import stat
import subprocess
import sys
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

import kills
import pytest
from kills import Moments, Sitting, sitting
from person import keys_for

from capture import rescue
from capture.cli import main
from capture.errors import CaptureError
from capture.pack import Pack
from capture.rescue import RescueError, rescues
from capture.rescued import read_rescue, take_back, waiting
from capture.screen.render import Size, plain, render
from capture.store import Passphrase, Store, open_store
from capture.visit.announcement import ReadBack
from capture.visit.course import question
from capture.visit.replay import replay
from capture.visit.state import Plan, Visit
from capture.wording.numbers import NumberWords

on_posix = pytest.mark.skipif(os.name != "posix", reason="modes of files are POSIX's")
Desk = Callable[[], AbstractContextManager[Sitting]]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the store lies."""
    (tmp_path / "data").mkdir()
    return tmp_path / "data" / "visits.db"


@pytest.fixture
def spare(tmp_path: Path) -> Path:
    """Another folder of the user's."""
    return tmp_path / "state"


@pytest.fixture(autouse=True)
def _places(monkeypatch: pytest.MonkeyPatch, spare: Path) -> None:
    """Rescue files lie in folders of the test; the store is tried again at each call."""
    monkeypatch.setattr(rescue, "folders_for", lambda store: (store.parent, spare))
    monkeypatch.setattr(rescue, "RETRY_S", -1.0)


@pytest.fixture
def desk(path: Path, pack: Pack, numbers: NumberWords) -> Desk:
    """Starts the program on the store."""
    return lambda: sitting(path, pack, numbers, Moments())


def go_on(desk: Sitting, calls: int) -> None:
    """The person makes so many calls."""
    for _ in range(calls):
        before = desk.visit.sequence
        keys = keys_for(desk.visit)
        assert keys is not None
        desk.take(keys)
        assert desk.visit.sequence == before + 1, desk.lines[-3:]


def to_the_end(desk: Sitting) -> Visit:
    """The person goes on until the visit is signed off."""
    while (keys := keys_for(desk.visit)) is not None:
        desk.take(keys)
    return desk.visit


def screen(desk: Sitting, columns: int = 80, rows: int = 24) -> str:
    """What is to be seen."""
    return plain(render(desk.running.view(), Size(columns, rows)))


def stored(path: Path) -> Visit:
    """The visit as the store has it."""
    with open_store(path, create=False) as store:
        (row,) = store.visits()
        return replay(Plan.from_plain(row.plan), store.entries(row.id))


def fill(store: Store) -> None:
    """Let the file have no page more, as on a disk without room."""
    (pages,) = store.db.execute("PRAGMA page_count").fetchone()
    store.db.execute(f"PRAGMA max_page_count = {pages}")


def make_room(store: Store) -> None:
    """There is room again."""
    store.db.execute("PRAGMA max_page_count = 1000000")


class Fault:
    """A way in which the store stops taking calls, and its mending."""

    def __init__(self, name: str) -> None:
        self.name = name
        self._other: sqlite3.Connection | None = None

    def begin(self, desk: Sitting) -> None:
        """From now on nothing can be saved."""
        if self.name == "full":
            fill(desk.store)
        elif self.name == "read-only":
            desk.store.db.execute("PRAGMA query_only = 1")
        elif self.name == "locked":
            desk.store.db.execute("PRAGMA busy_timeout = 20")
            self._other = sqlite3.connect(desk.store.path, isolation_level=None)
            self._other.execute("BEGIN IMMEDIATE")
        else:
            desk.store.path.rename(desk.store.path.with_name("elsewhere.db"))

    def end(self, desk: Sitting) -> None:
        """All is well again."""
        if self.name == "full":
            make_room(desk.store)
        elif self.name == "read-only":
            desk.store.db.execute("PRAGMA query_only = 0")
        elif self._other is not None:
            self._other.close()
        else:
            desk.store.path.with_name("elsewhere.db").rename(desk.store.path)


FAULTS = {
    "full": "disk is full",
    "read-only": "cannot be written",
    "locked": "in use by another program",
    "moved": "moved, removed or replaced",
}


@pytest.fixture(params=FAULTS)
def fault(request: pytest.FixtureRequest) -> Fault:
    """Each fault in turn."""
    return Fault(request.param)


def until_rescued(desk: Sitting) -> None:
    """A disk that is full may still take a call or two."""
    for _ in range(30):
        go_on(desk, 1)
        if desk.running.session.shown.warning:
            return
    raise AssertionError("nothing was rescued")


def test_a_visit_goes_on_while_the_store_fails(desk: Desk, path: Path, fault: Fault) -> None:
    """Calls go into a rescue file under a lasting warning, and home when the store is well."""
    with desk() as sat:
        go_on(sat, 8)
        fault.begin(sat)
        until_rescued(sat)
        go_on(sat, 3)
        (file,) = rescues([path.parent])
        assert read_rescue(file).count == sat.visit.sequence
        for size in ((80, 24), (120, 40), (40, 12)):
            seen = " ".join(screen(sat, *size).replace("!", " ").split())
            assert "NOT IN THE STORE:" in seen
        assert FAULTS[fault.name] in " ".join(screen(sat, 120, 40).replace("!", " ").split())
        fault.end(sat)
        go_on(sat, 1)
        assert "NOT IN THE STORE" not in screen(sat)
        assert sat.entries()[-1].sequence == sat.visit.sequence
        assert rescues([path.parent]) == []
        end = to_the_end(sat)
        assert sat.store.check() == ()
    assert stored(path) == end


def test_what_was_rescued_is_taken_in_at_the_next_start(
    desk: Desk, path: Path, fault: Fault
) -> None:
    """Left in a fault, the program takes the calls in when it is started again, and only once."""
    with desk() as sat:
        go_on(sat, 8)
        fault.begin(sat)
        until_rescued(sat)
        go_on(sat, 4)
        before = sat.visit
        # Killed here, as far as the files are concerned.
        (file,) = rescues([path.parent])
        kept = file.read_bytes()
        fault.end(sat)
    file.write_bytes(kept)
    file.chmod(0o600)
    for _ in range(2):  # also when the program dies before it removes the file
        with open_store(path) as store:
            for found in waiting(store):
                assert not isinstance(found, CaptureError)
                take_back(store, found)
        assert stored(path) == before
        assert rescues([path.parent]) == []
        file.write_bytes(kept)
        file.chmod(0o600)


@pytest.mark.parametrize("comes_home", [True, False], ids=["at the end", "at the next start"])
def test_a_visit_signed_off_in_a_fault_gets_its_result(
    desk: Desk, path: Path, comes_home: bool
) -> None:
    """What the readings come to is stored with the calls, by whichever way they are taken in."""
    with desk() as sat:
        go_on(sat, 8)
        sat.store.db.execute("PRAGMA query_only = 1")
        to_the_end(sat)
        assert rescues([path.parent])
        if comes_home:
            sat.store.db.execute("PRAGMA query_only = 0")
    for _ in range(2):
        with open_store(path) as store:
            assert len(list(waiting(store))) == (not comes_home)
            for found in waiting(store):
                assert not isinstance(found, CaptureError)
                take_back(store, found)
            comes_home = True
            (row,) = store.visits()
            (result,) = store.results(row.id)
            assert result.sequence == len(store.entries(row.id))


def test_the_pending_read_back_is_rescued_too(desk: Desk, path: Path) -> None:
    """A reading that waits for its yes in the rescue file waits for it after the next start."""
    with desk() as sat:
        go_on(sat, 4)
        fill(sat.store)
        until_rescued(sat)
        while not isinstance(question(sat.visit), ReadBack):
            go_on(sat, 1)
        before = sat.visit
        sat.running.rescue = None  # it dies here
    with open_store(path) as store:
        (found,) = waiting(store)
        assert not isinstance(found, CaptureError)
        assert "taken back" in take_back(store, found)
    with desk() as sat:
        assert sat.visit == before
        assert any("confirm?" in line for line in sat.lines)


@on_posix
def test_a_rescue_file_is_for_its_owner_alone(desk: Desk, path: Path, spare: Path) -> None:
    """Whatever the umask, nobody else can read it, wherever it lies."""
    before = os.umask(0)
    try:
        with desk() as sat:
            go_on(sat, 4)
            fill(sat.store)
            blocked = path.parent / f"{rescue.PREFIX}{sat.running.opened.row.id}{rescue.SUFFIX}"
            blocked.mkdir()  # beside the store it cannot be
            until_rescued(sat)
            (file,) = rescues([spare])
            assert stat.S_IMODE(file.stat().st_mode) == 0o600
            assert stat.S_IMODE(spare.stat().st_mode) == 0o700
    finally:
        os.umask(before)


def test_with_no_place_at_all_a_call_is_not_taken(
    desk: Desk, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither store nor rescue file: the visit stands still, loudly, and goes on when it can."""
    monkeypatch.setattr(rescue, "folders_for", lambda _: ())
    with desk() as sat:
        go_on(sat, 8)
        sat.store.db.execute("PRAGMA query_only = 1")
        before, keys = sat.visit, keys_for(sat.visit)
        assert keys is not None
        sat.take(keys)
        assert sat.visit == before
        assert "FAILED" in screen(sat, 40, 12) or "NOT SAVED" in screen(sat)
        assert "use paper" in sat.lines[-1]
        sat.store.db.execute("PRAGMA query_only = 0")
        end = to_the_end(sat)
    assert stored(path) == end


def test_a_rescue_file_that_fills_up_is_written_elsewhere(
    desk: Desk, path: Path, spare: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When the disk of the rescue file is full as well, all of it goes to another folder."""
    with desk() as sat:
        go_on(sat, 4)
        sat.store.db.execute("PRAGMA query_only = 1")
        go_on(sat, 1)
        (first,) = rescues([path.parent])
        usual = rescue.RescueFile.add

        def full(self: rescue.RescueFile, *lines: dict[str, object]) -> None:
            if self.path == first:
                raise OSError(28, "No space left on device")
            usual(self, *lines)

        monkeypatch.setattr(rescue.RescueFile, "add", full)
        go_on(sat, 2)
        (second,) = rescues([spare])
        assert read_rescue(second).count == sat.visit.sequence
        sat.store.db.execute("PRAGMA query_only = 0")
        go_on(sat, 1)
        assert rescues([spare, path.parent]) == []


def rescued(desk: Desk, path: Path) -> Path:
    """A rescue file of a visit whose store holds the first eight calls."""
    with desk() as sat:
        go_on(sat, 8)
        sat.store.db.execute("PRAGMA query_only = 1")
        go_on(sat, 3)
        (file,) = rescues([path.parent])
        sat.running.rescue = None
    return file


def test_a_torn_last_line_was_never_announced(desk: Desk, path: Path) -> None:
    """Half a line at the end is left out; the rest is taken."""
    file = rescued(desk, path)
    file.write_bytes(file.read_bytes()[:-20])
    assert read_rescue(file).count == 10


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (b'"sequence":9', b'"sequence":10'),
        (b'"kind"', b'"kin"'),
        (b'"version":1', b'"version":2'),
        (b'{"entry"', b'[{"entry"'),
        (b"entry", b"\x00\xff"),
    ],
    ids=["gap", "call", "version", "json", "bytes"],
)
def test_a_rescue_file_that_was_changed_is_refused(
    desk: Desk, path: Path, old: bytes, new: bytes
) -> None:
    """The line is named, nothing is taken, and the file stays."""
    file = rescued(desk, path)
    held = file.read_bytes()
    assert old in held
    file.write_bytes(held.replace(old, new))
    with pytest.raises(RescueError, match=r"Line \d+") as caught:
        read_rescue(file)
    assert str(file) in caught.value.hint
    with open_store(path) as store:
        assert [type(each) for each in waiting(store)] == [RescueError]
    assert file.exists()
    assert stored(path).sequence == 8


def test_a_visit_that_went_on_without_its_rescue_is_told(desk: Desk, path: Path) -> None:
    """Two ways from one point: the store keeps its own, the file stays, a person compares."""
    file = rescued(desk, path)
    with desk() as sat:
        sat.take(["u"])
        after = sat.visit
    with open_store(path) as store:
        (found,) = waiting(store)
        assert not isinstance(found, CaptureError)
        with pytest.raises(RescueError, match="does not go on"):
            take_back(store, found)
    assert file.exists()
    assert stored(path) == after


def test_a_lost_store_gets_the_whole_visit_back(desk: Desk, path: Path) -> None:
    """The store is damaged and begun anew: the rescue file brings client, visit and all calls."""
    file = rescued(desk, path)
    path.unlink()
    with open_store(path) as store:
        (found,) = waiting(store)
        assert not isinstance(found, CaptureError)
        assert "11 calls" in take_back(store, found)
        assert [each.name for each in store.clients()] == [kills.WISH.client]
    assert stored(path).sequence == 11
    assert not file.exists()


def test_an_erased_client_does_not_come_back(desk: Desk, path: Path) -> None:
    """The rescue file of somebody who was erased is removed, not taken."""
    file = rescued(desk, path)
    with open_store(path) as store:
        (client,) = store.clients()
        store.erase_client(client.id, at=kills.NOON)
        (found,) = waiting(store)
        assert not isinstance(found, CaptureError)
        assert "removed" in take_back(store, found)
        assert store.clients() == []
    assert not file.exists()


@on_posix
def test_a_file_that_is_not_ours_is_not_looked_at(desk: Desk, path: Path, spare: Path) -> None:
    """A link under the name of a rescue file is nobody's word."""
    file = rescued(desk, path)
    spare.mkdir()
    away = file.rename(spare / "away.jsonl")
    file.symlink_to(away)
    assert rescues([path.parent]) == []


def test_an_encrypted_store_is_not_rescued_into_the_open(
    path: Path, pack: Pack, numbers: NumberWords, monkeypatch: pytest.MonkeyPatch, spare: Path
) -> None:
    """Its calls would lie in a plain file: they are refused instead, and nothing is written."""
    pytest.importorskip("sqlcipher3")
    secret = Passphrase("correct horse battery")
    monkeypatch.setattr(kills, "open_store", lambda where: open_store(where, passphrase=secret))
    with sitting(path, pack, numbers, Moments()) as sat:
        go_on(sat, 4)
        sat.store.db.execute("PRAGMA query_only = 1")
        keys = keys_for(sat.visit)
        assert keys is not None
        sat.take(keys)
        assert sat.visit.sequence == 4
        assert "NOT SAVED" in sat.lines[-1]
    assert rescues([path.parent, spare]) == []


def test_a_damaged_page_in_mid_visit_loses_nothing_that_was_shown(desk: Desk, path: Path) -> None:
    """The disk ruins the file under the program: the whole visit is in the rescue file."""
    with desk() as sat:
        go_on(sat, 10)
        sat.store.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        size = path.stat().st_size
        with path.open("r+b") as file:
            file.seek(4096)
            file.write(b"\xa5" * (size - 4096))
        sat.store.db.execute("PRAGMA cache_size = 1")
        sat.store.db.execute("PRAGMA shrink_memory")
        go_on(sat, 4)
        before = sat.visit
        (file_left,) = rescues([path.parent])
        assert read_rescue(file_left).count == 14
        assert "damaged" in screen(sat, 120, 40)
        sat.running.rescue = None
    path.unlink()
    for suffix in ("-wal", "-shm"):
        path.with_name(path.name + suffix).unlink(missing_ok=True)
    with open_store(path) as store:
        (found,) = waiting(store)
        assert not isinstance(found, CaptureError)
        take_back(store, found)
    assert stored(path) == before


def test_a_clock_that_jumps_back_harms_nothing(
    path: Path, pack: Pack, numbers: NumberWords, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two hours back in mid-visit: the order is that of the calls, and the visit goes on."""
    with sitting(path, pack, numbers, Moments()) as sat:
        go_on(sat, 10)
    monkeypatch.setattr(kills, "NOON", "2026-03-02T09:59:00+01:00")
    with sitting(path, pack, numbers, Moments()) as sat:
        assert sat.visit.sequence == 10
        end = to_the_end(sat)
        assert sat.store.check() == ()
        times = [each.at for each in sat.entries()]
        assert times != sorted(times)
        (day,) = sat.store.day_rows("2026-03-02")
        assert day["signed_off"]
    assert stored(path) == end


def test_two_programs_on_one_visit(desk: Desk, path: Path) -> None:
    """The second goes on; the first is refused with what to do, and no call is doubled."""
    with desk() as first:
        go_on(first, 10)
        with desk() as second:
            go_on(second, 3)
            keys = keys_for(first.visit)
            assert keys is not None
            first.take(keys)
            assert first.visit.sequence == 10
            assert "NOT SAVED" in first.lines[-1]
            assert "Another program" in first.lines[-1]
            assert rescues([path.parent]) == []
            end = to_the_end(second)
    assert stored(path) == end


def test_two_programs_on_two_visits_of_one_store(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two assessors, one store, calls in turn: both visits come to their end."""
    with desk() as first:
        monkeypatch.setattr(kills, "WISH", dataclasses.replace(kills.WISH, client="Ada Moss"))
        with desk() as second:
            while first.visit.signed_at is None or second.visit.signed_at is None:
                for sat in (first, second):
                    sat.take(keys_for(sat.visit) or [])
            assert first.store.check() == ()
            assert len(first.store.visits()) == 2
            assert first.entries() == second.entries()


def damage(path: Path, how: str) -> None:
    """Harm a closed store."""
    size = path.stat().st_size
    with path.open("r+b") as file:
        if how == "header":
            file.write(b"nonsense" * 4)
        elif how == "middle":
            file.seek(4096)
            file.write(b"\x5a" * (size // 2))
        elif how == "truncated":
            file.truncate(size // 2 + 100)
        elif how == "emptied":
            file.truncate(3)
    if how == "newer":
        with sqlite3.connect(path) as db:
            db.execute(
                "INSERT INTO _sqlite_migrations (migration_set, name, applied_at)"
                " VALUES ('foldcall', '999_later', '2027-01-01')"
            )
        db.close()


@pytest.mark.parametrize(
    ("how", "told"),
    [
        ("header", "damaged"),
        ("middle", "damaged"),
        ("truncated", "damaged"),
        ("emptied", "store"),
        ("newer", "newer version"),
    ],
)
def test_a_store_that_cannot_be_used_is_told_in_one_line(
    desk: Desk,
    path: Path,
    how: str,
    told: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """What is wrong, what to do, how to measure meanwhile; and the file stays as it is."""
    with desk() as sat:
        go_on(sat, 8)
    damage(path, how)
    held = path.read_bytes()
    monkeypatch.setenv("FOLDCALL_SETTINGS", str(path.with_name("settings.toml")))
    monkeypatch.setattr("sys.stdin", io.StringIO())
    capsys.readouterr()
    assert main(measuring(path)) == 1
    (line,) = capsys.readouterr().err.splitlines()
    assert told in line
    # A ruined header looks like an encrypted store: only a passphrase could tell.
    assert how == "header" or "--store" in line
    assert path.read_bytes() == held


def measuring(path: Path) -> list[str]:
    """The command, by keypad, in lines."""
    return [
        "measure", "--client", kills.WISH.client, "--assessor", kills.WISH.assessor,
        "--sex", "male", "--age", "34", "--plain", "--silent", "--no-microphone",
        "--store", str(path),
    ]  # fmt: skip


def test_the_command_takes_a_rescue_file_back(desk: Desk, path: Path) -> None:
    """`foldcall measure` says what it took in, and goes on from there."""
    file = rescued(desk, path)
    ran = subprocess.run(
        [sys.executable, "-m", "capture", *measuring(path)],
        input="",
        capture_output=True,
        text=True,
        check=False,
        cwd=Path(__file__).parents[1],
        env={**os.environ, "FOLDCALL_SETTINGS": str(path.with_name("settings.toml"))},
    )
    assert ran.returncode == 0, ran.stderr
    assert "3 calls" in ran.stdout
    assert "goes on where it was left" in ran.stdout
    assert not file.exists()
    assert stored(path).sequence == 11


@pytest.mark.skipif(sys.platform != "linux", reason="a small disk is mounted")
def test_a_disk_that_is_really_full(tmp_path: Path, pack: Pack, numbers: NumberWords) -> None:
    """On a disk of 4 MB that is filled up in mid-visit every call shown is kept and comes home."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(disk)],
        capture_output=True,
        check=False,
    )
    if mounted.returncode:
        pytest.skip("only the superuser can mount a disk")
    try:
        with sitting(disk / "visits.db", pack, numbers, Moments()) as sat:
            go_on(sat, 10)
            filling = disk / "filling"
            with pytest.raises(OSError, match="No space"):
                filling.write_bytes(bytes(8_000_000))
            while not sat.running.session.shown.warning:
                go_on(sat, 1)
            go_on(sat, 3)
            filling.unlink()
            end = to_the_end(sat)
            assert sat.running.session.shown.warning == ""
        assert stored(disk / "visits.db") == end
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=False)
