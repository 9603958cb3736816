"""The file defends itself: settings, strict types, constraints and append-only tables."""

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from older_stores import store_of_steps

from capture.store import Store, StoreError, connection, migrations, open_store
from capture.store.people import base_edit
from capture.visit.entry import Entry, ReadingFact, ReadingState, Source

AT = "2026-05-04T09:30:00+02:00"
VISIT = "11111111-2222-4333-8444-555555555555"
OTHER = "99999999-2222-4333-8444-555555555555"
WRITTEN = ("name", "sex", "birth_date", "note")
CHOICES = ("equation", "conversion")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """Open a store that holds one row of each kind, and close it after the test."""
    with open_store(tmp_path / "foldcall.db") as opened:
        client = opened.add_client("Ada Lind", "female", at=AT)
        assessor = opened.add_assessor("Bo Ek", at=AT)
        opened.begin_visit(client.id, assessor.id, at=AT, plan={}, program_version="1", id=VISIT)
        fact = ReadingFact(1, ReadingState.HEARD, "chest", 1, 150)
        opened.append(VISIT, Entry(1, AT, Source.KEYPAD, "15", None, (), {}, (), (fact,)))
        opened.add_result(VISIT, at=AT, sequence=1, result={"fat_percent": 18.4}, id=VISIT)
        yield opened


@pytest.fixture
def other_program(store: Store) -> Iterator[sqlite3.Connection]:
    """Open the same file as a program would that knows nothing of our settings."""
    with contextlib.closing(sqlite3.connect(store.path)) as opened:
        yield opened


# Settings


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("journal_mode", "wal"),
        ("synchronous", 2),
        ("foreign_keys", 1),
        ("fullfsync", 1),
        ("checkpoint_fullfsync", 1),
        ("trusted_schema", 0),
        ("secure_delete", 1),
        ("recursive_triggers", 1),
        ("temp_store", 2),
        ("busy_timeout", 3000),
        ("application_id", int.from_bytes(b"fold", "big")),
    ],
)
def test_setting_is_as_asked_for(store: Store, name: str, value: object) -> None:
    """SQLite says of itself that it keeps the setting; numbers as in its PRAGMA pages."""
    assert store.db.execute(f"PRAGMA {name}").fetchone() == (value,)


def test_settings_hold_when_opened_again(store: Store) -> None:
    """A store opened again has the same settings: most are forgotten with the connection."""
    names = [*connection.SETTINGS, "journal_mode", "busy_timeout"]

    def settings(opened: Store) -> list[object]:
        return [connection.pragma(opened.db, name) for name in names]

    with open_store(store.path, create=False) as again:
        assert settings(again) == settings(store)


def test_setting_that_is_not_kept_stops_the_opening(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """If SQLite passes over a setting in silence, as it does with unknown ones, we do not."""
    monkeypatch.setattr(connection, "SETTINGS", {"synchronous": 2, "keep_everything": 1})
    with pytest.raises(StoreError, match="keep_everything") as caught:
        open_store(tmp_path / "foldcall.db")
    assert caught.value.hint


def test_old_sqlite_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A Python whose SQLite lacks what we need is named before anything is written."""
    monkeypatch.setattr(sqlite3, "sqlite_version_info", (3, 34, 1))
    with pytest.raises(StoreError, match="too old") as caught:
        open_store(tmp_path / "foldcall.db")
    assert "3.38.0" in caught.value.hint


# Types and constraints


def test_every_table_is_strict(store: Store) -> None:
    """No table of ours takes text for a number, that of the migrations included."""
    rows = list(store.db.query("PRAGMA table_list"))
    strict = {row["name"]: row["strict"] for row in rows if row["type"] == "table"}
    strict = {name: value for name, value in strict.items() if not name.startswith("sqlite_")}
    assert strict == dict.fromkeys(
        [
            "_sqlite_migrations",
            "amendments",
            "assessors",
            "briefs",
            "calipers",
            "client_edits",
            "client_links",
            "clients",
            "caliper_changes",
            "gauge_checks",
            "journal",
            "people",
            "reading_facts",
            "results",
            "tombstones",
            "visits",
        ],
        1,
    )


def test_only_what_may_be_missing_may_be_null(store: Store) -> None:
    """Only a birth date, a choice, a key's confidence and what an amendment has no need of."""
    nullable = {
        (table, row["name"])
        for table in store.db.table_names()
        if not table.startswith(("_", "sqlite_"))
        for row in store.db.query(f"PRAGMA table_info({table})")
        if not row["notnull"]
    }
    assert nullable == {
        ("clients", "birth_date"),
        ("client_edits", "birth_date"),
        *((table, name) for table in ("clients", "client_edits") for name in CHOICES),
        ("journal", "confidence"),
        ("amendments", "number"),
        ("amendments", "value_tenths_mm"),
    }


@pytest.mark.parametrize(
    ("table", "column", "value"),
    [
        ("reading_facts", "value_tenths_mm", "12,4"),
        ("reading_facts", "value_tenths_mm", 12.4),
        ("reading_facts", "value_tenths_mm", 0),
        ("reading_facts", "value_tenths_mm", -1),
        ("reading_facts", "value_tenths_mm", None),
        ("reading_facts", "value_tenths_mm", 151),
        ("reading_facts", "circuit", "two"),
        ("reading_facts", "circuit", 0),
        ("reading_facts", "state", "spoken"),
        ("reading_facts", "number", 2),
        ("reading_facts", "reading_id", "1"),
        ("reading_facts", "sequence", 2),
        ("journal", "sequence", 1),
        ("journal", "sequence", 3),
        ("journal", "visit_id", OTHER),
        ("journal", "confidence", "high"),
        ("journal", "confidence", 1.5),
        ("journal", "source", "pedal"),
        ("journal", "at", "today"),
        ("journal", "words", b"12"),
        ("journal", "facts", "{}"),
        ("journal", "facts", "12.4"),
        ("journal", "facts", "heard"),
        ("journal", "intent", "[]"),
        ("journal", "alternatives", ""),
        ("results", "result", "18.4"),
        ("results", "sequence", 2),
        ("visits", "plan", "7 sites"),
        ("visits", "client_id", OTHER),
        ("visits", "assessor_id", OTHER),
        ("clients", "sex", "f"),
        ("clients", "equation", " "),
        ("clients", "show_fat_percent", 2),
        ("clients", "show_fat_percent", None),
        ("clients", "show_norms", "no"),
    ],
)
def test_table_refuses_what_makes_no_sense(
    store: Store, table: str, column: str, value: object
) -> None:
    """A row that differs from a good one in this value alone is refused by the file itself."""
    good = next(store.db.table(table).rows)
    key = {
        "journal": {"sequence": 2},
        "reading_facts": {"position": 1},
    }.get(table, {"id": OTHER})

    def insert(row: dict[str, object]) -> None:
        places = ", ".join(f":{name}" for name in row)
        store.db.execute(f"INSERT INTO {table} ({', '.join(row)}) VALUES ({places})", row)

    before = store.db.table(table).count
    with pytest.raises(sqlite3.DatabaseError):
        insert(good | key | {column: value})
    assert store.db.table(table).count == before
    insert(good | key)
    assert store.db.table(table).count == before + 1


@pytest.mark.parametrize("kind", [Source, ReadingState], ids=["source", "state"])
def test_file_knows_the_words_of_the_program(
    store: Store, kind: type[Source] | type[ReadingState]
) -> None:
    """Every source and state of the program can be saved."""
    for sequence, word in enumerate(kind, start=2):
        fact = ReadingFact(
            1, word if isinstance(word, ReadingState) else ReadingState.HEARD, "chest", 1, 150
        )
        source = word if isinstance(word, Source) else Source.VOICE
        store.append(VISIT, Entry(sequence, AT, source, "", None, (), {}, (), (fact,)))
    assert len(store.entries(VISIT)) == 1 + len(kind)


# Append-only


@pytest.mark.parametrize("table", ["visits", "journal", "reading_facts", "results"])
@pytest.mark.parametrize("action", ["UPDATE", "DELETE", "REPLACE"])
@pytest.mark.parametrize("by", ["us", "another program"])
def test_what_was_saved_stays(
    store: Store, other_program: sqlite3.Connection, table: str, action: str, by: str
) -> None:
    """No row can be changed, removed or replaced, whichever program tries."""
    run = store.db.execute if by == "us" else other_program.execute
    before = list(store.db.table(table).rows)
    columns = ", ".join(before[0])
    changed = columns.replace("plan", "'{\"sites\":3}'").replace("state", "'dropped'")
    changed = changed.replace("words", "'50'").replace("result", "'{}'")
    statement = {
        "UPDATE": f"UPDATE {table} SET rowid = rowid",
        "DELETE": f"DELETE FROM {table}",
        "REPLACE": f"INSERT OR REPLACE INTO {table} ({columns}) SELECT {changed} FROM {table}",
    }[action]
    with pytest.raises(sqlite3.IntegrityError, match=r"append-only|gap or a repeat"):
        run(statement)
    assert list(store.db.table(table).rows) == before


def test_older_entry_gets_no_new_facts(store: Store) -> None:
    """A reading cannot be slipped under an entry that others have followed."""
    store.append(VISIT, Entry(2, AT, Source.KEYPAD, "y", None, (), {}))
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        store.db.execute(
            "INSERT INTO reading_facts SELECT visit_id, sequence, 1, number, reading_id,"
            " 'confirmed', site, circuit, value_tenths_mm FROM reading_facts"
        )


# Versions


def test_opening_again_changes_nothing(store: Store) -> None:
    """A store of this version is opened as it is."""
    before = store.db.schema
    applied = list(store.db.table("_sqlite_migrations").rows)
    with open_store(store.path) as again:
        assert again.db.schema == before
        assert list(again.db.table("_sqlite_migrations").rows) == applied
    assert [row["name"] for row in applied][:4] == [
        "001_first_tables",
        "002_end_of_the_day",
        "003_choices_of_clients",
        "004_kept_briefs",
    ]


def test_a_store_from_before_the_dwell_opens(tmp_path: Path) -> None:
    """Its readings are shown as they were, without a time from the cue to the call."""
    path = tmp_path / "old.db"
    with store_of_steps(path, 5) as old:
        assert "dwell_s" not in {column.name for column in old.view("readings").columns}
    with open_store(path) as store:
        assert "dwell_s" in {column.name for column in store.db.view("readings").columns}
        assert list(store.db.view("day_list").rows) == []


def test_a_store_from_before_the_choices_opens(tmp_path: Path) -> None:
    """Its clients have no choice of their own and are shown everything; edits keep their place."""
    path = tmp_path / "old.db"
    with store_of_steps(path, 2) as old:
        columns = "(id, created_at, name, sex, birth_date, note)"
        old.execute(
            f"INSERT INTO clients {columns} VALUES (?, ?, 'Ada Lind', 'female', NULL, '')",
            [VISIT, AT],
        )
        (row,) = old.query("SELECT * FROM clients")
        base = base_edit(row)
        written = {name: base[name] for name in ("id", "client_id", "at", "follows", *WRITTEN)}
        places = ", ".join(f":{name}" for name in written)
        old.execute(
            f"INSERT INTO client_edits ({', '.join(written)}) VALUES ({places})", dict(written)
        )
    with open_store(path) as store:
        (client,) = store.clients()
        assert client.choices == {
            "equation": None,
            "conversion": None,
            "show_fat_percent": True,
            "show_norms": True,
        }
        edited = store.edit_client(client.id, at=AT, show_fat_percent=False)
        assert not edited.show_fat_percent
        assert len(store.client_versions(client.id)) == 1
        assert store.check() == ()
        (row,) = store.db.query("SELECT * FROM clients")
        assert base_edit({**row, "show_fat_percent": 1})["id"] == base["id"]


def test_store_of_a_newer_version_is_left_alone(store: Store) -> None:
    """A store that a newer foldcall wrote is refused, unchanged, with the advice to update."""
    store.db.table("_sqlite_migrations").insert(
        {"migration_set": "foldcall", "name": "999_from_tomorrow", "applied_at": AT}
    )
    before = list(store.db.conn.iterdump())
    with pytest.raises(StoreError, match="newer version") as caught:
        open_store(store.path)
    assert "Update" in caught.value.hint
    assert list(store.db.conn.iterdump()) == before


def test_migration_that_fails_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A store is made whole or not at all, and can be made when the cause is gone."""
    path = tmp_path / "foldcall.db"
    broken = (*migrations.STATEMENTS, "CREATE TABLE clients (id) STRICT")
    with monkeypatch.context() as patch:
        patch.setattr(migrations, "STATEMENTS", broken)
        with pytest.raises(StoreError):
            open_store(path)
    with contextlib.closing(sqlite3.connect(path)) as opened:
        assert opened.execute("SELECT name FROM sqlite_master").fetchall() == []
    with open_store(path) as store:
        assert store.clients() == []


def test_database_of_another_program_is_left_alone(tmp_path: Path) -> None:
    """An SQLite file that is not ours is refused byte for byte as it was."""
    path = tmp_path / "music.db"
    with contextlib.closing(sqlite3.connect(path)) as opened:
        opened.execute("CREATE TABLE songs (title TEXT)")
    before = path.read_bytes()
    with pytest.raises(StoreError, match="another program") as caught:
        open_store(path)
    assert caught.value.hint
    assert path.read_bytes() == before
    assert [item.name for item in tmp_path.iterdir()] == ["music.db"]
