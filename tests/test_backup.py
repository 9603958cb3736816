"""`foldcall backup`: a whole copy that is read again before it is called one."""

import contextlib
import os
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from capture.cli import main
from capture.store import Store, StoreError, backups, look_over, open_store
from capture.store.connection import connect

AT = "2026-05-04T09:30:00+02:00"
ROOT = Path(__file__).parents[1]

on_posix = pytest.mark.skipif(os.name != "posix", reason="modes of files are POSIX's")


def filled(path: Path, desk: Any, names: tuple[str, ...] = ("Rowan Alderby",)) -> list[str]:
    """Make a store with the desk's visit for each name; the visits' identifiers."""
    ids = []
    with open_store(path) as store:
        assessor = store.add_assessor("Tobias Quill", at=AT)
        for name in names:
            client = store.add_client(name, "male", at=AT)
            row = store.begin_visit(
                client.id,
                assessor.id,
                at=AT,
                plan=desk.plan.to_plain(),
                program_version="1",
            )
            for entry in desk.journal:
                store.append(row.id, entry)
            ids.append(row.id)
    return ids


@pytest.fixture
def path(tmp_path: Path, halfway: Any) -> Path:
    """A store that holds one visit, half measured."""
    path = tmp_path / "foldcall.db"
    filled(path, halfway)
    return path


def test_the_command_says_what_the_copy_holds(
    path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A backup is written, read again and told; `--check` finds the same in it."""
    copy = tmp_path / "copy.db"
    assert main(["backup", str(copy), "--store", str(path)]) == 0
    made = capsys.readouterr().out
    assert f"Written and read again: {copy}" in made
    assert "1 client, 1 visit" in made
    assert "was replayed" in made
    before = copy.read_bytes()
    assert main(["backup", "--check", str(copy)]) == 0
    assert capsys.readouterr().out.splitlines()[1:] == made.splitlines()[1:]
    assert copy.read_bytes() == before
    assert sorted(each.name for each in tmp_path.iterdir()) == ["copy.db", "foldcall.db"]


def test_without_a_place_it_lies_beside_the_store(path: Path) -> None:
    """`foldcall backup` alone makes the folder `backups`, and a name of its own each second."""
    assert main(["backup", "--store", str(path)]) == 0
    (copy,) = (path.parent / "backups").iterdir()
    assert copy.name.startswith("foldcall-20")
    assert look_over(copy).counts["visits"] == 1


def test_a_folder_gets_a_file_with_the_time_in_its_name(path: Path, tmp_path: Path) -> None:
    """A memory stick can be named by its folder."""
    stick = tmp_path / "stick"
    stick.mkdir()
    assert main(["backup", str(stick), "--store", str(path)]) == 0
    assert len(list(stick.iterdir())) == 1


@on_posix
def test_only_the_owner_can_read_it(path: Path, tmp_path: Path) -> None:
    """The backup and its folder are owner-only from the first byte, whatever the umask is."""
    before = os.umask(0)
    try:
        assert main(["backup", "--store", str(path)]) == 0
    finally:
        os.umask(before)
    folder = tmp_path / "backups"
    assert folder.stat().st_mode & 0o777 == 0o700
    assert [each.stat().st_mode & 0o777 for each in folder.iterdir()] == [0o600]


@on_posix
def test_a_disk_without_permissions_is_told(
    path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A copy that others can read, as on many memory sticks, is made and said to be so."""
    copy = tmp_path / "copy.db"
    assert main(["backup", str(copy), "--store", str(path)]) == 0
    assert "Other users" not in capsys.readouterr().out
    copy.chmod(0o644)
    assert main(["backup", "--check", str(copy)]) == 0
    assert "Other users can read it" in capsys.readouterr().out


@pytest.mark.parametrize("taken", ["copy.db", "copy.db.part"])
def test_nothing_is_overwritten(
    path: Path, tmp_path: Path, taken: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file of that name, or one half written before, stays; the command fails and says so."""
    (tmp_path / taken).write_text("something else")
    assert main(["backup", str(tmp_path / "copy.db"), "--store", str(path)]) == 1
    assert "file already" in capsys.readouterr().err
    assert (tmp_path / taken).read_text() == "something else"


@pytest.mark.parametrize("links", [True, False], ids=["disk with links", "disk without"])
def test_a_name_taken_while_the_copy_was_made_is_left(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    """Two backups of one name at once: the first one to end has it, the other is told."""
    sync = backups.sync

    def somebody_is_quicker(part: Path) -> None:
        (tmp_path / "copy.db").write_text("theirs")
        sync(part)

    def no_links(*_: object) -> None:
        raise OSError("no links here")

    if not links:
        monkeypatch.setattr(os, "link", no_links)
    monkeypatch.setattr(backups, "sync", somebody_is_quicker)
    with open_store(path) as store, pytest.raises(StoreError, match="already"):
        store.backup(tmp_path / "copy.db")
    assert (tmp_path / "copy.db").read_text() == "theirs"
    assert not (tmp_path / "copy.db.part").exists()


def test_a_disk_without_links_takes_a_backup(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A memory stick knows no second names for a file; the backup gets its name all the same."""

    def no_links(*_: object) -> None:
        raise OSError("no links here")

    monkeypatch.setattr(os, "link", no_links)
    with open_store(path) as store:
        assert look_over(store.backup(tmp_path / "copy.db").path).counts["visits"] == 1


# Bad disks


def written_damaged(monkeypatch: pytest.MonkeyPatch, damage: Any) -> None:
    """Let the disk keep something else than was written, just before the copy is read again."""
    sync = backups.sync

    def on_a_bad_disk(part: Path) -> None:
        sync(part)
        if part.is_file():
            damage(part)

    monkeypatch.setattr(backups, "sync", on_a_bad_disk)


def cut_short(part: Path) -> None:
    """Keep the first half."""
    content = part.read_bytes()
    part.write_bytes(content[: len(content) // 2])


def pages_lost(part: Path) -> None:
    """Read all pages but the first as zeros."""
    size = part.stat().st_size
    with part.open("r+b") as file:
        file.seek(4096)
        file.write(bytes(size - 4096))


def first_bytes_lost(part: Path) -> None:
    """Read the first page as zeros."""
    with part.open("r+b") as file:
        file.write(bytes(4096))


def reading_changed(part: Path) -> None:
    """Hold another value in a journal that is otherwise sound."""
    with contextlib.closing(sqlite3.connect(part, isolation_level=None)) as copy:
        copy.execute("DROP TRIGGER journal_no_update")
        copy.execute(
            "UPDATE journal SET words = replace(words, 'fourteen', 'forty') WHERE sequence > 9"
        )


@pytest.mark.parametrize("damage", [cut_short, pages_lost, first_bytes_lost, reading_changed])
def test_a_copy_that_came_out_wrong_is_no_backup(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, damage: Any
) -> None:
    """What cannot be read again as it was is removed, and the person is told."""
    written_damaged(monkeypatch, damage)
    with open_store(path) as store, pytest.raises(StoreError) as caught:
        store.backup(tmp_path / "copy.db")
    assert caught.value.hint
    assert [each.name for each in tmp_path.iterdir() if "copy" in each.name] == []


def test_a_full_disk_leaves_no_half_a_backup(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQLite is told how many pages the copy may have and reports what it does on a full disk."""
    opened = backups.opened

    def with_little_room(part: Path, *given: Any, read_only: bool) -> Any:
        db = opened(part, *given, read_only=read_only)
        if not read_only:
            db.execute("PRAGMA max_page_count = 5")
        return db

    monkeypatch.setattr(backups, "opened", with_little_room)
    with open_store(path) as store:
        with pytest.raises(StoreError, match="disk is full"):
            store.backup(tmp_path / "copy.db")
        assert not list(tmp_path.glob("copy.db*"))
        assert store.check() == ()
        monkeypatch.undo()
        assert store.backup(tmp_path / "copy.db").counts["visits"] == 1


# A visit that goes on


def test_a_visit_goes_on_while_a_backup_is_made(path: Path, tmp_path: Path) -> None:
    """Another program saves reading after reading; each backup is whole and holds one moment."""
    code = """
import sys
from capture.store import open_store
with open_store(sys.argv[1], create=False, busy_timeout_ms=60_000) as store:
    for number in range(100_000):
        store.add_client(f"Client {number}", "male", at="2026-05-04T09:30:00+02:00")
        print(number, flush=True)
"""
    with subprocess.Popen(
        [sys.executable, "-c", code, str(path)], stdout=subprocess.PIPE, text=True, cwd=ROOT
    ) as program:
        assert program.stdout is not None
        program.stdout.readline()
        reader = threading.Thread(target=program.stdout.read)
        reader.start()
        try:
            with open_store(path, create=False, busy_timeout_ms=60_000) as store:
                held = [store.backup(tmp_path / f"copy{number}.db") for number in range(4)]
        finally:
            program.kill()
            reader.join()
    grown = [each.counts["clients"] for each in held]
    assert grown == sorted(grown)
    assert grown[-1] > grown[0] > 1
    assert [look_over(each.path) for each in held] == held


def test_a_backup_can_be_measured_on(path: Path, tmp_path: Path) -> None:
    """A backup taken in mid-visit is a store: the visit goes on in it where it was."""
    with open_store(path) as store:
        store.backup(tmp_path / "copy.db")
        (row,) = store.open_visits()
        expected = store.entries(row.id)
    with open_store(tmp_path / "copy.db", create=False) as copy:
        assert copy.open_visits() == [row]
        assert copy.entries(row.id) == expected
        assert copy.check() == ()


# Looking a file over


def test_check_of_a_damaged_backup_says_so(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that lost pages fails the check with one line, and is left as it is."""
    pages_lost(path)
    before = path.read_bytes()
    assert main(["backup", "--check", str(path)]) == 1
    said = capsys.readouterr().err
    assert said.startswith("foldcall: ")
    assert "damaged" in said
    assert said.count("\n") == 1
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (None, "no file"),
        (b"", "empty"),
        (b"Skinfolds, Tuesday\n", "not a store"),
        (b"SQLite format 3\0" + bytes(4080), ""),
    ],
    ids=["nothing", "empty", "text", "only a head"],
)
def test_check_of_something_else_says_so(
    tmp_path: Path, content: bytes | None, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is no backup is told in one line."""
    file = tmp_path / "copy.db"
    if content is not None:
        file.write_bytes(content)
    assert main(["backup", "--check", str(file)]) == 1
    said = capsys.readouterr().err
    assert told in said
    assert said.count("\n") == 1


def test_check_and_a_place_are_not_given_together(
    path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two wishes at once are a mistake."""
    assert main(["backup", str(tmp_path / "a.db"), "--check", str(path)]) == 2
    assert "Leave out" in capsys.readouterr().err


@pytest.fixture
def imported(path: Path) -> Iterator[Store]:
    """A store whose only visit cannot be replayed, as one that came in as a table."""
    with contextlib.closing(connect(path)) as db:
        db.execute("DROP TRIGGER journal_no_update")
        db.execute("UPDATE journal SET intent = '{}'")
    with open_store(path) as store:
        yield store


def test_visits_that_cannot_be_replayed_are_backed_up_too(imported: Store, tmp_path: Path) -> None:
    """Then rows are counted and the file looked over, and no visit is said to be replayed."""
    held = imported.backup(tmp_path / "copy.db")
    assert held.replayed is None
    assert held.counts["journal"] > 0
