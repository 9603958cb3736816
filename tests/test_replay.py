"""A visit rebuilt from its journal."""

import json
from dataclasses import replace
from typing import Any

import pytest

from capture.protocol.protocol import Tolerance
from capture.visit.entry import ReadingFact, ReadingState
from capture.visit.replay import ReplayError, replay
from capture.visit.state import Plan, Visit


def test_an_empty_journal_is_a_visit_at_its_beginning(plan: Plan) -> None:
    """Nothing recorded, nothing happened."""
    assert replay(plan, []) == Visit(plan)


def test_a_whole_visit(finished: Any) -> None:
    """Every prefix of a journal leads to the state the visit was in then."""
    finished.say("undo", "nine point two", "no", "ten", "correction nine", "pause", "resume", "yes")
    finished.say("sign off")
    assert replay(finished.plan, finished.journal) == finished.visit
    assert finished.visit.signed_at is not None


def test_a_plan_survives_the_store(plan: Plan) -> None:
    """Protocol, caliper, sex and age come back the same."""
    assert Plan.from_plain(json.loads(json.dumps(plan.to_plain()))) == plan
    by_id = {key: value for key, value in plan.to_plain().items() if key != "protocol_rules"}
    assert Plan.from_plain(by_id) == plan
    with pytest.raises(KeyError):
        Plan.from_plain(by_id | {"protocol": "banana"})


def test_a_changed_protocol_leaves_old_visits_alone(plan: Plan) -> None:
    """A plan in the store holds its whole protocol, whatever a file of that name says later."""
    own = replace(plan.protocol, sites=plan.protocol.sites[::-1], tolerance=Tolerance(10, 5))
    stored = json.loads(json.dumps(replace(plan, protocol=own).to_plain()))
    assert stored["protocol"] == "seven_sites"
    assert Plan.from_plain(stored).protocol == own


def damaged(journal: list[Any], how: str) -> list[Any]:
    """The journal with one entry changed."""
    entry = journal[-2]
    assert entry.readings
    intent = dict(entry.intent)
    match how:
        case "value":
            changed = replace(entry, intent=intent | {"value_tenths_mm": 500})
        case "fact":
            fact = ReadingFact(entry.sequence, ReadingState.HEARD, "chest", 2, 500)
            changed = replace(entry, readings=(fact,))
        case "doubt":
            changed = replace(entry, facts=({"kind": "doubt"},))
        case "kind":
            changed = replace(entry, intent={"kind": "banana"})
        case "field":
            changed = replace(entry, intent={"kind": "reading", "colour": "red"})
        case "rival":
            changed = replace(entry, alternatives=({"confidence": 0.5},))
        case _:
            changed = replace(entry, sequence=entry.sequence + 1)
    return [*journal[:-2], changed, journal[-1]]


@pytest.mark.parametrize("how", ["value", "fact", "doubt", "kind", "field", "rival", "sequence"])
def test_a_damaged_journal_is_not_guessed_at(halfway: Any, how: str) -> None:
    """A journal whose calls do not lead to what it records is refused, entry named, with advice."""
    halfway.say("eight point two", "yes")
    with pytest.raises(ReplayError) as caught:
        replay(halfway.plan, damaged(halfway.journal, how))
    sequence = halfway.journal[-2].sequence + (how == "sequence")
    assert f"Journal entry {sequence} " in caught.value.message
    assert "nothing was changed" in caught.value.hint


@pytest.mark.parametrize("cut", [slice(1, None), slice(None, None, -1)], ids=["first", "order"])
def test_a_journal_must_be_whole_and_in_order(halfway: Any, cut: slice) -> None:
    """A journal without its first entry, or turned round, is refused."""
    with pytest.raises(ReplayError):
        replay(halfway.plan, halfway.journal[cut])


def test_a_missing_entry_is_noticed(halfway: Any) -> None:
    """A gap in the middle is refused even if the calls around it would fit."""
    halfway.say("repeat", "repeat", "eight")
    gap = [entry for entry in halfway.journal if entry.sequence != halfway.visit.sequence - 1]
    with pytest.raises(ReplayError):
        replay(halfway.plan, gap)
