"""What is exported comes back the same, and a bad file is refused whole, with the reason."""

import copy
import csv
import importlib
import io
import json
import shutil
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from many_visits import LATER, filled, people, visits

from capture.cli import main
from capture.exchange.columns import NAMES
from capture.exchange.document import document_lines, read_document, schema
from capture.exchange.errors import FileRefused
from capture.exchange.shape import faults
from capture.exchange.table import guard, table_lines, unguard
from capture.exchange.table_read import read_table
from capture.store import Store, StoreError, open_store
from capture.store.rows import LONGEST_TEXT

pytestmark = pytest.mark.usefixtures("capsys")


@pytest.fixture
def full(tmp_path: Path) -> Path:
    """A store of 12 visits with an amendment, a sign-off by name, and a name like a formula."""
    return filled(tmp_path / "full.db")


def exported(store: Path, name: str) -> bytes:
    """The export of a store in the form that the name's ending says."""
    file = store.with_name(f"{store.stem}-{name}")
    assert main(["export", str(file), "--store", str(store)]) == 0
    return file.read_bytes()


def rows_of(text: str) -> list[list[str]]:
    """The cells of a table."""
    return list(csv.reader(io.StringIO(text, newline="")))


@pytest.mark.parametrize("name", ["all.csv", "all.json"])
def test_an_export_comes_back_byte_for_byte(full: Path, tmp_path: Path, name: str) -> None:
    """Exported, imported into an empty store, exported again: the same bytes."""
    first = exported(full, name)
    (tmp_path / f"again-{name}").write_bytes(first)
    new = tmp_path / "new.db"
    assert main(["import", str(tmp_path / f"again-{name}"), "--store", str(new)]) == 0
    assert exported(new, name) == first
    with open_store(new) as opened:
        assert opened.check() == ()


def test_what_the_store_takes_every_import_takes_back(tmp_path: Path, halfway: Any) -> None:
    """One limit for names, notes and reasons; as long as may be, and of signs that are escaped."""
    assert schema()["$defs"]["text"]["maxLength"] == LONGEST_TEXT
    long = "=\"'\n\t" + "é" * (LONGEST_TEXT - 5)
    path = tmp_path / "long.db"
    with open_store(path) as store:
        client = store.add_client(long, "male", at=LATER, note=long)
        client = store.edit_client(client.id, at=LATER, note=long[::-1])
        assessor = store.add_assessor(long, at=LATER)
        row = store.begin_visit(
            client.id, assessor.id, at=LATER, plan=halfway.plan.to_plain(), program_version="1"
        )
        for entry in halfway.journal:
            store.append(row.id, entry)
        number = halfway.visit.confirmed[0].number
        for _ in range(12):
            given = {"at": LATER, "by_name": long, "reason": long}
            store.amend(row.id, number=number, kind="value", value_tenths_mm=150, **given)
    for name in ("all.csv", "all.json"):
        exported(path, name)
        new = tmp_path / f"{name}.db"
        assert main(["import", str(tmp_path / f"long-{name}"), "--store", str(new)]) == 0


@pytest.mark.parametrize(
    "arguments",
    [
        ["clients", "add", "{}", "--sex", "male"],
        ["clients", "add", "Ada Moss", "--sex", "female", "--note", "{}"],
        ["clients", "edit", "Rowan Alderby", "--name", "{}"],
        ["measure", "--client", "{}", "--assessor", "T", "--sex", "male", "--age", "30", "--plain"],
        ["measure", "--client", "A", "--assessor", "{}", "--sex", "male", "--age", "30", "--plain"],
        ["caliper", "add", "{}", "--step", "0.2", "--opening", "80"],
    ],
    ids=["name", "note", "another name", "client", "assessor", "caliper"],
)
def test_what_is_too_long_is_told_at_its_entry(
    arguments: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Not at an import years later."""
    path = tmp_path / "store.db"
    with open_store(path) as store:
        store.add_client("Rowan Alderby", "male", at=LATER)
    given = [each.replace("{}", "x" * (LONGEST_TEXT + 1)) for each in arguments]
    assert main([*given, "--store", str(path)]) == 1
    assert f"longer than {LONGEST_TEXT} characters" in capsys.readouterr().err
    with open_store(path) as store:
        assert all(len(each.name) <= LONGEST_TEXT for each in store.clients())
        assert store.visits() == []


TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"))
STORED = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), min_size=1)


@settings(max_examples=60, deadline=None)
@given(name=STORED.filter(str.strip), note=TEXT, words=TEXT, reason=STORED.filter(str.strip))
def test_any_text_comes_back(name: str, note: str, words: str, reason: str) -> None:
    """Whatever was typed or heard: the table and the JSON give the same text again."""
    known, (visit,) = _snapshot()
    known, visit = copy.deepcopy((known, visit))
    known["clients"][0] |= {"name": name, "note": note}
    visit["journal"][-1]["words"] = words
    (reading,) = visit["journal"][9]["readings"] or visit["journal"][10]["readings"]
    visit["amendments"] = [
        {"id": visit["id"], "at": LATER, "by_name": name, "reason": reason, "kind": "value",
         "number": reading["number"], "value_tenths_mm": 150, "follows": [],
         "after_sign_off": False},
    ]  # fmt: skip
    table = "".join(table_lines(known, [visit]))
    assert not [
        cell for row in rows_of(table) for cell in row
        if cell.lstrip().startswith(("=", "+", "@")) or cell.startswith(("\t", "\r", "\n"))
    ]  # fmt: skip
    back = read_table(table)
    assert (back["clients"][0]["name"], back["clients"][0]["note"]) == (name, note)
    assert "".join(table_lines(back, back["visits"])) == table
    document = "\n".join(document_lines(known, [visit]))
    read = read_document(document)
    assert read["visits"] == [visit]
    assert "\n".join(document_lines(read, read["visits"])) == document


@cache
def _snapshot() -> tuple[dict[str, list[dict[str, Any]]], tuple[dict[str, Any], ...]]:
    """One person with one visit, as the store gives them out."""
    with tempfile.TemporaryDirectory() as folder, open_store(Path(folder) / "one.db") as store:
        store.join(people(1), visits(1), named="chance", refuse_conflicts=True)
        return store.people_snapshot(), tuple(store.visit_snapshots())


def test_a_nul_is_refused_at_every_door(full: Path, tmp_path: Path) -> None:
    """A name that SQLite would read half of comes in neither typed nor in a file."""
    with open_store(full) as opened, pytest.raises(StoreError, match="NUL"):
        opened.add_client("Ada\0Ny", "female", at=LATER)
    with open_store(full) as opened, pytest.raises(StoreError, match="NUL"):
        opened.edit_client(opened.clients()[0].id, at=LATER, name="Ada\0Ny")
    text = exported(full, "all.json").decode().replace('"=SUM', '"\\u0000=SUM')
    file = tmp_path / "nul.json"
    file.write_text(text, encoding="utf-8")
    assert main(["import", str(file), "--store", str(tmp_path / "new.db")]) == 1
    with pytest.raises(FileRefused, match="NUL"):
        read_document(text)


def test_importing_twice_adds_nothing(full: Path, tmp_path: Path) -> None:
    """What is there already is left as it is."""
    exported(full, "all.json")
    new = tmp_path / "new.db"
    for _ in range(2):
        assert main(["import", str(tmp_path / "full-all.json"), "--store", str(new)]) == 0
    assert exported(new, "x.json") == (tmp_path / "full-all.json").read_bytes()


def test_the_table_has_one_reading_a_row_and_says_its_columns(full: Path) -> None:
    """Every reading ever heard is a row; a table beside it says each column and its unit."""
    found = rows_of(exported(full, "all.csv").decode())
    assert tuple(found[0]) == NAMES
    with open_store(full) as opened:
        assert len(found) - 1 == opened.db.view("readings").count
    beside = rows_of((full.parent / "full-all.columns.csv").read_text(encoding="utf-8"))
    assert tuple(row[0] for row in beside[1:]) == NAMES
    assert ["value_mm", "the value as taken", "mm", "0.1 to 100.0, one decimal"] in beside


def test_the_value_that_counts_is_the_amended_one(full: Path) -> None:
    """value_mm keeps what was taken, counts_mm says what counts after the amendment."""
    found = rows_of(exported(full, "all.csv").decode())
    column = {name: place for place, name in enumerate(NAMES)}
    amended = [row for row in found[1:] if row[column["amendments"]]]
    assert [(row[column["counts_mm"]]) for row in amended] == ["33.2"]
    assert amended[0][column["value_mm"]] != "33.2"


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\tx", "\rx", "\nx", "'=1", "'", "Ada"])
def test_no_cell_is_a_formula(text: str) -> None:
    """A guarded cell begins with none of the signs a spreadsheet acts upon, and comes back."""
    assert not guard(text).startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
    assert unguard(guard(text)) == text


def test_names_that_look_like_formulas_are_guarded(full: Path) -> None:
    """The client '=SUM(A1)' stands with an apostrophe in the table and without it in the store."""
    text = exported(full, "all.csv").decode()
    assert "'=SUM(A1)" in text
    assert ",=SUM(A1)" not in text


def _cell(name: str, value: str, row: int = 3) -> Callable[[str], bytes]:
    def change(text: str) -> bytes:
        cells = rows_of(text)
        cells[row - 1][NAMES.index(name)] = value
        written = io.StringIO()
        csv.writer(written, lineterminator="\n").writerows(cells)
        return written.getvalue().encode()

    return change


BAD_TABLES: dict[str, tuple[Callable[[str], bytes], str]] = {
    "huge value": (_cell("value_mm", "1000.0"), "value_mm is no value in mm"),
    "above 100 mm": (_cell("value_mm", "100.1"), "value_mm is not 0.1 to 100.0 mm"),
    "zero": (_cell("value_mm", "0.0"), "value_mm is not 0.1 to 100.0 mm"),
    "not a number": (_cell("value_mm", "NaN"), "value_mm is no value in mm"),
    "infinite": (_cell("confidence", "inf"), "confidence is no number"),
    "confidence": (_cell("confidence", "1.5"), "confidence is above 1"),
    "comma": (_cell("value_mm", "12,4"), "value_mm is no value in mm"),
    "state": (_cell("state", "certain"), "state is none of"),
    "time": (_cell("heard_at", "yesterday"), "at is not written as it must be"),
    "identifier": (_cell("visit_id", "17"), "id is not written as it must be"),
    "another name": (_cell("client", "Eve Ny"), "the client is described differently"),
    "plan": (_cell("plan", "{", 2), "plan is no JSON"),
    "counts": (_cell("counts_mm", "50.0"), "counts_mm does not follow"),
    "far entry": (_cell("changed_entry", "999999999"), "more than a visit has"),
    "not UTF-8": (lambda text: text.encode() + b"\xff\n", "no UTF-8"),
    "another encoding": (lambda text: text.encode("utf-16"), "no UTF-8"),
    "NUL": (lambda text: text.replace("chest", "ch\0st", 1).encode(), "holds a NUL"),
    "columns": (lambda text: text.replace("value_mm", "value", 1).encode(), "Line 1"),
    "short row": (lambda text: f"{text}a,b\n".encode(), "has 2 cells"),
    "twice": (lambda text: (text + text.splitlines(True)[-1]).encode(), "comes twice"),
    "open quote": (lambda text: f'{text}"a'.encode(), "is no CSV"),
    "empty": (lambda _: b"", "Line 1"),
}


@pytest.mark.parametrize(("spoil", "why"), BAD_TABLES.values(), ids=BAD_TABLES)
def test_a_bad_table_is_refused_whole(
    full: Path,
    tmp_path: Path,
    spoil: Callable[[str], bytes],
    why: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The line and the reason are told, the code is 1, and the store stays empty."""
    text = exported(full, "all.csv").decode()
    bad = tmp_path / "bad.csv"
    bad.write_bytes(spoil(text))
    capsys.readouterr()
    new = tmp_path / "new.db"
    assert main(["import", str(bad), "--store", str(new)]) == 1
    told = capsys.readouterr().err
    assert why in told
    assert "Nothing was imported." in told.splitlines()[-1]
    assert not new.exists()


def test_bad_rows_are_told_by_line(
    full: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two bad rows give two lines before the refusal, each with its place in the file."""
    text = _cell("value_mm", "x", 3)(exported(full, "all.csv").decode()).decode()
    (tmp_path / "bad.csv").write_bytes(_cell("circuit", "0", 5)(text))
    capsys.readouterr()
    main(["import", str(tmp_path / "bad.csv"), "--store", str(tmp_path / "new.db")])
    told = capsys.readouterr().err.splitlines()
    # The note of the first client has a line break, so that each of its rows takes two lines.
    assert told[0].startswith("line 4: value_mm")
    assert told[1].startswith("line 8: circuit")
    assert len(told) == 3


def _at(*path: Any, value: Any) -> Callable[[dict[str, Any]], None]:
    def change(found: dict[str, Any]) -> None:
        part: Any = found
        for step in path[:-1]:
            part = part[step]
        part[path[-1]] = value

    return change


ENTRY = ("visits", 0, "journal", 8)
BAD_DOCUMENTS: dict[str, tuple[Callable[[dict[str, Any]], None], str]] = {
    "version": (_at("version", value=2), "version is not 1"),
    "unknown": (_at("extra", value=1), "unknown 'extra'"),
    "sex": (_at("clients", 0, "sex", value="x"), "clients 1, sex is none of"),
    "confidence": (_at(*ENTRY, "confidence", value=2), "confidence is above 1"),
    "value": (
        _at("visits", 0, "journal", 9, "readings", value=[{"number": 10}]),
        "readings 1 has no state",
    ),
    "no object": (_at(*ENTRY, value=3), "journal 9 is not object"),
}


@pytest.mark.parametrize(("spoil", "why"), BAD_DOCUMENTS.values(), ids=BAD_DOCUMENTS)
def test_a_document_of_another_shape_is_refused(
    full: Path, spoil: Callable[[dict[str, Any]], None], why: str
) -> None:
    """The place of the fault is told, and a full JSON Schema validator agrees that it is one."""
    found = json.loads(exported(full, "all.json"))
    spoil(found)
    with pytest.raises(FileRefused) as caught:
        read_document(json.dumps(found))
    assert any(why in problem for problem in caught.value.problems)
    assert list(jsonschema.Draft202012Validator(schema()).iter_errors(found))


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("{", "Line 1 is no JSON"),
        ("[NaN]", "NaN is no number"),
        ("[1e999]", "too large"),
        ("[" * 100_000, "nested too deep"),
        ('{"a": 1, "a": 2}', "names something twice"),
        ("1" * 5000, "cannot be taken"),
        ("[]", "is not object"),
    ],
    ids=["cut off", "NaN", "too large", "deep", "twice", "long number", "array"],
)
def test_a_document_that_is_none_is_refused(text: str, why: str) -> None:
    """One line says what is wrong."""
    with pytest.raises(FileRefused, match=why) as caught:
        read_document(text)
    assert "\n" not in str(caught.value)


def test_the_export_has_the_published_shape(full: Path) -> None:
    """The schema is a valid one, and a full validator accepts the export by it, as ours does."""
    jsonschema.Draft202012Validator.check_schema(schema())
    found = json.loads(exported(full, "all.json"))
    jsonschema.Draft202012Validator(schema()).validate(found)
    assert list(faults(found, schema())) == []


def test_nothing_is_half_imported(full: Path, tmp_path: Path) -> None:
    """A journal with a gap in the last visit is refused by the store, and the first visits too."""
    found = json.loads(exported(full, "all.json"))
    del found["visits"][-1]["journal"][4]
    (tmp_path / "gap.json").write_text(json.dumps(found), encoding="utf-8")
    new = tmp_path / "new.db"
    assert main(["import", str(tmp_path / "gap.json"), "--store", str(new)]) == 1
    with open_store(new) as opened:
        assert opened.clients() == []
        assert opened.visits() == []


def test_a_file_that_says_otherwise_is_refused(full: Path, tmp_path: Path) -> None:
    """A visit that the store holds with another journal is a conflict; nothing is taken."""
    found = json.loads(exported(full, "all.json"))
    found["visits"][0]["journal"][0]["words"] = "refused"
    (tmp_path / "other.json").write_text(json.dumps(found), encoding="utf-8")
    before = exported(full, "before.json")
    assert main(["import", str(tmp_path / "other.json"), "--store", str(full)]) == 1
    assert exported(full, "after.json") == before


def test_one_client_can_be_exported_alone(full: Path, tmp_path: Path) -> None:
    """Nobody else's name or visits are in it."""
    file = tmp_path / "one.json"
    assert main(["export", str(file), "--client", "=SUM(A1)", "--store", str(full)]) == 0
    found = json.loads(file.read_bytes())
    assert [client["name"] for client in found["clients"]] == ["=SUM(A1)"]
    assert {visit["client_id"] for visit in found["visits"]} == {found["clients"][0]["id"]}


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["export", "x.txt"], 2, "Give --as csv, json or fhir."),
        (["export", "no/folder/x.csv"], 1, "No such file"),
        (["export", "full.db", "--as", "csv"], 1, "Give a new name."),
        (["export", "x.csv", "--client", "Nobody"], 1, "no such client"),
        (["import", "x.txt"], 2, "must end in .csv or .json"),
        (["import", "missing.csv"], 1, "No such file"),
    ],
)
def test_misuse_has_one_line_and_a_code(
    full: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    arguments: list[str],
    code: int,
    said: str,
) -> None:
    """What is wrong and what to do, on one line."""
    monkeypatch.chdir(full.parent)
    assert main([*arguments, "--store", str(full)]) == code
    told = capsys.readouterr().err
    assert said in told
    assert told.count("\n") == 1


def test_the_export_is_its_owners_alone(full: Path) -> None:
    """On POSIX the file has mode 0600."""
    exported(full, "all.csv")
    assert (full.parent / "full-all.csv").stat().st_mode & 0o077 == 0


def fhir(store: Path) -> dict[str, Any]:
    """The FHIR export of a store."""
    file = store.with_name("fhir.json")
    assert main(["export", str(file), "--as", "fhir", "--store", str(store)]) == 0
    found: dict[str, Any] = json.loads(file.read_bytes())
    return found


def test_fhir_says_units_and_which_codes_are_local(full: Path) -> None:
    """Folds are in mm by UCUM with local codes; the percent has LOINC's code beside ours."""
    found = [each["resource"] for each in fhir(full)["entry"]]
    observed = [each for each in found if each["resourceType"] == "Observation"]
    assert {each["valueQuantity"]["code"] for each in observed} == {"mm", "g/cm3", "%"}
    assert {each["valueQuantity"]["system"] for each in observed} == {"http://unitsofmeasure.org"}
    codings = [coding for each in observed for coding in each["code"]["coding"]]
    assert {each["code"] for each in codings if each["system"] == "http://loinc.org"} == {"41982-0"}
    assert {each["system"] for each in codings} == {"http://loinc.org", "urn:foldcall:codes"}


def test_fhir_hands_on_no_percent_of_a_client_who_is_shown_none(full: Path, tmp_path: Path) -> None:
    """Folds and sums are there, percent and density are not; nor for one found to be the same."""
    path = tmp_path / "hidden.db"
    shutil.copy(full, path)
    with open_store(path) as store:
        hidden, joined, *others = (each.id for each in store.clients())
        store.link_clients(joined, hidden, at=LATER)
        store.edit_client(hidden, at=LATER, show_fat_percent=False)
    codes: dict[str, set[str]] = {}
    for entry in fhir(path)["entry"]:
        if entry["resource"]["resourceType"] == "Observation":
            of = entry["resource"]["subject"]["reference"].removeprefix("urn:uuid:")
            codes.setdefault(of, set()).add(entry["resource"]["code"]["coding"][0]["code"])
    for client in (hidden, joined):
        assert "sum" in codes[client]
        assert not codes[client] & {"fat", "density"}
    assert any("fat" in codes[client] for client in others if client in codes)


def test_fhir_is_valid_by_another_library(full: Path) -> None:
    """fhir.resources reads the bundle as R4B, which for these resources has R4's elements.

    It comes with the extra 'test': where it could be left out, nobody would notice that it was.
    """
    library = importlib.import_module("fhir.resources.R4B.bundle")
    found = fhir(full)
    read = library.Bundle.model_validate(found)
    assert len(read.entry) == len(found["entry"]) > 40
    known = {each["fullUrl"] for each in found["entry"]}
    assert len(known) == len(found["entry"])
    for each in read.entry:
        if each.resource.__resource_type__ == "Observation":
            assert each.resource.subject.reference in known


def test_the_store_is_left_as_it_was(full: Path) -> None:
    """Exporting only reads."""
    with open_store(full) as opened:
        before = _counts(opened)
    exported(full, "all.csv")
    fhir(full)
    with open_store(full) as opened:
        assert _counts(opened) == before


def _counts(store: Store) -> dict[str, int]:
    return {name: store.db.table(name).count for name in store.db.table_names()}
