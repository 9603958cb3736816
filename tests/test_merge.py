"""Several stations become one store; what does not agree is told and never settled in silence."""

import itertools
import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from many_visits import LATER, fill, filled

from capture.cli import main
from capture.report.record import record_of
from capture.store import Store, StoreError, open_store


def merge(into: Path, other: Path) -> int:
    """Run `foldcall merge`; the exit code."""
    return main(["merge", str(other), "--store", str(into)])


def content(path: Path) -> str:
    """All that a store holds, in an order that does not depend on how it came about."""
    with open_store(path) as store:
        people = store.people_snapshot()
        known = {
            "people": people,
            "visits": list(store.visit_snapshots()),
            "persons": sorted(map(tuple, store.db.execute("SELECT * FROM people"))),
            "readings": sorted(store.db.view("readings").rows, key=str),
        }
    return json.dumps(known, sort_keys=True, default=str)


def amend(store: Store, visit_id: str, value: int | None, by: str, at: str = LATER) -> None:
    """Amend the first confirmed reading of a visit."""
    (number,) = next(
        store.db.execute("SELECT number FROM confirmed_readings WHERE visit_id = ?", [visit_id])
    )
    kind = "withdrawn" if value is None else "value"
    store.amend(
        visit_id, at=at, by_name=by, reason="seen", kind=kind, number=number, value_tenths_mm=value
    )


def known_to_all(path: Path) -> tuple[list[str], list[str]]:
    """The visits and clients of the store that the stations began with."""
    with open_store(path.with_name("base.db")) as store:
        return (
            sorted(each.id for each in store.visits()),
            sorted(each.id for each in store.clients()),
        )


@pytest.fixture
def stations(tmp_path: Path) -> list[Path]:
    """Three copies of one store that went on apart: each knows what the others do not."""
    base = filled(tmp_path / "base.db", 24)
    paths = [tmp_path / f"station{number}.db" for number in range(3)]
    visits, clients = known_to_all(paths[0])
    for number, path in enumerate(paths):
        shutil.copy(base, path)
        fill_more(path, seed=number + 5)
        with open_store(path) as store:
            # All three amend one reading and edit one client; each also works on its own.
            amend(store, visits[0], 200 + 10 * number, f"Reader {number}")
            amend(store, visits[1 + number], 220, "Una Berg")
            store.edit_client(clients[0], at=LATER, note=f"from station {number}")
            store.edit_client(clients[1 + number], at=LATER, note="known to one only")
            if number < 2:
                store.link_clients(clients[4 + number], clients[3], at=LATER)
    return paths


def fill_more(path: Path, seed: int) -> None:
    """Add eight visits of people that no other station knows."""
    fill(str(path), 8, seed)


@pytest.mark.parametrize(
    "order", list(itertools.permutations(range(3))), ids=lambda order: "".join(map(str, order))
)
def test_the_order_of_merging_does_not_matter(
    stations: list[Path], tmp_path: Path, order: tuple[int, ...]
) -> None:
    """Three stores that went apart give the same store in every order, forks included."""
    results = []
    for each in ((0, 1, 2), order):
        into = tmp_path / f"into-{''.join(map(str, each))}.db"
        shutil.copy(stations[each[0]], into)
        for other in each[1:]:
            assert merge(into, stations[other]) == 1
        results.append(content(into))
    assert results[0] == results[1]


def test_merging_into_an_empty_store_gives_the_same_store(tmp_path: Path) -> None:
    """Everything is taken over."""
    full = filled(tmp_path / "full.db")
    assert merge(tmp_path / "new.db", full) == 0
    assert content(tmp_path / "new.db") == content(full)


def test_merging_again_changes_nothing(
    stations: list[Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """The second time nothing is taken; the conflicts are told again."""
    merge(stations[0], stations[1])
    first, before = capsys.readouterr().out, content(stations[0])
    assert merge(stations[0], stations[1]) == 1
    again = capsys.readouterr().out
    assert content(stations[0]) == before
    assert again.startswith("Taken: nothing.")
    conflicts = [line for line in first.splitlines() if line.startswith("CONFLICT")]
    assert [line for line in again.splitlines() if line.startswith("CONFLICT")] == conflicts
    assert len(conflicts) == 2


@pytest.mark.parametrize("order", [(0, 1), (1, 0)], ids=["hidden first", "hidden second"])
def test_what_one_station_hid_stays_hidden_until_settled(
    tmp_path: Path, order: tuple[int, int], capsys: pytest.CaptureFixture[str]
) -> None:
    """Edited apart, the client is shown no percent in either order; an edit settles it."""
    base = filled(tmp_path / "base.db")
    paths = [tmp_path / "a.db", tmp_path / "b.db"]
    changes: list[dict[str, str | bool]] = [{"show_fat_percent": False}, {"conversion": "brozek"}]
    for path, change in zip(paths, changes, strict=True):
        shutil.copy(base, path)
        with open_store(path) as store:
            client = store.clients()[1]
            store.edit_client(client.id, at=LATER, **change)
    into, other = (paths[each] for each in order)
    assert merge(into, other) == 1
    assert "edited in two ways" in capsys.readouterr().out
    with open_store(into) as store:
        (found,) = (each for each in store.clients() if each.id == client.id)
        assert (found.show_fat_percent, found.conversion) == (False, None)
        assert len(store.client_versions(client.id)) == 2
        settled = store.edit_client(client.id, at=LATER, show_fat_percent=True)
        assert settled.show_fat_percent
        assert len(store.client_versions(client.id)) == 1


def test_the_other_store_is_only_read(stations: list[Path]) -> None:
    """It holds afterwards what it held."""
    before = content(stations[1])
    merge(stations[0], stations[1])
    assert content(stations[1]) == before


def test_two_amendments_of_one_reading_leave_the_value_as_taken(stations: list[Path]) -> None:
    """Neither station's value counts until somebody amends again; then it is settled everywhere."""
    merge(stations[0], stations[1])
    visits, _ = known_to_all(stations[0])
    with open_store(stations[0]) as store:
        record = record_of(store.visit_snapshot(visits[0]))
        (forked,) = [each for each in record.readings if each.is_forked]
        assert forked.counts_tenths_mm == forked.value_tenths_mm
        amend(store, visits[0], 244, "Tor Vik", "2026-02-02T10:00:00+01:00")
    merge(stations[1], stations[0])
    with open_store(stations[1]) as store:
        record = record_of(store.visit_snapshot(visits[0]))
        assert not any(each.is_forked for each in record.readings)
        assert 244 in [each.counts_tenths_mm for each in record.readings]


def test_a_client_edited_in_two_ways_is_settled_by_an_edit(
    stations: list[Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """Until then the last version that both knew is shown, and both are to be seen."""
    _, (client, *_) = known_to_all(stations[0])
    merge(stations[0], stations[1])
    capsys.readouterr()
    with open_store(stations[0]) as store:
        assert len(store.client_versions(client)) == 2
        (now,) = [each for each in store.clients() if each.id == client]
        assert "station" not in now.note
    main(["clients", "show", "--store", str(stations[0]), client])
    shown = capsys.readouterr().out
    assert "Edited in two ways" in shown
    assert main(["clients", "edit", "--store", str(stations[0]), client, "--note", "settled"]) == 0
    with open_store(stations[0]) as store:
        assert len(store.client_versions(client)) == 1
        (now,) = [each for each in store.clients() if each.id == client]
        assert now.note == "settled"


def test_journals_that_went_apart_are_told_and_left(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A visit that was gone on with at two stations: each store keeps its own, and says so."""
    base = filled(tmp_path / "base.db")
    other = tmp_path / "other.db"
    shutil.copy(base, other)
    visit_id = ""
    for path, words in ((base, "here"), (other, "there")):
        with open_store(path) as store:
            visit_id = sorted(each.id for each in store.visits())[0]
            last = store.entries(visit_id)[-1]
            store.append(
                visit_id, replace(last, sequence=last.sequence + 1, words=words, readings=())
            )
    before = content(base)
    assert merge(base, other) == 1
    assert content(base) == before
    assert f"CONFLICT  visit {visit_id}: the journals went apart" in capsys.readouterr().out


def test_a_visit_that_went_on_elsewhere_is_taken_up(tmp_path: Path) -> None:
    """Entries that only follow ours are added."""
    base = filled(tmp_path / "base.db")
    other = tmp_path / "other.db"
    shutil.copy(base, other)
    with open_store(other) as store:
        visit_id = sorted(each.id for each in store.visits())[0]
        last = store.entries(visit_id)[-1]
        store.append(visit_id, replace(last, sequence=last.sequence + 1, readings=()))
    assert merge(base, other) == 0
    assert content(base) == content(other)


def test_an_erasure_elsewhere_is_told_and_not_carried_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nobody is erased by a file; and an erased person does not come back."""
    base = filled(tmp_path / "base.db")
    other = tmp_path / "other.db"
    shutil.copy(base, other)
    with open_store(other) as store:
        gone = store.clients()[0].id
        store.erase_client(gone, at=LATER)
    before = content(base)
    assert merge(base, other) == 1
    assert content(base) == before
    assert f"client {gone}: erased on request in the other store" in capsys.readouterr().out
    assert merge(other, base) == 1
    with open_store(other) as store:
        assert gone not in {each.id for each in store.clients()}


def test_a_store_is_not_merged_with_itself(tmp_path: Path) -> None:
    """That is misuse."""
    base = filled(tmp_path / "base.db")
    assert merge(base, base) == 2


def test_a_failure_takes_nothing(tmp_path: Path) -> None:
    """When one row of the other is refused, none of it is taken."""
    full, new = filled(tmp_path / "full.db"), tmp_path / "new.db"
    with open_store(full) as store, open_store(new) as into:
        people = store.people_snapshot()
        visits = list(store.visit_snapshots())
        visits[-1]["journal"][0]["at"] = "yesterday"
        with pytest.raises(StoreError, match="visit 12"):
            into.join(people, visits, named="the other store", refuse_conflicts=False)
        assert into.clients() == []
