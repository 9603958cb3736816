"""Clients can be added, found, edited, joined, exported and erased, and nothing is lost unasked."""

import io
import json
import sqlite3
from pathlib import Path

import pytest
from many_visits import LATER, filled

from capture.cli import main
from capture.store import StoreError, open_store

UNMISTAKABLE = "Xerxes Quillfeather"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A store of 12 visits of 3 clients."""
    return filled(tmp_path / "clients.db")


def clients(path: Path, *arguments: str) -> int:
    """Run `foldcall clients` on a store; the exit code."""
    action, *others = arguments
    return main(["clients", action, "--store", str(path), *others])


def test_a_client_is_added_and_found(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A part of the name in any case finds the client with birth date and number of visits."""
    path = tmp_path / "new.db"
    assert clients(path, "add", "Åsa Öberg", "--sex", "female", "--born", "1990-02-28") == 0
    assert clients(path, "find", "öber") == 0
    assert "Åsa Öberg  female  no visit" in capsys.readouterr().out
    with open_store(path) as store:
        assert store.clients()[0].birth_date == "1990-02-28"


def test_the_list_says_who_was_measured_when(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line a client, with the number of visits and the last date."""
    assert clients(path, "list") == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 3
    assert all("4 visits, last 2026-01-05" in line for line in lines)


def test_an_edit_keeps_what_was(path: Path) -> None:
    """The row shows the new name; the edits hold the old one too."""
    with open_store(path) as store:
        before = store.clients()[1]
    assert clients(path, "edit", before.id, "--name", "Eva Ny", "--born", "") == 0
    with open_store(path) as store:
        after = store.clients()[1]
        assert (after.name, after.birth_date, after.sex) == ("Eva Ny", None, before.sex)
        names = [row["name"] for row in store.db.query("SELECT name FROM client_edits")]
    assert before.name in names
    assert "Eva Ny" in names


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["edit", "=SUM(A1)"], 2, "Give --name"),
        (["edit", "Nobody", "--note", "x"], 1, "no such client"),
        (["edit", "=SUM(A1)", "--name", " "], 1, "name_is_not_blank"),
        (["add", "Ny", "--sex", "male", "--born", "1990-02-30"], 2, "Write it as 1985-04-30."),
        (["add", "Ny", "--sex", "male", "--born", "19900228"], 2, "Write it as 1985-04-30."),
        (["erase", "=SUM(A1)"], 2, "Give --yes."),
        (["same", "=SUM(A1)", "=SUM(A1)", "--yes"], 1, "one client already"),
    ],
)
def test_what_cannot_be_done_changes_nothing(
    path: Path,
    arguments: list[str],
    code: int,
    said: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """One line says why; the store holds what it held."""
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    before = dump(path)
    assert clients(path, *arguments) == code
    assert said in capsys.readouterr().err
    assert dump(path) == before


def dump(path: Path) -> list[str]:
    """Everything the store holds."""
    with open_store(path) as store:
        return list(store.db.conn.iterdump())


class _Typed(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_clients_choices_are_kept_and_shown(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Equation, conversion and what is shown are set, shown again, and taken away."""
    with open_store(path) as store:
        client = next(each for each in store.clients() if each.sex == "male")
    chosen = ["--equation", "jackson_pollock_1978_men_3", "--conversion", "brozek"]
    assert clients(path, "edit", client.id, *chosen, "--show-fat", "no") == 0
    assert clients(path, "show", client.id) == 0
    told = capsys.readouterr().out
    assert "equation   jackson_pollock_1978_men_3" in told
    assert "shown      the folds only, no percent of fat" in told
    assert clients(path, "edit", client.id, "--equation", "", "--show-fat", "yes") == 0
    with open_store(path) as store:
        after = next(each for each in store.clients() if each.id == client.id)
    assert after.choices == {
        "equation": None,
        "conversion": "brozek",
        "show_fat_percent": True,
        "show_norms": True,
    }


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--equation", "nobody_1900"], "no equation"),
        (["--conversion", "nobody"], "no conversion"),
        (["--equation", "jackson_pollock_ward_1980_women_3"], "other sex"),
        (["--equation", "slaughter_1988_boys_calf", "--conversion", "siri"], "percent itself"),
    ],
    ids=["equation", "conversion", "sex", "percent already"],
)
def test_a_choice_that_cannot_be_is_refused(
    path: Path, arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Unknown ids, the other sex's equation, and a conversion with nothing to convert."""
    with open_store(path) as store:
        client = next(each for each in store.clients() if each.sex == "male")
    before = dump(path)
    assert clients(path, "edit", client.id, *arguments) == 2
    assert said in capsys.readouterr().err
    assert dump(path) == before


def test_choices_leave_with_the_persons_data_and_come_back(path: Path, tmp_path: Path) -> None:
    """The export of one person holds them, and a new store takes them back."""
    file, new = tmp_path / "mine.json", tmp_path / "new.db"
    with open_store(path) as store:
        client = store.clients()[0]
        store.edit_client(client.id, at=LATER, show_fat_percent=False, conversion="brozek")
    assert main(["clients", "export", "--store", str(path), client.id, str(file)]) == 0
    (plain,) = json.loads(file.read_bytes())["clients"]
    assert (plain["show_fat_percent"], plain["conversion"]) == (False, "brozek")
    assert main(["import", str(file), "--store", str(new)]) == 0
    with open_store(new) as store:
        assert not store.clients()[0].show_fat_percent
        assert len(store.client_versions(client.id)) == 1


def test_a_file_from_before_the_choices_says_nothing_against_them(
    path: Path, tmp_path: Path
) -> None:
    """Taken back into the store that it came from, it changes nothing and is no conflict."""
    file = tmp_path / "old.json"
    assert main(["export", str(file), "--store", str(path)]) == 0
    plain = json.loads(file.read_bytes())
    for row in (*plain["clients"], *plain["client_edits"]):
        for name in ("equation", "conversion", "show_fat_percent", "show_norms"):
            del row[name]
    file.write_text(json.dumps(plain), encoding="utf-8")
    with open_store(path) as store:
        store.edit_client(store.clients()[0].id, at=LATER, show_fat_percent=False)
    before = dump(path)
    assert main(["import", str(file), "--store", str(path)]) == 0
    assert dump(path) == before


def test_what_was_hidden_from_one_stays_hidden_when_two_become_one(path: Path) -> None:
    """The client that stays does not begin to be shown a percent that the other was not."""
    with open_store(path) as store:
        one, other, _ = store.clients()
        store.edit_client(other.id, at=LATER, show_fat_percent=False)
        store.link_clients(other.id, one.id, at=LATER)
        assert not store.clients()[0].show_fat_percent
        assert store.clients()[0].show_norms


def test_two_clients_become_one_person_when_confirmed(
    path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Anything but "yes" leaves them apart; afterwards visits of both are under the one kept."""
    with open_store(path) as store:
        one, other, third = store.clients()
    monkeypatch.setattr("sys.stdin", _Typed("y\n"))
    assert clients(path, "same", other.id, one.id) == 1
    assert "Nothing was changed." in capsys.readouterr().out
    monkeypatch.setattr("sys.stdin", _Typed("yes\n"))
    assert clients(path, "same", other.id, one.id) == 0
    with open_store(path) as store:
        assert store.clients() == [one, third]
        assert len(store.visits(one.id)) == 8
        assert {row["client"] for row in store.db.view("day_list").rows} == {one.name, third.name}
        assert store.check() == ()


def test_all_data_of_one_person_can_be_had(path: Path, tmp_path: Path) -> None:
    """The file holds that person's visits with their journals, of both clients, no other's."""
    with open_store(path) as store:
        one, other, third = store.clients()
        store.link_clients(other.id, one.id, at=LATER)
    file = tmp_path / "mine.json"
    assert main(["clients", "export", "--store", str(path), one.id, str(file)]) == 0
    found = json.loads(file.read_bytes())
    assert {each["id"] for each in found["clients"]} == {one.id, other.id}
    assert len(found["visits"]) == 8
    assert all(each["journal"] for each in found["visits"])
    assert third.name not in file.read_text(encoding="utf-8")


def erased(path: Path) -> tuple[str, list[str]]:
    """A client with an unmistakable name and words, erased; the identifier and the visits."""
    with open_store(path) as store:
        client = store.clients()[1]
        store.edit_client(client.id, at=LATER, name=UNMISTAKABLE, note="zzyzx", conversion="qqqxy")
        visits = [each.id for each in store.visits(client.id)]
    assert main(["clients", "erase", "--store", str(path), UNMISTAKABLE, "--yes"]) == 0
    return client.id, visits


def test_an_erased_person_is_gone_from_every_byte(path: Path) -> None:
    """Neither name, note, old name nor any visit's identifier is left in the files of the store."""
    with open_store(path) as store:
        old_name = store.clients()[1].name
    client, visits = erased(path)
    held = b"".join(file.read_bytes() for file in path.parent.glob("clients.db*"))
    for text in (UNMISTAKABLE, "zzyzx", "qqqxy", old_name, *visits):
        assert text.encode() not in held
    assert held.count(client.encode()) >= 1


def test_only_an_empty_tombstone_stays(path: Path) -> None:
    """The identifier and the time; the others' visits are all there and the store is sound."""
    client, _ = erased(path)
    with open_store(path) as store:
        assert [row["client_id"] for row in store.db.table("tombstones").rows] == [client]
        assert len(store.clients()) == 2
        assert len(store.visits()) == 8
        assert store.check() == ()
        columns = {row["name"] for row in store.db.query("PRAGMA table_info(tombstones)")}
    assert columns == {"client_id", "erased_at"}


def test_the_journal_is_append_only_again_after_an_erasure(path: Path) -> None:
    """The triggers stand as before."""
    triggers = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' ORDER BY name"
    with open_store(path) as store:
        before = store.db.execute(triggers).fetchall()
    erased(path)
    with open_store(path) as store:
        assert store.db.execute(triggers).fetchall() == before
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            store.db.execute("DELETE FROM journal")


def test_an_erasure_that_fails_leaves_everything(path: Path) -> None:
    """An unknown client: nothing is removed and the triggers stand."""
    before = dump(path)
    with open_store(path) as store, pytest.raises(StoreError, match="no such client"):
        store.erase_client("11111111-2222-4333-8444-555555555555", at=LATER)
    assert dump(path) == before


def test_an_erased_person_does_not_come_back(path: Path, tmp_path: Path) -> None:
    """An import of an older export says so and takes nothing."""
    old = tmp_path / "old.json"
    assert main(["export", str(old), "--store", str(path)]) == 0
    erased(path)
    before = dump(path)
    assert main(["import", str(old), "--store", str(path)]) == 1
    assert dump(path) == before


def test_a_name_cannot_move_the_cursor(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Signs that a terminal acts upon are shown as question marks."""
    with open_store(path) as store:
        store.edit_client(store.clients()[0].id, at=LATER, name="Eve\x1b[2J\rNy")
    assert clients(path, "list") == 0
    assert "\x1b" not in capsys.readouterr().out
