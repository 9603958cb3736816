"""A reading's life: heard, read back, confirmed, corrected, dropped, refused."""

from typing import Any

import pytest

from capture.language.grammar import LISTENING
from capture.language.intents import (
    Confirm,
    Correct,
    NotUnderstood,
    Pause,
    Reading,
    Refuse,
    Repeat,
    Resume,
    WhyNot,
)
from capture.protocol.plausibility import Doubt, DoubtKind
from capture.visit.announcement import (
    AskReading,
    Dropped,
    Paused,
    ReadBack,
    Refused,
    Saved,
    SayAgain,
    Why,
)
from capture.visit.entry import ReadingState, Source


def states(desk: Any) -> list[tuple[int, ReadingState]]:
    """Every reading ever heard, with what became of it."""
    return [(each.value_tenths_mm, each.state) for each in desk.visit.readings]


def test_a_reading_counts_only_after_its_yes(measuring: Any) -> None:
    """Heard, read back, confirmed: only then is it saved, and the next site is asked."""
    measuring.say("eight point four")
    assert measuring.told == [ReadBack("chest", 1, 84, ())]
    assert measuring.visit.confirmed == ()
    assert measuring.visit.trials("chest") == ()
    measuring.say("yes")
    assert measuring.told == [Saved("chest", 84), AskReading("midaxillary", 1, third=False)]
    assert measuring.visit.trials("chest") == (84,)


@pytest.mark.parametrize("yes", ["yes", "confirm"])
def test_words_that_confirm(measuring: Any, yes: str) -> None:
    """Either word saves what was read back."""
    assert measuring.say("eight", yes).visit.trials("chest") == (80,)


def test_no_drops_and_asks_the_same_site_again(measuring: Any) -> None:
    """A refused value is kept in the journal and counts for nothing."""
    measuring.say("eight", "no")
    assert measuring.told == [Dropped("chest"), AskReading("chest", 1, third=False)]
    assert states(measuring) == [(80, ReadingState.DROPPED)]


@pytest.mark.parametrize("no", ["no", "correction"])
def test_a_correction_in_one_breath_is_read_back_too(measuring: Any, no: str) -> None:
    """Saying "No, fifty" replaces fifteen; fifty still needs its own yes; both are kept."""
    measuring.say("fifteen", f"{no} twenty two")
    assert measuring.told == [ReadBack("chest", 1, 220, ())]
    assert states(measuring) == [(150, ReadingState.REPLACED), (220, ReadingState.HEARD)]
    assert measuring.visit.confirmed == ()
    measuring.say("yes")
    assert measuring.visit.trials("chest") == (220,)
    assert [fact.state.value for fact in measuring.journal[-2].readings] == ["replaced", "heard"]


def test_a_correction_by_key_does_the_same(measuring: Any) -> None:
    """A number typed at a read-back replaces it, whether as correction or as bare reading."""
    measuring.say("fifteen").key(Correct(220), Reading(222))
    assert states(measuring)[-1] == (222, ReadingState.HEARD)
    assert measuring.key(Confirm()).visit.trials("chest") == (222,)
    assert measuring.visit.confirmed[0].source is Source.KEYPAD


def test_a_correction_of_nothing_is_refused(measuring: Any) -> None:
    """Where nothing waits there is nothing to correct, to confirm or to refuse."""
    for intent in (Correct(100), Confirm(), Refuse()):
        measuring.key(intent)
        assert measuring.told == [Refused(Why.NOT_NOW), AskReading("chest", 1, third=False)]
    assert measuring.visit.readings == ()


@pytest.mark.parametrize(
    ("said", "why", "value"),
    [
        ("twelve and a half", Why.OFF_SCALE, 125),
        ("eighty point two", Why.BEYOND_OPENING, 802),
        ("ninety nine point nine", Why.BEYOND_OPENING, 999),
    ],
)
def test_what_the_caliper_cannot_show_is_refused(
    measuring: Any, said: str, why: Why, value: int
) -> None:
    """A dial in 0.2 mm steps to 80 mm shows neither 12.5 nor 80.2; nothing waits afterwards."""
    measuring.say(said)
    assert measuring.told[0] == Refused(why, "chest", value)
    assert measuring.visit.readings == ()
    assert measuring.visit.pending is None


def test_the_widest_opening_is_still_a_reading(measuring: Any) -> None:
    """Eighty millimetres is the last mark; it is taken, with a question."""
    (read_back,) = measuring.say("eighty").told
    assert read_back.value_tenths_mm == 800
    assert Doubt(DoubtKind.UNUSUAL) in read_back.doubts


def test_a_correction_that_the_caliper_cannot_show(measuring: Any) -> None:
    """It is refused by name and never saved."""
    measuring.say("eight", "no twelve and a half")
    assert measuring.told[0] == Refused(Why.OFF_SCALE, "chest", 125)
    assert measuring.visit.confirmed == ()
    assert all(each.value_tenths_mm != 125 for each in measuring.visit.readings)


@pytest.mark.parametrize(
    "correction",
    ["no twelve and a half", "no ninety", "no fifteen five", "no one hundred", "no twelve point"],
    ids=["off the scale", "beyond the opening", "lost point", "out of range", "unfinished"],
)
def test_the_no_of_a_correction_holds_even_if_its_number_does_not(
    measuring: Any, correction: str
) -> None:
    """A hasty yes afterwards cannot save the value that was refused."""
    measuring.say("fifty", correction)
    assert states(measuring) == [(500, ReadingState.DROPPED)]
    measuring.say("yes")
    assert measuring.visit.confirmed == ()
    assert measuring.visit.pending is None


@pytest.mark.parametrize("rest", ["point five", "and a half"])
def test_a_rest_that_comes_late_refuses_what_was_read_back(measuring: Any, rest: str) -> None:
    """Of "twelve ... point five" only twelve was read back: it must not wait for a yes."""
    measuring.say("twelve", rest)
    assert states(measuring) == [(120, ReadingState.DROPPED)]
    assert SayAgain(NotUnderstood(WhyNot.UNFINISHED, refuses=True)) in measuring.told
    measuring.say(rest)
    assert measuring.visit.pending is None


@pytest.mark.parametrize(
    ("confidence", "rivals"),
    [(0.36, ("no", "no fifty")), (0.6, ()), (0.85, ("no",))],
    ids=["two rivals", "unsure", "sure, with a close rival"],
)
def test_a_yes_that_was_not_heard_clearly_saves_nothing(
    measuring: Any, confidence: float, rivals: tuple[str, ...]
) -> None:
    """The reading goes on waiting, and the program asks for the word once more."""
    measuring.say("eight").say("yes", confidence=confidence, rivals=rivals)
    assert measuring.told[0] == Refused(Why.UNCLEAR)
    assert states(measuring) == [(80, ReadingState.HEARD)]
    measuring.say("yes")
    assert states(measuring) == [(80, ReadingState.CONFIRMED)]


def test_two_ways_to_say_yes_are_one_meaning(measuring: Any) -> None:
    """A rival that means the same does not make a yes doubtful."""
    measuring.say("eight").say("yes", confidence=0.6, rivals=("confirm",))
    assert states(measuring) == [(80, ReadingState.CONFIRMED)]


def test_a_rival_that_names_another_site_is_a_doubt(measuring: Any) -> None:
    """The number is the same, but where it belongs was not heard clearly."""
    (read_back,) = measuring.say("chest nine", confidence=0.85, rivals=("thigh nine",)).told
    assert read_back.doubts == (Doubt(DoubtKind.UNSURE),)


def test_an_unclear_call_leaves_the_read_back_waiting(measuring: Any) -> None:
    """What is not understood changes nothing, and the read-back is said again."""
    measuring.say("eight", "twelve twelve twelve")
    again, read_back = measuring.told
    assert isinstance(again, SayAgain)
    assert read_back == ReadBack("chest", 1, 80, ())
    assert states(measuring) == [(80, ReadingState.HEARD)]


def test_repeat_says_the_read_back_again(measuring: Any) -> None:
    """Saying "Say again" changes nothing."""
    before = measuring.say("fifteen").told[0]
    for call in ("repeat", "say again"):
        assert measuring.say(call).told == [before]
    assert measuring.key(Repeat()).told == [before]


def test_one_reading_waits_at_a_time(measuring: Any) -> None:
    """A value for another site is refused while one waits; one for the same site replaces it."""
    measuring.key(Reading(80), Reading(120, "thigh"))
    assert measuring.told == [Refused(Why.OTHER_PENDING, "chest"), ReadBack("chest", 1, 80, ())]
    measuring.key(Reading(82, "chest"))
    assert states(measuring) == [(80, ReadingState.REPLACED), (82, ReadingState.HEARD)]


def test_a_pause_listens_for_resume_only(measuring: Any) -> None:
    """Nothing is taken in a pause, by voice or keys; resume asks the same question again."""
    measuring.say("pause")
    assert measuring.told == [Paused()]
    assert measuring.road.listening == LISTENING + "paused"
    measuring.say("twelve")
    measuring.key(Reading(120), Confirm())
    assert measuring.told == [Refused(Why.NOT_NOW), Paused()]
    assert measuring.visit.readings == ()
    assert measuring.say("resume").told == [AskReading("chest", 1, third=False)]


def test_a_reading_waits_through_a_pause(measuring: Any) -> None:
    """What waited before the pause is read back after it, before any yes can count."""
    measuring.say("eight").key(Pause(), Confirm())
    assert measuring.visit.confirmed == ()
    assert measuring.key(Resume()).told == [ReadBack("chest", 1, 80, ())]


# Doubts


def doubts(desk: Any) -> tuple[Doubt, ...]:
    """The doubts of the last read-back."""
    return desk.told[-1].doubts  # type: ignore[no-any-return]


def test_a_close_runner_up_is_asked_about(measuring: Any) -> None:
    """Heard "twelve" with "twenty" close behind: both are named."""
    measuring.say("twelve", confidence=0.7, rivals=("twenty",))
    assert doubts(measuring) == (Doubt(DoubtKind.RIVAL, 200),)
    fact = {"kind": "doubt", "doubt": "rival", "other_tenths_mm": 200}
    assert [each for each in measuring.journal[-1].facts if each["kind"] == "doubt"] == [fact]


def test_a_runner_up_that_means_the_same_is_no_doubt(measuring: Any) -> None:
    """A rival "one two" of "twelve" is the same value twice, and adds to its certainty."""
    measuring.say("twelve", confidence=0.5, rivals=("one two",))
    assert doubts(measuring) == ()


def test_a_runner_up_that_is_no_number_leaves_the_call_unclear(measuring: Any) -> None:
    """A rival without a value cannot be named, but the call is doubtful."""
    measuring.say("twelve", confidence=0.6, rivals=("twelve five",))
    assert doubts(measuring) == (Doubt(DoubtKind.UNSURE),)


def test_keys_are_not_misheard(measuring: Any) -> None:
    """A typed fifteen is not asked about as fifty; a typed value out of range is."""
    measuring.say("thirty", "yes", "thirty", "yes", "thirty", "yes")
    measuring.key(Reading(500))
    assert doubts(measuring) == ()
    measuring.key(Correct(20))
    assert doubts(measuring) == (Doubt(DoubtKind.UNUSUAL),)


def test_fifteen_is_asked_about_where_fifty_is_usual(measuring: Any) -> None:
    """At the midaxillary site both are usual, and the first circuit has nothing to go by."""
    measuring.say("eight", "yes", "fifteen")
    assert doubts(measuring) == (Doubt(DoubtKind.SOUNDS_ALIKE, 500),)


def test_a_correction_is_doubted_like_a_reading(measuring: Any) -> None:
    """Saying "No, fifty" is asked about as well."""
    measuring.say("eight", "yes", "sixteen", "no fifty")
    assert doubts(measuring) == (Doubt(DoubtKind.SOUNDS_ALIKE, 150),)


def test_the_history_of_the_site_decides_in_the_second_circuit(halfway: Any) -> None:
    """After 8.4 in the first circuit, "eight" fits and "five" points to nine."""
    halfway.say("five")
    assert Doubt(DoubtKind.SOUNDS_ALIKE, 90) in doubts(halfway)
    assert Doubt(DoubtKind.DIFFERS, 84) in doubts(halfway)
    halfway.say("no eight")
    assert doubts(halfway) == ()


def test_a_doubtful_reading_is_saved_by_an_explicit_yes_only(halfway: Any) -> None:
    """Repeats, unclear calls and pauses do not save it."""
    halfway.say("fifty", "repeat", "mumble mumble").key(Pause(), Resume())
    assert len(halfway.visit.confirmed) == 7
    assert halfway.visit.pending.doubts
    halfway.say("yes")
    assert halfway.visit.trials("chest") == (84, 500)
