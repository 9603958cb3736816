"""The dwell cue and notes: from the call to the journal, the review and the exports, and back."""

import csv
import io
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from capture.exchange.document import document_lines, read_document
from capture.exchange.table import table_lines
from capture.exchange.table_read import read_table
from capture.language.intents import JawsOn, Reading, Remark, TakeNote
from capture.protocol.dwell import Dwelt
from capture.recognise.port import UNKNOWN
from capture.recognise.scripted import spoken
from capture.report.deviations import deviations
from capture.report.record import record_of
from capture.report.remarks import remark_lines
from capture.store import open_store
from capture.visit.course import listening_rule
from capture.visit.replay import replay
from capture.visit.state import NotedRemark, Visit
from tests.conftest import NOON, Desk


def held(desk: Desk, value_tenths_mm: int, dwell_s: float | None) -> Desk:
    """A reading so long after the cue, with its yes."""
    desk.road.key(Reading(value_tenths_mm), "keys", dwell_s)
    return desk.say("yes")


def test_the_time_from_the_cue_stays_with_the_reading(measuring: Desk) -> None:
    """In tenths of a second; None where there was no cue; and a replay comes to the same."""
    held(measuring, 84, 2.34)
    held(measuring, 112, None)
    assert [each.dwell_s for each in measuring.visit.readings] == [2.3, None]
    assert replay(measuring.plan, measuring.journal) == measuring.visit


@pytest.mark.parametrize(
    ("dwell_s", "mark"),
    [(0.9, Dwelt.TOO_SOON), (1.0, Dwelt.IN_TIME), (4.0, Dwelt.IN_TIME), (4.1, Dwelt.LATE)],
)
def test_a_call_out_of_time_is_marked(measuring: Desk, dwell_s: float, mark: Dwelt) -> None:
    """Sooner than one second, or later than four."""
    held(measuring, 84, dwell_s)
    assert measuring.visit.readings[0].dwell is mark


def test_the_cue_is_no_call(measuring: Desk) -> None:
    """It is in the journal; nothing is asked or said, so that the call can follow at once."""
    before = measuring.visit
    measuring.say("holding")
    assert measuring.told == []
    assert measuring.journal[-1].facts[0] == {"kind": "jaws_on"}
    assert replace(measuring.visit, sequence=before.sequence) == before
    measuring.say("eight point four").key(JawsOn())
    assert measuring.visit.pending is not None


def test_what_follows_the_word_is_a_note_and_no_reading(measuring: Desk) -> None:
    """Nothing but undo and stop is listened for; whatever else is said is the note."""
    measuring.say("make a note")
    assert listening_rule(measuring.visit) == "noting"
    measuring.road.hear(spoken(UNKNOWN))
    assert measuring.visit.readings == ()
    assert isinstance(measuring.visit.done[-1], NotedRemark)
    assert listening_rule(measuring.visit) == "reading_wanted"
    assert measuring.road.visit == replay(measuring.plan, measuring.journal)


@pytest.mark.parametrize("word", ["undo"])
def test_a_note_can_be_given_up(measuring: Desk, word: str) -> None:
    """The visit is where it was, and what counted before still does."""
    held(measuring, 84, None).say("make a note", word)
    assert listening_rule(measuring.visit) == "reading_wanted"
    assert [each.value_tenths_mm for each in measuring.visit.confirmed] == [84]


def test_a_key_ends_the_wait_for_a_note(measuring: Desk) -> None:
    """A value that is typed meanwhile is a reading."""
    measuring.key(TakeNote(), Reading(84))
    assert measuring.visit.pending is not None
    assert not measuring.visit.noting


def test_a_typed_note_is_taken_back_by_undo(measuring: Desk) -> None:
    """As everything that counts is."""
    measuring.key(Remark("skin dry"))
    assert measuring.visit.done[-1] == NotedRemark(measuring.visit.sequence, "skin dry", NOON)
    measuring.say("undo")
    assert not any(isinstance(each, NotedRemark) for each in measuring.visit.done)


def test_other_speech_is_no_note(measuring: Desk) -> None:
    """Unless one was asked for, it leads to nothing."""
    measuring.road.hear(spoken(UNKNOWN))
    assert len(measuring.ignored_calls) == 1


@pytest.fixture
def kept(measuring: Desk, tmp_path: Path) -> tuple[dict[str, Any], dict[str, Any], list[Any]]:
    """A stored visit with a reading too soon, one in time and one without a cue, and a note."""
    held(measuring, 84, 0.4)
    measuring.key(Remark("=dry skin"))
    held(held(measuring, 112, 2.5), 106, None)
    with open_store(tmp_path / "a.db") as store:
        client = store.add_client("Ada Moss", sex="female", at=NOON)
        assessor = store.add_assessor("Bo Lind", at=NOON)
        row = store.begin_visit(
            client.id, assessor.id, at=NOON, plan=measuring.plan.to_plain(), program_version="1"
        )
        for entry in measuring.journal:
            store.append(row.id, entry)
        seen = list(store.db.query("SELECT site, dwell_s FROM confirmed_readings ORDER BY number"))
        return store.people_snapshot(), store.visit_snapshot(row.id), seen


def test_the_review_tells_the_mark_and_the_note(kept: Any) -> None:
    """Only the reading out of time is a deviation."""
    record = record_of(kept[1])
    assert [each for each in deviations(record) if "jaws" in each] == [
        "Out of time: chest 1 called 0.4 s after the jaws were on, too soon."
    ]
    assert remark_lines(record) == ("12:00, midaxillary 1: =dry skin",)


def test_the_store_shows_the_dwell(kept: Any) -> None:
    """In the view that opens in any browser of SQLite files."""
    assert [each["dwell_s"] for each in kept[2]] == [0.4, 2.5, None]


def test_the_dwell_outlives_a_table(kept: Any) -> None:
    """Written to CSV and read again; and tables of before are read as well."""
    people, visit, _ = kept
    lines = list(table_lines(people, [visit]))
    (back,) = read_table("".join(lines))["visits"]
    assert [each.dwell_s for each in record_of(back).readings] == [0.4, 2.5, None]


def test_a_table_of_before_the_dwell_is_read(kept: Any) -> None:
    """Its readings have none; what else it holds is as it was."""
    people, visit, _ = kept
    rows = list(csv.reader(io.StringIO("".join(table_lines(people, [visit])))))
    gone, written = rows[0].index("dwell_s"), io.StringIO()
    csv.writer(written).writerows([*row[:gone], *row[gone + 1 :]] for row in rows)
    (back,) = read_table(written.getvalue())["visits"]
    assert [each.dwell_s for each in record_of(back).readings] == [None, None, None]
    assert len(record_of(back).trials("chest")) == 1


def test_all_outlives_a_json_export(kept: Any) -> None:
    """Every fact of the journal is in it."""
    people, visit, _ = kept
    (back,) = read_document("\n".join(document_lines(people, [visit])))["visits"]
    assert back["journal"] == visit["journal"]


def test_an_old_journal_replays(measuring: Desk) -> None:
    """A visit of before the dwell was kept has none of these facts."""
    measuring.say("eight point four", "yes")
    kinds = {fact["kind"] for entry in measuring.journal for fact in entry.facts}
    assert "dwell" not in kinds
    assert replay(measuring.plan, measuring.journal) == measuring.visit
    assert isinstance(measuring.visit, Visit)
