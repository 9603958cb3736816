"""The kept brief of a visit says what its journal says, and goes when the visit changes."""

import contextlib
import io
import json
import shutil
import sqlite3
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from many_visits import LATER, filled, people, visits
from older_stores import store_of_steps

from capture.cli import main
from capture.report.attention import RULES, Brief, brief_of, findings
from capture.report.record import record_of
from capture.reviewing import Review
from capture.store import Store, open_store


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store of 48 visits, to be copied."""
    return filled(tmp_path_factory.mktemp("briefs") / "template.db", 48)


@pytest.fixture
def store(template: Path, tmp_path: Path) -> Iterator[Store]:
    """A store of 48 visits, some linked as one person and some begun at one moment."""
    with open_store(shutil.copy(template, tmp_path / "briefs.db")) as opened:
        first, second = opened.clients()[:2]
        opened.link_clients(second.id, first.id, at=LATER)
        yield opened


def slowly(store: Store, **which: Any) -> dict[str, tuple[str, ...]]:
    """For each visit of the list its findings, worked out from the journals one by one."""
    every = store.db.execute(
        "SELECT visits.id, coalesce(people.person_id, visits.client_id), julianday(started_at)"
        " FROM visits LEFT JOIN people ON people.client_id = visits.client_id"
    ).fetchall()
    records = {visit_id: record_of(store.visit_snapshot(visit_id)) for visit_id, _, _ in every}
    told = {}
    for row in Review(store, lambda: LATER, **which).rows:
        (person, began) = next(each[1:] for each in every if each[0] == row.visit_id)
        earlier = [each for each in every if each[1] == person and each[2] < began]
        last = max(earlier, key=lambda each: each[2], default=None)
        before = None if last is None else records[last[0]]
        told[row.visit_id] = tuple(each.text for each in findings(records[row.visit_id], before))
    return told


def quickly(store: Store, **which: Any) -> dict[str, tuple[str, ...]]:
    """The same as the list has it."""
    return {
        row.visit_id: tuple(each.text for each in row.findings)
        for row in Review(store, lambda: LATER, **which).rows
    }


@pytest.mark.parametrize(
    "which", [{}, {"unsigned": True}, {"date": "2026-01-05"}, {"date": "2026-01-06"}], ids=str
)
def test_the_quick_list_equals_the_slow_one(store: Store, which: dict[str, Any]) -> None:
    """The first time, from kept briefs, and after a change to some of them."""
    wanted = slowly(store, **which)
    assert wanted
    assert quickly(store, **which) == wanted
    for visit_id in list(wanted)[:3]:
        number = store.db.execute(
            "SELECT number FROM confirmed_readings WHERE visit_id = ? LIMIT 1", [visit_id]
        ).fetchone()[0]
        store.amend(
            visit_id, at=LATER, by_name="Una Berg", reason="x", kind="value", number=number,
            value_tenths_mm=612,
        )  # fmt: skip
    changed = slowly(store, **which)
    assert changed != wanted
    assert quickly(store, **which) == changed


def test_a_brief_survives_the_store() -> None:
    """What is kept and read again is what was made, to the last bit of a fold."""
    for plain in visits(6):
        brief = brief_of(record_of(plain))
        assert Brief.from_plain(json.loads(json.dumps(brief.to_plain()))) == brief


def kept(store: Store) -> set[str]:
    """The visits with a brief."""
    return {row[0] for row in store.db.execute("SELECT visit_id FROM briefs")}


def test_an_entry_and_an_amendment_end_the_brief(store: Store) -> None:
    """Whichever program adds them; other visits keep theirs."""
    Review(store, lambda: LATER)
    every = kept(store)
    assert len(every) == 48
    first, second = sorted(every)[:2]
    store.amend(first, at=LATER, by_name="Una Berg", reason="x", kind="signed_off")
    with contextlib.closing(sqlite3.connect(store.path, isolation_level=None)) as other:
        other.execute(
            "INSERT INTO journal SELECT visit_id, max(sequence) + 1, at, source, words,"
            " confidence, alternatives, intent, facts FROM journal WHERE visit_id = ?",
            [second],
        )
    assert every - kept(store) == {first, second}


def test_a_brief_of_what_was_is_not_kept(store: Store) -> None:
    """Made while another program added to the visit, it is passed over."""
    review = Review(store, lambda: LATER)
    visit_id = review.rows[0].visit_id
    plain = store.visit_snapshot(visit_id)
    brief = {"x": 1}
    count = len(plain["journal"])
    for entries, amendments in ((count - 1, 0), (count, 7)):
        store.keep_briefs(RULES, [(visit_id, entries, amendments, brief)])
        assert visit_id not in kept(store)
    store.keep_briefs(RULES, [(visit_id, count, len(plain["amendments"]), brief)])
    assert store.briefs(RULES, [visit_id]) == {visit_id: brief}


def test_briefs_of_other_rules_are_made_anew(store: Store) -> None:
    """After an update of the program nothing is told by the old rules."""
    wanted = quickly(store)
    store.db.execute("UPDATE briefs SET rules = 0, brief = '{}'")
    assert quickly(store) == wanted
    assert store.briefs(RULES, sorted(wanted)).keys() == wanted.keys()


def test_a_list_is_shown_where_nothing_can_be_kept(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another program writes all the while: the list comes out the same."""
    wanted = quickly(store)
    store.db.execute("DELETE FROM briefs")
    with contextlib.closing(sqlite3.connect(store.path, isolation_level=None)) as other:
        store.db.execute("PRAGMA busy_timeout = 1")
        other.execute("BEGIN IMMEDIATE")
        assert quickly(store) == wanted
        other.execute("ROLLBACK")
    assert kept(store) == set()
    monkeypatch.setattr("capture.reviewing.MANY", 5)
    monkeypatch.setattr("capture.reviewing.AT_ONCE", 20)
    busy: list[tuple[int, int]] = []
    Review(store, lambda: LATER, busy=lambda *told: busy.append(told))
    assert busy == [(0, 48), (20, 48), (40, 48), (48, 48)]
    assert len(kept(store)) == 48


class Terminal(io.StringIO):
    """An error output that says it is a terminal."""

    def isatty(self) -> bool:
        """What a program asks before it writes over its own line."""
        return True


LINE = "Reading 48 visits for the first time; this happens once."


@pytest.mark.parametrize(
    ("output", "told"),
    [
        (io.StringIO, f"{LINE}\n"),
        (Terminal, "".join(f"\r\x1b[K{LINE} {part} %" for part in (0, 41, 83)) + "\r\x1b[K"),
    ],
    ids=["pipe", "terminal"],
)
def test_a_long_first_look_says_how_far_it_is(
    store: Store, monkeypatch: pytest.MonkeyPatch, output: type[io.StringIO], told: str
) -> None:
    """On a terminal in one line that goes away again; in a pipe it is told once."""
    monkeypatch.setattr("capture.reviewing.MANY", 5)
    monkeypatch.setattr("capture.reviewing.AT_ONCE", 20)
    monkeypatch.setattr("sys.stderr", output())
    monkeypatch.setattr("sys.stdin", io.StringIO("quit\n"))
    assert main(["review", "--all", "--store", str(store.path)]) == 0
    assert sys.stderr.getvalue() == told  # type: ignore[attr-defined]


def test_briefs_hold_no_name_and_leave_with_the_person(store: Store) -> None:
    """Erasing takes them along; in exports and merges they are not."""
    Review(store, lambda: LATER)
    client = store.clients()[4]
    text = "\n".join(row[0] for row in store.db.execute("SELECT brief FROM briefs"))
    assert not any(each.name.split()[0] in text for each in store.clients())
    erased = store.erase_client(client.id, at=LATER)
    assert erased == 4
    assert len(kept(store)) == 44
    assert "briefs" not in store.visit_snapshot(store.visits()[0].id)


def test_a_store_from_before_the_briefs_opens(tmp_path: Path) -> None:
    """Its visits are listed as those of any other store."""
    path = tmp_path / "old.db"
    with store_of_steps(path, 3):
        pass
    with open_store(path) as store:
        store.join(people(8), visits(8), named="chance", refuse_conflicts=True)
        assert quickly(store) == slowly(store)
        assert store.check() == ()


def entry(sequence: int, facts: list[Any], *readings: tuple[Any, ...]) -> dict[str, Any]:
    """One entry of a journal; readings as number, state, site, circuit, tenths of a mm."""
    names = ("number", "state", "site", "circuit", "value_tenths_mm")
    return {
        "sequence": sequence, "at": f"2026-05-04T09:30:{sequence:02d}+02:00", "source": "voice",
        "words": "words", "confidence": 0.71, "alternatives": [], "intent": {}, "facts": facts,
        "readings": [dict(zip(names, each, strict=True)) for each in readings],
    }  # fmt: skip


VISIT: dict[str, Any] = {
    "id": "x", "client_id": "y", "assessor_id": "z", "started_at": "2026-05-04T09:30:00+02:00",
    "plan": {"protocol": "three_sites_men"}, "program_version": "0", "results": [],
    "journal": [
        entry(1, [{"kind": "permission", "permission": "clothing", "granted": True}]),
        entry(2, [{"kind": "permission", "permission": "marks", "granted": False}]),
        entry(3, [{"kind": "doubt", "doubt": "pair", "other_tenths_mm": 500}],
              (3, "heard", "chest", 1, 150)),
        entry(4, [], (3, "confirmed", "chest", 1, 150)),
        entry(5, [], (5, "heard", "chest", 2, 200)),
        entry(6, [{"kind": "dwell", "dwell_s": 0.4}],
              (5, "replaced", "chest", 2, 200), (6, "heard", "chest", 2, 300)),
        entry(7, [], (6, "confirmed", "chest", 2, 300)),
        entry(8, [{"kind": "skipped", "site": "thigh", "circuit": 1, "reason": "too_thick"}]),
        entry(9, [{"kind": "through_cloth", "cloth_tenths_mm": 10, "net_tenths_mm": 180}],
              (9, "heard", "abdominal", 1, 200)),
        entry(10, [], (9, "confirmed", "abdominal", 1, 200)),
        entry(11, [], (11, "heard", "abdominal", 2, 200)),
        entry(12, [{"kind": "noted", "caution": "hot_skin"}, {"kind": "noted", "caution": "lotion"},
                   {"kind": "undone", "what": "caution", "site": "lotion"}]),
        entry(13, [{"kind": "remark", "text": "dry skin", "site": "chest", "circuit": 2}]),
        entry(14, [{"kind": "settled", "what": "wiped", "yes": False},
                   {"kind": "setup_changed", "site": "chest", "field": "side", "value": "left"},
                   {"kind": "put_off", "site": "thigh", "circuit": 1}]),
    ],
    "amendments": [
        {"id": "a", "at": "", "by_name": "B", "reason": "r", "kind": "withdrawn", "number": 5,
         "value_tenths_mm": None, "follows": [], "after_sign_off": True},
    ],
}  # fmt: skip

BY_RULES: dict[int, dict[str, Any]] = {
    3: {
        "started_at": "2026-05-04T09:30:00+02:00",
        "found": [
            ["permission not asked: touch", 12],
            ["permission refused: marks", 12],
            ["third outstanding: chest", 12],
            ["not all readings: abdominal", 4],
            ["never confirmed: abdominal 2", 4],
            ["skipped: thigh (too thick)", 4],
            ["through cloth: abdominal", 4],
            ["not as the protocol has it: chest left side, not right", 4],
            ["caliper not wiped", 4],
            ["put off: thigh, circuit 1", 1],
            ["doubtful: chest 1", 4],
            ["low confidence: 3, down to 71 %", 1],
            ["corrections: 1", 1],
            ["amended after sign-off: 1", 4],
            ["caution: hot skin", 1],
            ["chest 2 called 0.4 s after the jaws were on, too soon", 1],
            ["1 note", 1],
        ],
        "folds_mm": {"chest": 22.5, "abdominal": 18.0},
    }
}


def test_other_findings_need_another_number_of_rules() -> None:
    """If this fails, the same visit is told otherwise: raise RULES, then mend this list.

    Else stores in use go on showing the old findings.
    """
    assert brief_of(record_of(VISIT)).to_plain() == BY_RULES[RULES]
