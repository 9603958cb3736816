"""Undo: what waits goes first, then the last thing that counted, one at a time."""

from typing import Any

from capture.language.intents import Skip, SkipReason, Undo
from capture.visit.announcement import (
    AskPermission,
    AskReading,
    AskTape,
    Dropped,
    Refused,
    Undone,
    Why,
)
from capture.visit.entry import ReadingState


def test_nothing_to_take_back(desk: Any) -> None:
    """At the very beginning there is nothing to undo."""
    desk.say("undo")
    assert desk.told == [Refused(Why.NOTHING_TO_UNDO), AskPermission("clothing")]


def test_a_value_that_waits_is_dropped(measuring: Any) -> None:
    """Undo at a read-back drops the value and touches nothing that counts."""
    measuring.say("eight", "yes", "eleven", "undo")
    assert measuring.told == [Dropped("midaxillary"), AskReading("midaxillary", 1, third=False)]
    assert measuring.visit.trials("chest") == (80,)


def test_a_saved_reading_is_taken_back(measuring: Any) -> None:
    """The last saved value no longer counts, is kept as undone, and its site is asked again."""
    measuring.say("eight", "yes", "eleven", "yes", "undo")
    assert measuring.told == [
        Undone("reading", "midaxillary", 110),
        AskReading("midaxillary", 1, third=False),
    ]
    assert [(each.value_tenths_mm, each.state) for each in measuring.visit.readings] == [
        (80, ReadingState.CONFIRMED),
        (110, ReadingState.UNDONE),
    ]
    assert [fact.state.value for fact in measuring.journal[-1].readings] == ["undone"]


def test_the_site_taken_back_is_asked_even_out_of_turn(measuring: Any) -> None:
    """A site that was measured out of turn and taken back is asked again at once."""
    measuring.say("thigh nine", "yes", "undo")
    assert measuring.told[-1] == AskReading("thigh", 1, third=False)


def test_across_the_circuits(halfway: Any) -> None:
    """The last fold of the first circuit can be taken back from the second."""
    halfway.say("undo")
    assert halfway.told == [
        Undone("reading", "thigh", 90),
        AskReading("thigh", 1, third=False),
    ]


def test_from_the_end(finished: Any) -> None:
    """When all is measured, the last reading can be taken back and measured anew."""
    finished.say("undo", "nine point two", "yes")
    assert finished.visit.trials("thigh") == (90, 92)


def test_a_reading_taken_back_before_is_not_taken_back_twice(measuring: Any) -> None:
    """Each undo goes one step further back."""
    measuring.say("eight", "yes", "eleven", "yes", "undo", "undo")
    assert measuring.told[0] == Undone("reading", "chest", 80)
    assert measuring.visit.confirmed == ()


def test_a_skip_is_taken_back(measuring: Any) -> None:
    """A site that was left out by mistake is asked again."""
    measuring.say("skip skin", "undo")
    assert measuring.told == [Undone("skip", "chest"), AskReading("chest", 1, third=False)]
    assert measuring.visit.skips == ()


def test_a_tape_mark_is_taken_back(desk: Any) -> None:
    """A confirmed mark no longer counts, and its length is asked again."""
    desk.permitted().say("seven", "yes", "undo")
    assert desk.told == [Undone("tape", "chest"), AskTape("chest")]
    assert desk.visit.marks == ()


def test_a_tape_length_that_waits_is_dropped(desk: Any) -> None:
    """Undo at a tape's read-back drops the length."""
    desk.permitted().say("seven", "undo")
    assert desk.told == [Dropped("chest"), AskTape("chest")]


def test_the_skip_of_a_tape_does_not_change_the_order_of_the_folds(desk: Any) -> None:
    """Taking back the skip of the thigh's tape leaves the chest the first fold."""
    desk.permitted().say("seven", "yes", "seven", "yes", "skip unable", "undo")
    assert desk.told == [Undone("skip", "thigh"), AskTape("thigh")]
    assert desk.say("nineteen", "yes").told[-1] == AskReading("chest", 1, third=False)


def test_all_the_way_back(finished: Any) -> None:
    """Undo after undo leads back to the first permission, and nothing is left that counts."""
    steps = 0
    while finished.key(Undo()).told[0] != Refused(Why.NOTHING_TO_UNDO):
        steps += 1
    assert steps == 14 + 3 + 3
    assert finished.visit.confirmed == finished.visit.done == ()
    assert len(finished.visit.readings) == 14
    assert finished.told[-1] == AskPermission("clothing")


def test_undo_leaves_a_skip_of_the_whole_site_in_one_step(measuring: Any) -> None:
    """A skip that held for both circuits is taken back as one."""
    measuring.key(Skip(SkipReason.REFUSED), Undo())
    measuring.circuit(*["twelve"] * 14)
    assert measuring.visit.trials("chest") == (120, 120)
