"""`foldcall restore`: a backup takes the store's place, and nothing is lost by it."""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from beside import another_program

from capture.cli import main
from capture.store import StoreBusyError, StoreError, convert, open_store, restore
from capture.store.cipher import Passphrase
from capture.store.errors import StoreUnusableError

AT = "2026-05-04T09:30:00+02:00"
KEY = Passphrase("correct horse battery")


@pytest.fixture
def path(tmp_path: Path, halfway: Any) -> Path:
    """A store with one visit of one client."""
    path = tmp_path / "foldcall.db"
    with open_store(path) as store:
        client = store.add_client("Rowan Alderby", "male", at=AT)
        assessor = store.add_assessor("Tobias Quill", at=AT)
        row = store.begin_visit(
            client.id, assessor.id, at=AT, plan=halfway.plan.to_plain(), program_version="1"
        )
        for entry in halfway.journal:
            store.append(row.id, entry)
    return path


@pytest.fixture
def copy(path: Path, tmp_path: Path) -> Path:
    """A backup of it; then one client more came into the store."""
    copy = tmp_path / "copy.db"
    with open_store(path) as store:
        store.backup(copy)
        store.add_client("Ada Moss", "female", at=AT)
    return copy


def names(path: Path, passphrase: Passphrase | None = None) -> list[str]:
    """The clients of a store."""
    with open_store(path, create=False, passphrase=passphrase) as store:
        assert store.check() == ()
        return [each.name for each in store.clients()]


def aside(path: Path) -> Path:
    """The store as it was, beside the one that was restored."""
    (found,) = path.parent.glob("foldcall-before-restore-*.db")
    return found


def beside(path: Path) -> set[str]:
    """The files of the folder."""
    return {each.name for each in path.parent.iterdir()}


@contextmanager
def in_use(path: Path) -> Iterator[None]:
    """Another program has the store open."""
    code = (
        "import sys\nfrom capture.store import open_store\n"
        "with open_store(sys.argv[1]) as store:\n    store.clients()\n"
        "    print('open', flush=True)\n    sys.stdin.readline()\n"
    )
    with another_program(code, path):
        yield


def test_the_command_puts_a_backup_in_the_store_s_place(
    path: Path, copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What the store was lies beside it, whole; and what only it holds can be merged in."""
    before = copy.read_bytes()
    assert main(["restore", str(copy), "--store", str(path)]) == 0
    told = capsys.readouterr().out
    assert f"Restored: {path}" in told
    assert "1 client, 1 visit" in told
    assert f"foldcall merge {aside(path)}" in told
    assert names(path) == ["Rowan Alderby"]
    assert names(aside(path)) == ["Rowan Alderby", "Ada Moss"]
    assert copy.read_bytes() == before
    assert main(["merge", str(aside(path)), "--store", str(path)]) == 0
    assert names(path) == ["Rowan Alderby", "Ada Moss"]


def test_a_store_that_is_lost_comes_back(path: Path, copy: Path) -> None:
    """Nothing needs to be in the place."""
    path.unlink()
    assert main(["restore", str(copy), "--store", str(path)]) == 0
    assert names(path) == ["Rowan Alderby"]
    assert beside(path) == {"foldcall.db", "copy.db"}


@pytest.mark.skipif(os.name != "posix", reason="modes mean something on POSIX only")
def test_it_is_its_owner_s_alone(path: Path, copy: Path) -> None:
    """Whatever the copy's mode became on its way."""
    copy.chmod(0o644)
    assert main(["restore", str(copy), "--store", str(path)]) == 0
    assert path.stat().st_mode & 0o077 == 0
    assert aside(path).stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("damaged", [False, True], ids=["sound", "damaged"])
def test_a_store_in_use_is_left_alone(path: Path, copy: Path, damaged: bool) -> None:
    """Also one that cannot be read any more: the program that has it open is asked to end."""
    with in_use(path):
        if damaged:
            with path.open("r+b") as file:
                file.write(b"nonsense" * 64)
        before = path.read_bytes()
        assert main(["restore", str(copy), "--store", str(path)]) == 1
        assert path.read_bytes() == before
        assert not list(path.parent.glob("*before-restore*"))
        assert "foldcall.db.restored" not in beside(path)
        if damaged:
            shutil.copy(copy, path)  # so that it ends well


def test_a_damaged_store_is_replaced_with_all_that_lies_beside_it(path: Path, copy: Path) -> None:
    """Its log must not lie beside the new file: it would be taken for its own."""
    # As a crash leaves it: with a log that holds what is not in the file yet.
    with open_store(path) as store:
        store.add_client("Third Person", "female", at=AT)
        kept = path.with_name("foldcall.db-wal").read_bytes()
    assert kept
    with path.open("r+b") as file:
        file.write(b"nonsense" * 64)
    path.with_name("foldcall.db-wal").write_bytes(kept)
    held = path.read_bytes()
    assert main(["restore", str(copy), "--store", str(path)]) == 0
    assert names(path) == ["Rowan Alderby"]
    found = aside(path)
    assert found.read_bytes() == held
    assert found.with_name(f"{found.name}-wal").read_bytes() == kept


def test_who_was_erased_since_does_not_come_back(
    path: Path, copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The store knows whom it erased; the copy of the backup forgets them too, in every byte."""
    assert main(["clients", "erase", "Rowan Alderby", "--yes", "--store", str(path)]) == 0
    capsys.readouterr()
    assert main(["restore", str(copy), "--store", str(path)]) == 0
    assert "Erased since the backup, so from it too: 1 client" in capsys.readouterr().out
    assert names(path) == []
    assert b"Rowan" not in path.read_bytes()
    with open_store(path) as store:
        assert len(store.people_snapshot()["tombstones"]) == 1
        assert store.visits() == []
    assert main(["merge", str(copy), "--store", str(path)]) == 1


def test_what_cannot_be_known_of_erased_clients_is_told(
    path: Path, copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A store that cannot be read does not say whom it erased."""
    path.write_bytes(b"nonsense" * 999)
    assert main(["restore", str(copy), "--store", str(path)]) == 0
    assert "! It could not be read" in capsys.readouterr().out


def test_a_damaged_backup_is_not_restored(path: Path, copy: Path) -> None:
    """The backup is looked over before the store is touched."""
    content = copy.read_bytes()
    copy.write_bytes(content[: len(content) // 2])
    before = path.read_bytes()
    assert main(["restore", str(copy), "--store", str(path)]) == 1
    assert path.read_bytes() == before
    assert beside(path) == {"foldcall.db", "copy.db"}


def test_the_store_itself_is_no_backup_of_it(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nor is a link to it."""
    assert main(["restore", str(path), "--store", str(path)]) == 1
    assert "store itself" in capsys.readouterr().err


@pytest.mark.parametrize("fails", ["replace", "link"])
def test_what_fails_leaves_the_store_as_it_was(
    path: Path, copy: Path, monkeypatch: pytest.MonkeyPatch, fails: str
) -> None:
    """With links and without: the store lies under its own name, and nothing else is left."""
    real = Path.replace

    def refused(file: Path, target: Path) -> Path:
        if file.name.endswith(".restored"):
            raise PermissionError(13, "in use")
        return real(file, target)

    def no_links(*_: object) -> None:
        raise OSError(95, "no links here")

    monkeypatch.setattr(Path, "replace", refused)
    if fails == "link":
        monkeypatch.setattr(os, "link", no_links)
    # A backup is published by a link where there are links.
    with pytest.raises(StoreUnusableError):
        restore(copy, path, None, stamp="x", at=AT)
    monkeypatch.undo()
    assert beside(path) == {"foldcall.db", "copy.db"}
    assert names(path) == ["Rowan Alderby", "Ada Moss"]


def test_an_earlier_store_of_that_name_is_not_overwritten(path: Path, copy: Path) -> None:
    """Two restores within a second: the second one is refused."""
    taken = path.with_name("foldcall-before-restore-x.db")
    taken.write_text("mine", encoding="utf-8")
    with pytest.raises(StoreError, match="already"):
        restore(copy, path, None, stamp="x", at=AT)
    assert taken.read_text(encoding="utf-8") == "mine"
    assert names(path) == ["Rowan Alderby", "Ada Moss"]
    assert "foldcall.db.restored" not in beside(path)


def test_a_program_that_opens_the_store_meanwhile_saves_nothing_into_the_old_one(
    path: Path, copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Opened before the exchange and used after it: what it saves would be lost, so it is told."""
    from capture.store import connection

    real = connection.connect

    def exchanged_meanwhile(*given: Any) -> Any:
        db = real(*given)
        shutil.copy(copy, path.with_name("other.db"))
        path.with_name("other.db").replace(path)
        return db

    monkeypatch.setattr(connection, "connect", exchanged_meanwhile)
    with open_store(path) as store, pytest.raises(StoreUnusableError, match="replaced"):
        store.add_client("Third Person", "female", at=AT)


@pytest.mark.parametrize("store_is", ["encrypted", "plain", "of another passphrase"])
def test_an_encrypted_backup(
    path: Path, copy: Path, monkeypatch: pytest.MonkeyPatch, store_is: str
) -> None:
    """The passphrase asked for is the backup's; what was beside it stays as it was."""
    pytest.importorskip("sqlcipher3")
    convert(copy, None, KEY)
    before = None
    if store_is != "plain":
        before = KEY if store_is == "encrypted" else Passphrase("another one, longer")
        convert(path, None, before)
    monkeypatch.setattr("getpass.getpass", lambda _: KEY.text)
    assert main(["restore", str(copy), "--store", str(path)]) == 0
    assert names(path, KEY) == ["Rowan Alderby"]
    assert names(aside(path), before) == ["Rowan Alderby", "Ada Moss"]
    assert b"Rowan" not in path.read_bytes()


def test_an_encrypted_store_in_use_is_left_alone(path: Path, copy: Path) -> None:
    """It is asked without its passphrase."""
    pytest.importorskip("sqlcipher3")
    convert(path, None, KEY)
    code = (
        "import sys\nfrom capture.store import open_store\n"
        "from capture.store.cipher import Passphrase\n"
        f"with open_store(sys.argv[1], passphrase=Passphrase({KEY.text!r})) as store:\n"
        "    store.clients()\n    print('open', flush=True)\n    sys.stdin.readline()\n"
    )
    with another_program(code, path), pytest.raises(StoreBusyError):
        restore(copy, path, None, stamp="x", at=AT)
    assert names(path, KEY) == ["Rowan Alderby", "Ada Moss"]
