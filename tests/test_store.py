"""The store keeps what it is given and gives it back: people, visits, journals, results, views."""

import dataclasses
from collections.abc import Iterator
from datetime import datetime, timedelta, timezone
from pathlib import Path
from types import MappingProxyType
from uuid import UUID, uuid5

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from capture.store import Store, StoreError, VisitRow, open_store, reading_id
from capture.visit.entry import Entry, ReadingFact, ReadingState, Source

AT = "2026-05-04T09:30:00+02:00"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """Open a new store and close it after the test."""
    with open_store(tmp_path / "foldcall.db") as opened:
        yield opened


@pytest.fixture
def visit(store: Store) -> VisitRow:
    """Begin a visit with an empty journal."""
    return begin(store)


def begin(store: Store, at: str = AT, name: str = "Ada Lind") -> VisitRow:
    """Begin a visit of a new client."""
    client = store.add_client(name, "female", at=at)
    assessor = store.add_assessor("Bo Ek", at=at)
    return store.begin_visit(client.id, assessor.id, at=at, plan={"sites": 7}, program_version="1")


def entry(sequence: int, *readings: ReadingFact, **changes: object) -> Entry:
    """Make a voice entry with these readings."""
    plain = Entry(
        sequence=sequence,
        at=f"2026-05-04T09:{30 + sequence}:00+02:00",
        source=Source.VOICE,
        words=f"call {sequence}",
        confidence=0.75,
        alternatives=({"words": "fifty", "confidence": 0.25},),
        intent={"kind": "reading"},
        facts=({"kind": "heard"},),
        readings=readings,
    )
    return dataclasses.replace(plain, **changes)  # type: ignore[arg-type]


def reading(number: int, state: str, value_tenths_mm: int, site: str = "triceps") -> ReadingFact:
    """Make a fact about a reading of the first circuit."""
    return ReadingFact(number, ReadingState(state), site, 1, value_tenths_mm)


# People


def test_client_comes_back_as_added(store: Store) -> None:
    """A client is kept with name, sex, birth date and note."""
    added = store.add_client(
        "Åsa Öberg", "female", at=AT, birth_date="1990-02-28", note="left knee"
    )
    assert store.clients() == [added]
    assert store.find_client("Åsa Öberg") == added
    assert UUID(added.id).version == 4


def test_caller_may_name_the_identifier(store: Store) -> None:
    """An identifier made elsewhere is kept, in the usual form of a UUID."""
    given_id = "9C8A6E52-5B1F-4C9E-8F4B-0A4C53C1D2E3"
    assert store.add_assessor("Bo Ek", at=AT, id=given_id).id == given_id.lower()


@pytest.mark.parametrize(
    "typed",
    ["åsa öberg", "  Åsa   Öberg ", "ÅSA ÖBERG", "A\u030asa O\u0308berg"],
    ids=["small letters", "spaces", "capitals", "accents apart"],
)
def test_name_is_found_however_it_is_typed(store: Store, typed: str) -> None:
    """Case, spaces and the way of writing accents do not hide a client."""
    added = store.add_client("Åsa Öberg", "female", at=AT)
    assert store.find_client(typed) == added


def test_unknown_name_finds_nobody(store: Store) -> None:
    """A name that nobody has is no error."""
    store.add_assessor("Bo Ek", at=AT)
    assert store.find_assessor("Bo") is None
    assert store.find_client("Bo Ek") is None


def test_name_of_two_people_picks_neither(store: Store) -> None:
    """Two clients of one name are never mixed up: the store asks for the identifier."""
    for _ in range(2):
        store.add_client("Ada Lind", "female", at=AT)
    with pytest.raises(StoreError) as caught:
        store.find_client("ada lind")
    assert "identifier" in caught.value.hint
    assert "lind" not in str(caught.value).lower()


@pytest.mark.parametrize(
    ("changes", "named"),
    [
        ({"sex": "F"}, "sex"),
        ({"name": "  "}, "name"),
        ({"birth_date": "2026-02-30"}, "birth_date"),
        ({"birth_date": "28/2/1990"}, "birth_date"),
        ({"at": "2026-05-04 09:30"}, "created_at"),
        ({"at": "2026-05-04T09:30:00"}, "created_at"),
        ({"at": "2026-13-04T09:30:00+02:00"}, "created_at"),
        ({"id": "17"}, "UUID"),
        ({"note": "\ud800"}, "note"),
    ],
    ids=[
        "sex",
        "blank name",
        "no such day",
        "other date form",
        "no T",
        "no offset",
        "no such month",
        "id",
        "half a character",
    ],
)
def test_client_with_a_wrong_field_is_refused(
    store: Store, changes: dict[str, str], named: str
) -> None:
    """A field that makes no sense is named, and the client is not added."""
    fields = {"name": "Ada Lind", "sex": "female", "at": AT} | changes
    with pytest.raises(StoreError) as caught:
        store.add_client(**fields)  # type: ignore[arg-type]
    assert named in caught.value.message
    assert caught.value.hint
    assert store.clients() == []


# Visits


def test_visit_comes_back_as_begun(store: Store) -> None:
    """A visit knows its client, its assessor and the plan settled at its start."""
    plan = {"protocol": "seven sites", "age_years": 31, "sites": ["chest", {"side": "right"}]}
    client = store.add_client("Ada Lind", "female", at=AT)
    assessor = store.add_assessor("Bo Ek", at=AT)
    begun = store.begin_visit(
        client.id, assessor.id, at=AT, plan=MappingProxyType(plan), program_version="0.1.0"
    )
    assert begun == store.visit(begun.id)
    assert (begun.client, begun.assessor, begun.plan) == (client, assessor, plan)
    assert begun.program_version == "0.1.0"


def test_visits_list_the_newest_first_by_true_time(store: Store) -> None:
    """Visits are in the order of time, also across time zones, and can be those of one client."""
    later = begin(store, "2026-05-04T09:30:00+02:00")
    earlier = begin(store, "2026-05-04T09:45:00+03:00", "Cy Moe")
    assert store.visits() == [later, earlier]
    assert store.visits(earlier.client.id) == [earlier]


def test_visit_needs_known_people(store: Store) -> None:
    """A visit of somebody unknown is refused."""
    client = store.add_client("Ada Lind", "female", at=AT)
    for client_id, assessor_id, who in (
        (client.id, client.id, "assessor"),
        ("nobody", "nobody", "client"),
    ):
        with pytest.raises(StoreError, match=f"no such {who}"):
            store.begin_visit(client_id, assessor_id, at=AT, plan={}, program_version="1")
    assert store.visits() == []


def test_unknown_visit_is_told(store: Store) -> None:
    """Every question about a visit that is not there says so."""
    for ask in (
        store.visit,
        store.entries,
        store.results,
        lambda visit_id: store.append(visit_id, entry(1, reading(1, "heard", 125))),
        lambda visit_id: store.add_result(visit_id, at=AT, sequence=1, result={}),
    ):
        for visit_id in ("nope", "0" * 36):
            with pytest.raises(StoreError, match="no such visit") as caught:
                ask(visit_id)
            assert caught.value.hint


def test_open_visits_are_those_not_signed_off(store: Store) -> None:
    """A visit leaves the list of open visits with its sign-off, and not before."""
    first, second = begin(store), begin(store, name="Cy Moe")
    store.append(first.id, entry(1))
    assert {row.id for row in store.open_visits()} == {first.id, second.id}
    store.append(first.id, entry(2, facts=({"kind": "note"}, {"by": "x", "kind": "signed_off"})))
    assert store.open_visits() == [second]
    store.append(first.id, entry(3, facts=({"kind": "amended"},)))
    assert store.open_visits() == [second]


# The journal

instants = st.datetimes(datetime(1970, 1, 1), datetime(2100, 1, 1)).flatmap(
    lambda at: st.integers(-12 * 60, 14 * 60).map(
        lambda minutes: at.replace(tzinfo=timezone(timedelta(minutes=minutes))).isoformat()
    )
)
texts = st.text(st.characters(exclude_categories=["Cs"]))
leaves = st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | texts
values = st.recursive(
    leaves.filter(lambda leaf: leaf not in (float("inf"), float("-inf"))),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(texts, inner, max_size=3),
    max_leaves=8,
)
objects = st.dictionaries(texts, values, max_size=4)
shares = st.none() | st.floats(0, 1)


@st.composite
def journals(draw: st.DrawFn) -> list[Entry]:
    """Draw whole journals; a reading keeps its site, circuit and value through its states."""
    length = draw(st.integers(1, 4))
    measured = [
        (draw(texts.filter(bool)), draw(st.integers(1, 9)), draw(st.integers(1, 999)))
        for _ in range(length)
    ]

    def fact(sequence: int) -> ReadingFact:
        number = draw(st.integers(1, sequence))
        return ReadingFact(number, draw(st.sampled_from(ReadingState)), *measured[number - 1])

    return [
        Entry(
            sequence=sequence,
            at=draw(instants),
            source=draw(st.sampled_from(Source)),
            words=draw(texts),
            confidence=draw(shares),
            alternatives=tuple(draw(st.lists(objects, max_size=3))),
            intent=draw(objects),
            facts=tuple(draw(st.lists(objects, max_size=3))),
            readings=tuple(fact(sequence) for _ in range(draw(st.integers(0, 3)))),
        )
        for sequence in range(1, length + 1)
    ]


@settings(deadline=None, max_examples=60)
@given(journal=journals())
def test_journal_comes_back_exactly(
    journal: list[Entry], tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Whatever was heard, in any script, is read back as it was saved, after closing too."""
    path = tmp_path_factory.mktemp("store") / "foldcall.db"
    with open_store(path) as store:
        visit_id = begin(store).id
        for item in journal:
            store.append(visit_id, item)
        assert store.entries(visit_id) == journal
    with open_store(path) as store:
        found = store.entries(visit_id)
        assert found == journal
        assert repr(found) == repr(journal)  # 1, 1.0 and True are equal, but not the same
        assert store.check() == ()


def test_read_only_mappings_are_kept_as_objects(store: Store, visit: VisitRow) -> None:
    """A frozen mapping is as good as a dictionary, at any depth."""
    frozen = MappingProxyType({"kind": "reading", "of": MappingProxyType({"tenths": 125})})
    store.append(visit.id, entry(1, intent=frozen))
    assert store.entries(visit.id) == [entry(1, intent=frozen)]


@pytest.mark.parametrize("sequence", [1, 2, 4, 5], ids=["first again", "repeat", "gap", "wide gap"])
def test_entry_out_of_sequence_is_refused(store: Store, visit: VisitRow, sequence: int) -> None:
    """An entry that does not follow the last one is refused, and the right one may follow."""
    for number in (1, 2):
        store.append(visit.id, entry(number))
    with pytest.raises(StoreError, match="does not follow entry 2") as caught:
        store.append(visit.id, entry(sequence, reading(1, "heard", 125)))
    assert caught.value.hint
    store.append(visit.id, entry(3))
    assert store.entries(visit.id) == [entry(1), entry(2), entry(3)]


@pytest.mark.parametrize(
    "changes",
    [
        {"confidence": float("nan")},
        {"confidence": 1.001},
        {"confidence": -0.001},
        {"confidence": "0.5"},
        {"sequence": "1"},
        {"sequence": True},
        {"at": "09:30"},
        {"at": "2026-02-30T09:30:00+02:00"},
        {"source": "pedal"},
        {"words": "\udc80"},
        {"words": None},
        {"intent": ["reading"]},
        {"intent": {"tenths": float("nan")}},
        {"intent": {"sites": ("chest", "thigh")}},
        {"intent": {1: "chest"}},
        {"facts": ({"kind": object()},)},
        {"alternatives": ({"words": "\ud83d"},)},
        {"readings": (reading(1, "heard", "125"),)},  # type: ignore[arg-type]
        {"readings": (reading(1, "heard", 12.5),)},  # type: ignore[arg-type]
        {"readings": (reading(1, "heard", 125.0),)},  # type: ignore[arg-type]
        {"readings": (reading(1, "heard", 0),)},
        {"readings": (reading(1, "heard", 1 << 63),)},
        {"readings": (reading(2, "heard", 125),)},
        {"readings": (reading(1, "heard", 125, ""),)},
        {"readings": (ReadingFact(1, ReadingState.HEARD, "chest", 0, 125),)},
        {"readings": (ReadingFact(1, "spoken", "chest", 1, 125),)},  # type: ignore[arg-type]
        {"readings": (reading(1, "heard", 150), reading(1, "confirmed", 500))},
        {"readings": (reading(1, "heard", 150), reading(1, "confirmed", 150, "chest"))},
    ],
    ids=[
        "confidence that is no number",
        "confidence above 1",
        "confidence below 0",
        "confidence as text",
        "sequence as text",
        "sequence as truth",
        "time without a date",
        "time on 30 February",
        "unknown source",
        "half a character",
        "no words",
        "intent that is a list",
        "no number in the intent",
        "tuple in the intent",
        "number as a key",
        "thing that is no JSON",
        "half a character in a rival",
        "value as text",
        "value in millimetres",
        "value as a float",
        "value 0",
        "value beyond 63 bits",
        "reading of a later entry",
        "blank site",
        "circuit 0",
        "unknown state",
        "fifteen confirmed as fifty",
        "reading that changes its site",
    ],
)
def test_entry_that_cannot_be_kept_exactly_is_refused_whole(
    store: Store, visit: VisitRow, changes: dict[str, object]
) -> None:
    """Nothing is bent to fit: the entry is refused whole, and the next one may be saved."""
    with pytest.raises(StoreError) as caught:
        store.append(visit.id, dataclasses.replace(entry(1), **changes))  # type: ignore[arg-type]
    assert caught.value.message
    assert store.entries(visit.id) == []
    assert store.db.table("reading_facts").count == 0
    store.append(visit.id, entry(1, reading(1, "heard", 125)))
    assert store.entries(visit.id) == [entry(1, reading(1, "heard", 125))]


def test_later_entry_cannot_change_a_value(store: Store, visit: VisitRow) -> None:
    """A reading heard as fifteen cannot be confirmed as fifty by a later entry."""
    store.append(visit.id, entry(1, reading(1, "heard", 150)))
    with pytest.raises(StoreError, match="keeps its site, circuit and value"):
        store.append(visit.id, entry(2, reading(1, "confirmed", 500)))
    assert store.entries(visit.id) == [entry(1, reading(1, "heard", 150))]


def test_reading_has_one_name_everywhere(store: Store, visit: VisitRow) -> None:
    """A reading's identifier follows from its visit and number, so every station finds the same."""
    store.append(visit.id, entry(1, reading(1, "heard", 125)))
    store.append(visit.id, entry(2, reading(1, "confirmed", 125)))
    (row,) = store.db.view("readings").rows
    assert row["reading_id"] == reading_id(visit.id, 1) == str(uuid5(UUID(visit.id), "1"))


# Results


def test_results_come_back_in_order(store: Store, visit: VisitRow) -> None:
    """Each computation is kept beside the earlier ones."""
    store.append(visit.id, entry(1))
    added = [
        store.add_result(visit.id, at=AT, sequence=1, result={"fat_percent": share})
        for share in (18.4, 18.6)
    ]
    assert store.results(visit.id) == added


@pytest.mark.parametrize("sequence", [0, 2, -1, "1"])
def test_result_of_an_entry_that_is_not_there_is_refused(
    store: Store, visit: VisitRow, sequence: int
) -> None:
    """A result says from which entry it was computed, and that entry exists."""
    store.append(visit.id, entry(1))
    with pytest.raises(StoreError):
        store.add_result(visit.id, at=AT, sequence=sequence, result={})
    assert store.results(visit.id) == []


def test_an_entry_and_its_result_are_saved_together(store: Store, visit: VisitRow) -> None:
    """Both are there, or neither: a visit is not signed off without what it came to."""
    with pytest.raises(StoreError):
        store.append(visit.id, entry(1), {"fat_percent": float("nan")})
    assert store.entries(visit.id) == []
    store.append(visit.id, entry(1), {"fat_percent": 18.4})
    (kept,) = store.results(visit.id)
    assert (kept.sequence, kept.computed_at) == (1, store.entries(visit.id)[0].at)


# What a reader of the file looks at


@pytest.fixture
def told(store: Store, visit: VisitRow) -> VisitRow:
    """Tell of six readings, one for each end that a reading can come to and one still open."""
    for item in (
        entry(1, reading(1, "heard", 150)),
        entry(
            2,
            reading(1, "replaced", 150),
            reading(2, "heard", 500),
            source=Source.KEYPAD,
            confidence=None,
        ),
        entry(3, reading(2, "confirmed", 500)),
        entry(4, reading(4, "heard", 124, "chest")),
        entry(5, reading(4, "confirmed", 124, "chest")),
        entry(6, reading(4, "undone", 124, "chest")),
        entry(7, reading(7, "heard", 126, "chest")),
        entry(8, reading(7, "dropped", 126, "chest"), reading(8, "heard", 128, "chest")),
        entry(9, reading(9, "heard", 301, "thigh"), reading(9, "confirmed", 301, "thigh")),
    ):
        store.append(visit.id, item)
    return visit


@pytest.mark.usefixtures("told")
def test_readings_view_shows_where_each_reading_ended(store: Store) -> None:
    """There is one row a reading, with its present state."""
    rows = store.db.query("SELECT number, site, value_mm, state FROM readings ORDER BY number")
    assert [tuple(row.values()) for row in rows] == [
        (1, "triceps", 15.0, "replaced"),
        (2, "triceps", 50.0, "confirmed"),
        (4, "chest", 12.4, "undone"),
        (7, "chest", 12.6, "dropped"),
        (8, "chest", 12.8, "heard"),
        (9, "thigh", 30.1, "confirmed"),
    ]


def test_readings_view_says_how_a_reading_came_about(store: Store, told: VisitRow) -> None:
    """A row says whose reading it is, when and by what words it was heard, and when it changed."""
    (row,) = store.db.query("SELECT * FROM readings WHERE number = 2")
    assert row == {
        "visit_id": told.id,
        "number": 2,
        "reading_id": reading_id(told.id, 2),
        "client": "Ada Lind",
        "site": "triceps",
        "circuit": 1,
        "value_mm": 50.0,
        "state": "confirmed",
        "heard_at": "2026-05-04T09:32:00+02:00",
        "changed_at": "2026-05-04T09:33:00+02:00",
        "words": "call 2",
        "confidence": None,
        "source": "keypad",
        "dwell_s": None,
        "amendments": 0,
    }


@pytest.mark.usefixtures("told")
def test_only_confirmed_readings_count(store: Store) -> None:
    """Replaced, dropped, undone and merely heard readings do not count."""
    rows = store.db.query("SELECT number, value_mm FROM confirmed_readings ORDER BY number")
    assert [tuple(row.values()) for row in rows] == [(2, 50.0), (9, 30.1)]


def test_day_list_tells_each_visit_once(store: Store, told: VisitRow) -> None:
    """The day list has the visit's own date, its people, what counts and whether it is closed."""
    other = begin(store, "2026-05-05T00:15:00+02:00", "Cy Moe")
    store.append(other.id, entry(1, facts=({"kind": "signed_off"},)))
    rows = {row["visit_id"]: row for row in store.db.view("day_list").rows}
    assert rows == {
        told.id: {
            "visit_id": told.id,
            "date": "2026-05-04",
            "client": "Ada Lind",
            "assessor": "Bo Ek",
            "confirmed_readings": 2,
            "signed_off": 0,
            "signed_off_by": None,
            "amendments": 0,
        },
        other.id: {
            "visit_id": other.id,
            "date": "2026-05-05",
            "client": "Cy Moe",
            "assessor": "Bo Ek",
            "confirmed_readings": 0,
            "signed_off": 1,
            "signed_off_by": None,
            "amendments": 0,
        },
    }


@pytest.mark.parametrize(
    "facts",
    [
        '["signed_off"]',
        '[["kind","signed_off"]]',
        '[{"kind":"note","text":"signed_off"}]',
        '[{"kind":"note","of":{"kind":"signed_off"}}]',
        '["kind",{"kind":["signed_off"]}]',
    ],
)
def test_only_a_fact_of_that_kind_signs_off(store: Store, visit: VisitRow, facts: str) -> None:
    """The words `signed_off` elsewhere in an entry do not close a visit."""
    store.db.execute(
        "INSERT INTO journal VALUES (?, 1, ?, 'voice', '', NULL, '[]', '{}', ?)",
        [visit.id, AT, facts],
    )
    assert store.open_visits() == [visit]
