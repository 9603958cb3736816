"""What was misheard once in a visit is asked about when it comes again."""

from dataclasses import replace
from typing import Any

import pytest

from capture.language.intents import Correct, Reading
from capture.protocol.plausibility import Doubt, DoubtKind
from capture.visit.replay import replay
from capture.visit.state import Visit
from tests.conftest import Desk

FORTY_SIX = Doubt(DoubtKind.MISHEARD, 460)


def misheard(desk: Any) -> list[Doubt]:
    """The doubts of the last read-back that come from mishearings before."""
    return [each for each in desk.told[-1].doubts if each.kind is DoubtKind.MISHEARD]


@pytest.mark.parametrize(
    "corrected",
    [
        ("thirty one", "no forty one", "yes"),
        ("thirty one", "no", "forty one", "yes"),
        ("thirty one", "no", "thirty one", "no", "forty one", "yes"),
        ("thirty one", "yes", "undo", "forty one", "yes"),
    ],
)
def test_a_word_that_was_corrected_is_asked_about(
    measuring: Any, corrected: tuple[str, ...]
) -> None:
    """However "thirty" became "forty": the next "thirty" could be one too."""
    measuring.say(*corrected, "thirty six")
    assert misheard(measuring) == [FORTY_SIX]
    fact = {"kind": "doubt", "doubt": "misheard", "other_tenths_mm": 460}
    assert fact in measuring.journal[-1].facts


def test_a_correction_by_key_teaches_the_same(measuring: Any) -> None:
    """The helper keys what the assessor said."""
    measuring.say("thirty one")
    measuring.key(Correct(410))
    measuring.say("yes", "thirty six")
    assert misheard(measuring) == [FORTY_SIX]


def test_what_is_keyed_is_not_misheard(measuring: Any) -> None:
    """A typed thirty six is no forty six, and a typed value that is corrected teaches nothing."""
    measuring.say("thirty one", "no forty one", "yes")
    measuring.key(Reading(360))
    assert misheard(measuring) == []
    measuring.say("no", "twenty two", "yes")
    measuring.key(Reading(520))
    measuring.key(Correct(620))
    measuring.say("yes", "fifty two")
    assert misheard(measuring) == []


@pytest.mark.parametrize(
    "before",
    [
        ("forty one", "yes"),
        ("thirty one", "no"),
        ("thirty one", "no", "forty two", "yes"),
        ("thirty one", "no", "eleven", "yes"),
    ],
)
def test_nothing_else_is_asked_about(measuring: Any, before: tuple[str, ...]) -> None:
    """Nothing was corrected, not yet, or the two differ in more than one word."""
    measuring.say(*before, "thirty six")
    assert misheard(measuring) == []


def test_a_value_that_was_asked_about_teaches_nothing(measuring: Any) -> None:
    """The doubt did its work: the rival was named."""
    measuring.say("thirty one", confidence=0.6, rivals=("forty one",))
    measuring.say("no forty one", "yes", "thirty six")
    assert misheard(measuring) == []


def test_the_other_way_round_is_not_asked_about(measuring: Any) -> None:
    """Thirty was heard for forty; nothing is known of forty for thirty."""
    measuring.say("thirty one", "no forty one", "yes", "forty six")
    assert misheard(measuring) == []


def test_a_rival_is_named_once(measuring: Any) -> None:
    """The recogniser's own rival is the same value."""
    measuring.say("thirty one", "no forty one", "yes")
    measuring.say("thirty six", confidence=0.6, rivals=("forty six",))
    others = [each.other_tenths_mm for each in measuring.told[-1].doubts]
    assert others.count(460) == 1


def test_visits_of_before_replay_by_their_own_rules(measuring: Any, plan: Any) -> None:
    """A visit of rules 2 did not ask; its journal is followed without the question."""
    calls = ("thirty one", "no forty one", "yes", "thirty six", "yes")
    measuring.say(*calls)
    assert replay(measuring.plan, measuring.journal) == measuring.visit
    old = Desk(measuring.grammar, replace(plan, rules=2)).marked()
    old.say(*calls)
    assert not any("misheard" in str(each.facts) for each in old.journal)
    assert replay(old.plan, old.journal) == old.visit != Visit(old.plan)
