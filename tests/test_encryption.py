"""The encrypted store: what a thief of the file sees, what the passphrase opens, what goes wrong.

These tests need the extra `encryption`; the one about its absence does without.
"""

import getpass
import importlib.util
import io
import os
import shutil
import sqlite3
import subprocess
import sys
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from beside import another_program

from capture import unlock
from capture.cli import main
from capture.store import (
    Passphrase,
    StoreBusyError,
    StoreError,
    StoreLockedError,
    convert,
    converting,
    is_encrypted,
    look_over,
    open_store,
)
from capture.store.errors import ENCRYPTING_BUILD

AT = "2026-05-04T09:30:00+02:00"
ROOT = Path(__file__).parents[1]
CANARY = "Quintessa Marigold-Featherstone"
KEY = Passphrase("it's four plain words")
OTHER = Passphrase("Grüße, another one")

needs_extra = pytest.mark.skipif(
    importlib.util.find_spec("sqlcipher3") is None,
    reason="the extra 'encryption' is not installed",
)
on_posix = pytest.mark.skipif(os.name != "posix", reason="modes of files are POSIX's")


@pytest.fixture(scope="module")
def templates(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of stores that are made once and copied for each test."""
    return tmp_path_factory.mktemp("templates")


@pytest.fixture
def plain(tmp_path: Path, templates: Path, halfway: Any) -> Path:
    """A store with one visit, readable by anybody who has the file."""
    made = templates / "plain.db"
    if not made.exists():
        with open_store(made) as store:
            client = store.add_client(CANARY, "female", at=AT)
            assessor = store.add_assessor("Tobias Quill", at=AT)
            row = store.begin_visit(
                client.id, assessor.id, at=AT, plan=halfway.plan.to_plain(), program_version="1"
            )
            for entry in halfway.journal:
                store.append(row.id, entry)
    return Path(shutil.copy(made, tmp_path / "foldcall.db"))


@pytest.fixture
def encrypted(plain: Path, templates: Path) -> Path:
    """The same store, encrypted."""
    made = templates / "encrypted.db"
    if not made.exists():
        shutil.copy(convert(plain, None, KEY), made)
    return Path(shutil.copy(made, plain))


Answer = Callable[..., None]


@pytest.fixture
def answer(monkeypatch: pytest.MonkeyPatch) -> Answer:
    """Type these passphrases at the prompts, one after the other."""

    def typed(*passphrases: str) -> None:
        waiting = iter(passphrases)
        monkeypatch.setattr(getpass, "getpass", lambda _: next(waiting))

    return typed


def seen_in(folder: Path, text: str) -> list[str]:
    """The files that hold a text as it is."""
    return [each.name for each in folder.iterdir() if text.encode() in each.read_bytes()]


# What the file shows


@needs_extra
def test_no_name_and_no_word_is_in_the_file(plain: Path) -> None:
    """Before, the name lies open in the file; afterwards in no file of the folder."""
    assert seen_in(plain.parent, CANARY)
    convert(plain, None, KEY)
    assert [each.name for each in plain.parent.iterdir()] == [plain.name]
    for text in (CANARY, "Tobias", "triceps", "CREATE TABLE", "SQLite"):
        assert seen_in(plain.parent, text) == []


@needs_extra
def test_the_files_of_a_running_visit_show_nothing_either(encrypted: Path) -> None:
    """The write-ahead log of an open store is encrypted as well."""
    with open_store(encrypted, passphrase=KEY) as store:
        store.add_client("Second Canary-Bird", "male", at=AT)
        assert encrypted.with_name(encrypted.name + "-wal").stat().st_size > 0
        assert seen_in(encrypted.parent, "Second Canary") == []
        assert seen_in(encrypted.parent, CANARY) == []


@needs_extra
@on_posix
def test_its_files_are_the_owner_s_alone(plain: Path) -> None:
    """Whatever the umask is."""
    before = os.umask(0)
    try:
        with open_store(convert(plain, None, KEY), passphrase=KEY) as store:
            store.add_client("Somebody Else", "male", at=AT)
            modes = {each.name: each.stat().st_mode & 0o777 for each in plain.parent.iterdir()}
    finally:
        os.umask(before)
    assert modes == dict.fromkeys(("foldcall.db", "foldcall.db-wal", "foldcall.db-shm"), 0o600)


@needs_extra
def test_the_store_is_all_there_again(plain: Path) -> None:
    """Encrypted, given another passphrase, and decrypted: the same in every row, and sound."""

    def everything(passphrase: Passphrase | None) -> tuple[object, ...]:
        with open_store(plain, create=False, passphrase=passphrase) as store:
            assert store.check() == ()
            schema = sorted(store.db.schema.split(";"))
            return schema, store.people_snapshot(), list(store.visit_snapshots())

    before = everything(None)
    for old, new in ((None, KEY), (KEY, OTHER), (OTHER, None)):
        convert(plain, old, new)
        assert is_encrypted(plain) is (new is not None)
        assert everything(new) == before


@needs_extra
def test_a_visit_goes_on_in_an_encrypted_store(encrypted: Path, halfway: Any) -> None:
    """Readings are appended and refused as in any store, by the same triggers."""
    halfway.say("eight point four", "yes")
    with open_store(encrypted, passphrase=KEY) as store:
        (row,) = store.open_visits()
        known = len(store.entries(row.id))
        for entry in halfway.journal[known:]:
            store.append(row.id, entry)
        assert store.entries(row.id) == halfway.journal
        with pytest.raises(StoreError, match="does not follow"):
            store.append(row.id, halfway.journal[-1])
        with pytest.raises(Exception, match=r"append-only|never"):
            store.db.execute("UPDATE journal SET words = 'fifty'")


@needs_extra
def test_killed_in_an_encrypted_store_keeps_what_it_told(encrypted: Path) -> None:
    """After kill -9 all that was told is there, and the file is sound."""
    code = """
import sys
from capture.store import Passphrase, open_store
with open_store(sys.argv[1], passphrase=Passphrase(sys.argv[2])) as store:
    for number in range(10_000):
        store.add_assessor(f"Assessor {number}", at="2026-05-04T09:30:00+02:00")
        print(number, flush=True)
"""
    with subprocess.Popen(
        [sys.executable, "-c", code, str(encrypted), KEY.text],
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    ) as program:
        assert program.stdout is not None
        told = [program.stdout.readline() for _ in range(20)]
        program.kill()
    with open_store(encrypted, passphrase=KEY) as store:
        names = [each.name for each in store.assessors()]
        assert f"Assessor {told[-1].strip()}" in names
        assert store.check() == ()


@needs_extra
def test_erasing_leaves_nothing_that_the_passphrase_would_open(encrypted: Path) -> None:
    """Who is erased is not in the pages that are free, once decrypted."""
    with open_store(encrypted, passphrase=KEY) as store:
        (client,) = store.clients()
        store.erase_client(client.id, at=AT)
    convert(encrypted, KEY, None)
    assert seen_in(encrypted.parent, CANARY) == []


# Passphrases


@needs_extra
@pytest.mark.parametrize("given", ["wrong one", "it's four plain word", "IT'S FOUR PLAIN WORDS"])
def test_a_wrong_passphrase_is_one_clear_line(
    encrypted: Path, given: str, answer: Answer, capfd: pytest.CaptureFixture[str]
) -> None:
    """No trace, no message of a library, and nothing of what was typed."""
    before = encrypted.read_bytes()
    answer(given)
    assert main(["clients", "list", "--store", str(encrypted)]) == 1
    out, err = capfd.readouterr()
    assert out == ""
    assert err.startswith("foldcall: The passphrase is wrong.")
    assert err.count("\n") == 1
    assert given not in err
    assert encrypted.read_bytes() == before


@needs_extra
def test_an_accented_letter_is_one_letter_on_every_system(plain: Path) -> None:
    """A passphrase typed as letter and accent opens what the single letter closed."""
    convert(plain, None, Passphrase("caf\u00e9 au lait"))
    with open_store(plain, passphrase=Passphrase("cafe\u0301 au lait")) as store:
        assert store.clients()


def test_a_passphrase_shows_itself_nowhere() -> None:
    """Not in a trace, not in a printed object."""
    assert "four" not in f"{KEY!r} {KEY}"


@pytest.mark.parametrize("text", ["", "a\0b", "line\nbreak", "\x1b[31mred"])
def test_what_cannot_be_typed_is_no_passphrase(text: str) -> None:
    """An empty line, and characters that no prompt takes."""
    with pytest.raises(StoreError):
        Passphrase(text)


@needs_extra
@pytest.mark.parametrize(
    ("typed", "told"),
    [
        (("short",), "too short"),
        (("long enough, really", "long enough, relly"), "differ"),
        (("",), "empty"),
    ],
    ids=["short", "mistyped", "empty"],
)
def test_a_new_passphrase_is_typed_twice_and_is_not_short(
    plain: Path,
    typed: tuple[str, ...],
    told: str,
    answer: Answer,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Else nothing is changed."""
    before = plain.read_bytes()
    answer(*typed)
    assert main(["encrypt", "--store", str(plain)]) in (1, 2)
    assert told in capsys.readouterr().err
    assert plain.read_bytes() == before


@needs_extra
def test_the_commands_ask_and_do_it(
    plain: Path, answer: Answer, capsys: pytest.CaptureFixture[str]
) -> None:
    """Encrypt, another passphrase, decrypt, each with its question; then there is none."""
    store = ["--store", str(plain)]
    answer(KEY.text, KEY.text)
    assert main(["encrypt", *store]) == 0
    told = capsys.readouterr().out
    assert "loses the passphrase" in told
    assert "solid-state disk" in told
    answer(KEY.text, OTHER.text, OTHER.text)
    assert main(["encrypt", *store]) == 0
    answer(OTHER.text)
    assert main(["decrypt", "--yes", *store]) == 0
    assert main(["decrypt", "--yes", *store]) == 1
    assert "not encrypted" in capsys.readouterr().err
    assert main(["clients", "list", *store]) == 0
    assert CANARY in capsys.readouterr().out


@needs_extra
def test_decrypting_wants_a_word(
    encrypted: Path, answer: Answer, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without --yes and without anybody to ask, the store stays encrypted."""
    answer(KEY.text)
    assert main(["decrypt", "--store", str(encrypted)]) == 2
    assert "--yes" in capsys.readouterr().err
    assert is_encrypted(encrypted)


@needs_extra
def test_encrypt_makes_a_store_that_is_encrypted_from_its_first_client(
    tmp_path: Path, answer: Answer
) -> None:
    """Where there is none yet, an empty one is made and encrypted."""
    path = tmp_path / "new" / "foldcall.db"
    answer(KEY.text, KEY.text, KEY.text)
    assert main(["encrypt", "--store", str(path)]) == 0
    assert main(["clients", "add", CANARY, "--sex", "female", "--store", str(path)]) == 0
    assert seen_in(path.parent, CANARY) == []
    with open_store(path, passphrase=KEY) as store:
        assert [each.name for each in store.clients()] == [CANARY]


# Every command that opens the store


def commands(path: Path, folder: Path) -> dict[str, list[str]]:
    """What is called, for each command that opens the store."""
    store = ["--store", str(path)]
    return {
        "clients list": ["clients", "list", *store],
        "clients erase": ["clients", "erase", CANARY, "--yes", *store],
        "review": ["review", "--plain", *store],
        "report": ["report", "last", "--out", str(folder / "r.html"), *store],
        "export": ["export", str(folder / "e.csv"), *store],
        "import": ["import", str(folder / "in.json"), *store],
        "merge into": ["merge", str(folder / "plain.db"), *store],
        "merge from": ["merge", str(path), "--store", str(folder / "plain.db")],
        "backup": ["backup", str(folder / "b.db"), *store],
        "backup check": ["backup", "--check", str(path)],
        "restore from": ["restore", str(path), "--store", str(folder / "plain.db")],
        "check": ["check", *store],
        "measure": [
            *("measure", "--client", CANARY, "--assessor", "Tobias Quill", "--plain"),
            *("--no-microphone", "--silent", *store),
        ],
    }


@needs_extra
@pytest.mark.parametrize("name", commands(Path(), Path()))
def test_every_command_asks_once_and_works(
    encrypted: Path,
    tmp_path: Path,
    name: str,
    answer: Answer,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """One passphrase typed, and the command does what it does on any store."""
    open_store(tmp_path / "plain.db").close()
    assert main(["export", str(tmp_path / "in.json"), "--store", str(tmp_path / "plain.db")]) == 0
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    answer(KEY.text)
    code = main(commands(encrypted, tmp_path)[name])
    said = capsys.readouterr()
    assert "assphrase" not in said.err
    if name == "check":
        assert "ok" in next(line for line in said.out.splitlines() if "store" in line).lower()
    else:
        assert code == 0, said.err
    assert is_encrypted(encrypted)


@needs_extra
def test_a_backup_of_an_encrypted_store_is_encrypted(encrypted: Path, tmp_path: Path) -> None:
    """With the same passphrase, verified with it, and with nothing to be read without."""
    with open_store(encrypted, passphrase=KEY) as store:
        held = store.backup(tmp_path / "copy.db")
    assert seen_in(tmp_path, CANARY) == []
    assert is_encrypted(held.path)
    assert look_over(held.path, lambda: KEY) == held
    with pytest.raises(StoreLockedError):
        look_over(held.path, lambda: OTHER)
    with pytest.raises(StoreLockedError):
        look_over(held.path)


# A passphrase without a terminal


@pytest.fixture
def nobody_to_ask(monkeypatch: pytest.MonkeyPatch) -> None:
    """There is no terminal: `getpass` would read what is typed in the open, and warns."""

    def warns(_: str) -> str:
        warnings.warn("Can not control echo on the terminal.", getpass.GetPassWarning, 2)
        return "shown on the screen"

    monkeypatch.setattr(getpass, "getpass", warns)


@needs_extra
@pytest.mark.usefixtures("nobody_to_ask")
def test_nobody_to_ask_is_told(encrypted: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Then the command fails with one line that names the other way."""
    assert main(["clients", "list", "--store", str(encrypted)]) == 1
    said = capsys.readouterr().err
    assert unlock.VARIABLE in said
    assert said.count("\n") == 1


@needs_extra
@pytest.mark.usefixtures("nobody_to_ask")
def test_a_file_gives_the_passphrase(
    encrypted: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its first line, if nobody else can read it."""
    secret = tmp_path / "secret"
    secret.write_text(f"{KEY.text}\r\nsomething below\n")
    secret.chmod(0o600)
    monkeypatch.setenv(unlock.VARIABLE, str(secret))
    assert main(["clients", "list", "--store", str(encrypted)]) == 0


@needs_extra
@on_posix
def test_a_file_descriptor_gives_the_passphrase(
    encrypted: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """As a program that keeps secrets hands one on, never by a file or an argument."""
    reading, writing = os.pipe()
    os.write(writing, KEY.text.encode())
    os.close(writing)
    monkeypatch.setenv(unlock.VARIABLE, f"/dev/fd/{reading}")
    try:
        assert main(["clients", "list", "--store", str(encrypted)]) == 0
    finally:
        os.close(reading)
    assert CANARY in capsys.readouterr().out


@needs_extra
@on_posix
@pytest.mark.parametrize(
    ("content", "mode", "told"),
    [
        (b"it's four plain words", 0o644, "Other users can read"),
        (b"\xff\xfe\x00", 0o600, "no UTF-8"),
        (b"", 0o600, "empty"),
        (b"not the right one", 0o600, "wrong"),
        (None, 0, "cannot be read"),
    ],
    ids=["open to others", "no text", "empty", "wrong", "missing"],
)
def test_a_file_that_gives_no_passphrase_is_told(
    encrypted: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    content: bytes | None,
    mode: int,
    told: str,
) -> None:
    """One line, and nothing of what the file holds."""
    secret = tmp_path / "secret"
    if content is not None:
        secret.write_bytes(content)
        secret.chmod(mode)
    monkeypatch.setenv(unlock.VARIABLE, str(secret))
    assert main(["clients", "list", "--store", str(encrypted)]) == 1
    said = capsys.readouterr().err
    assert told in said
    assert said.count("\n") == 1
    assert "four plain" not in said


# What goes wrong in between


@needs_extra
@pytest.mark.parametrize("step", ["_write", "sync", "expect_same", "_swap"])
def test_a_conversion_that_fails_leaves_the_store_as_it_was(
    plain: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    """A full disk at any step before the exchange: the plain store is there, and nothing else."""

    def no_room(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(converting, step, no_room)
    with pytest.raises(StoreError, match="disk is full"):
        convert(plain, None, KEY)
    assert [each.name for each in plain.parent.iterdir()] == [plain.name]
    with open_store(plain) as store:
        assert store.check() == ()
        assert [each.name for each in store.clients()] == [CANARY]


@needs_extra
def test_a_conversion_cut_off_after_the_exchange_leaves_a_whole_store(
    plain: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The new file has the name already; the old one is still there, and the next call says so."""

    def power_cut(_: Path) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(converting, "overwrite", power_cut)
    with pytest.raises(KeyboardInterrupt):
        convert(plain, None, KEY)
    with open_store(plain, passphrase=KEY) as store:
        assert [each.name for each in store.clients()] == [CANARY]
    with pytest.raises(StoreError, match="interrupted") as caught:
        convert(plain, KEY, OTHER)
    assert "foldcall.db.old" in caught.value.hint


@needs_extra
def test_a_store_in_use_is_not_converted(plain: Path) -> None:
    """While another program has it open, nothing is changed."""
    code = """
import sys
from capture.store import open_store
with open_store(sys.argv[1]) as store:
    store.add_client("Somebody Else", "male", at="2026-05-04T09:30:00+02:00")
    print("open", flush=True)
    sys.stdin.readline()
    store.add_client("Somebody Third", "male", at="2026-05-04T09:30:00+02:00")
"""
    with another_program(code, plain), pytest.raises(StoreBusyError):
        convert(plain, None, KEY)
    assert not is_encrypted(plain)
    with open_store(plain) as store:
        assert len(store.clients()) == 3
    assert [each.name for each in plain.parent.iterdir()] == [plain.name]


@needs_extra
def test_the_old_bytes_are_overwritten(plain: Path, tmp_path: Path) -> None:
    """A second name of the old file shows what is left in its place on the disk: zeros."""
    spy = tmp_path / "spy"
    os.link(plain, spy)
    size = spy.stat().st_size
    convert(plain, None, KEY)
    assert spy.read_bytes() == bytes(size)


@needs_extra
@pytest.mark.parametrize("place", [0, 16, 4096 + 100], ids=["salt", "first page", "second page"])
def test_a_changed_byte_is_noticed(encrypted: Path, place: int) -> None:
    """Each page has a checksum of its own key: nobody changes a reading without the passphrase."""
    content = bytearray(encrypted.read_bytes())
    content[place] ^= 1
    encrypted.write_bytes(content)

    def read_all() -> None:
        with open_store(encrypted, passphrase=KEY) as store:
            assert store.check() == ()

    with pytest.raises((StoreError, AssertionError)):
        read_all()


# Without the extra


@pytest.fixture
def without_the_extra(monkeypatch: pytest.MonkeyPatch) -> None:
    """Python finds no package that encrypts."""
    for name in [each for each in sys.modules if each.startswith("sqlcipher3")]:
        monkeypatch.delitem(sys.modules, name)

    class Nowhere:
        def find_spec(self, name: str, *_: object) -> None:
            if name.startswith("sqlcipher3"):
                raise ModuleNotFoundError(name)

    monkeypatch.setattr(sys, "meta_path", [Nowhere(), *sys.meta_path])


@pytest.mark.usefixtures("without_the_extra")
def test_without_the_extra_one_line_says_what_to_install(
    tmp_path: Path,
    plain: Path,
    answer: Answer,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """To encrypt, and to open what is encrypted, as well."""
    answer(KEY.text, KEY.text)
    assert main(["encrypt", "--store", str(plain)]) == 1
    said = capsys.readouterr().err
    assert "sqlcipher3" in said
    assert said.count("\n") == 1
    locked = tmp_path / "locked.db"
    locked.write_bytes(os.urandom(8192))
    answer(KEY.text)
    assert main(["clients", "list", "--store", str(locked)]) == 1
    said = capsys.readouterr().err
    assert "pip install sqlcipher3" in said
    assert said.count("\n") == 1


@pytest.mark.usefixtures("without_the_extra")
def test_without_the_extra_a_plain_store_is_used_as_ever(plain: Path) -> None:
    """Nothing of the extra is looked for."""
    assert ENCRYPTING_BUILD not in sys.modules
    with open_store(plain) as store:
        assert store.clients()
    assert sqlite3.sqlite_version_info >= (3, 38, 0)
