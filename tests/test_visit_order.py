"""Which site comes next: order, circuits, thirds, sites called out of turn and left out."""

from typing import Any

import pytest

from capture.language.intents import GoTo, Reading, SignOff, Skip, SkipReason
from capture.visit.announcement import (
    AllMeasured,
    AskReading,
    ReadBack,
    Refused,
    Signed,
    Skipped,
    Why,
)
from capture.visit.course import next_target
from capture.visit.entry import ReadingState
from capture.visit.state import Target

SITES = ("chest", "midaxillary", "triceps", "subscapular", "abdominal", "suprailiac", "thigh")


def walk(desk: Any) -> list[tuple[str, int]]:
    """Measure all that is asked with twelve millimetres; the sites and circuits in order."""
    asked = []
    while (target := next_target(desk.visit)) is not None:
        asked.append((target.site, target.circuit))
        desk.say("twelve", "yes")
    return asked


def test_two_circuits_in_the_protocols_order(measuring: Any) -> None:
    """All sites once, then all sites again, so that each fold can recover."""
    expected = [(site, circuit) for circuit in (1, 2) for site in SITES]
    assert walk(measuring) == expected
    assert measuring.told[-1] == AllMeasured()
    assert measuring.say("sign off").told == [Signed()]
    assert measuring.road.listening is None


def test_signing_off_needs_all_measured(measuring: Any) -> None:
    """With a fold left to measure, the visit cannot be closed."""
    measuring.key(SignOff())
    assert measuring.told == [Refused(Why.NOT_NOW), AskReading("chest", 1, third=False)]
    assert measuring.visit.signed_at is None


def test_nothing_changes_after_sign_off(finished: Any) -> None:
    """A closed visit takes nothing more, by voice or by keys; keys are told so."""
    finished.say("sign off", "undo", "twelve")
    assert finished.visit.signed_at == finished.now
    assert len(finished.ignored_calls) == 2
    before = finished.visit.confirmed
    finished.key(Reading(120, "chest"), Skip(SkipReason.SKIN))
    assert finished.told == [Refused(Why.NOT_NOW), Signed()]
    assert finished.visit.confirmed == before


def test_a_third_is_due_where_two_disagree(halfway: Any) -> None:
    """After both circuits, only the sites whose two readings differ too much come once more."""
    second = ["eight", "eleven", "thirteen", "fourteen", "twenty two", "eleven", "fourteen"]
    halfway.circuit(*second)
    assert halfway.told[-1] == AskReading("triceps", 3, third=True)
    halfway.say("thirteen point two", "yes")
    assert halfway.told[-1] == AskReading("thigh", 3, third=True)
    halfway.say("ten", "yes")
    assert halfway.told[-1] == AllMeasured()
    assert halfway.visit.trials("triceps") == (106, 130, 132)
    assert halfway.visit.trials("thigh") == (90, 140, 100)


def test_a_third_is_the_last(halfway: Any) -> None:
    """A third that agrees with neither of the others settles it all the same."""
    second = ["fourteen", "eleven", "ten", "fourteen", "twenty two", "eleven", "nine"]
    halfway.circuit(*second).say("twenty two", "yes")
    assert halfway.visit.trials("chest") == (84, 140, 220)
    assert halfway.told[-1] == AllMeasured()


def test_only_the_site_just_measured_is_left(halfway: Any) -> None:
    """If the last site alone needs a third, the assessor is told to wait for the fold."""
    second = ["eight", "eleven", "ten", "fourteen", "twenty two", "eleven", "fourteen"]
    halfway.circuit(*second)
    assert halfway.told[-1] == AskReading("thigh", 3, third=True, same_again=True)


def test_a_site_named_with_its_value_is_taken_out_of_turn(measuring: Any) -> None:
    """Saying "Thigh nine" measures the thigh now; the order goes on from the start, without it."""
    measuring.say("thigh nine")
    assert measuring.told == [ReadBack("thigh", 1, 90, ())]
    measuring.say("yes")
    assert walk(measuring)[:7] == [*((site, 1) for site in SITES[:-1]), ("chest", 2)]


def test_go_to_asks_another_site_next(measuring: Any) -> None:
    """Saying "Go to thigh" asks the thigh once; then the order goes on from where it was."""
    measuring.say("eight", "yes", "go to thigh")
    assert measuring.told == [AskReading("thigh", 1, third=False)]
    assert measuring.say("nine", "yes").told[-1] == AskReading("midaxillary", 1, third=False)
    assert [each.target.site for each in measuring.visit.confirmed] == ["chest", "thigh"]


def test_a_refused_value_keeps_the_site_that_was_chosen(measuring: Any) -> None:
    """After "no" at the thigh, the thigh is asked again, not the chest."""
    measuring.say("go to thigh", "nine", "no")
    assert measuring.told[-1] == AskReading("thigh", 1, third=False)


@pytest.mark.parametrize("call", ["go to chest", "chest eight"])
def test_a_fold_that_is_done_in_this_circuit(measuring: Any, call: str) -> None:
    """A site is not measured again before the others of its circuit are done."""
    measuring.say("eight", "yes", "eleven", "yes", call)
    assert measuring.told[0].why is Why.ALREADY_DONE
    assert measuring.told[-1] == AskReading("triceps", 1, third=False)


@pytest.mark.parametrize("intent", [GoTo("thigh"), Reading(90, "thigh")], ids=["go to", "reading"])
def test_the_fold_just_measured_must_recover(halfway: Any, intent: Any) -> None:
    """Right after the thigh of the first circuit, the thigh of the second is refused."""
    halfway.key(intent)
    assert halfway.told[0].why is Why.JUST_MEASURED
    assert halfway.told[-1] == AskReading("chest", 2, third=False)


def test_an_order_turned_round_still_lifts_no_fold_twice_running(measuring: Any) -> None:
    """If the chest was the last of the first circuit, the second begins elsewhere."""
    for site in reversed(SITES):
        measuring.say(f"{site} twelve", "yes")
    assert measuring.told[-1] == AskReading("midaxillary", 2, third=False)
    assert measuring.say("twelve", "yes").told[-1] == AskReading("chest", 2, third=False)


@pytest.mark.parametrize("site", ["calf", "banana"])
def test_a_site_outside_the_protocol(measuring: Any, site: str) -> None:
    """A site that the protocol lacks cannot be chosen or measured."""
    for intent in (GoTo(site), Reading(120, site)):
        measuring.key(intent)
        assert measuring.told[0].why is Why.NOT_IN_PROTOCOL
    assert measuring.visit.readings == ()


def test_another_site_has_to_wait_for_the_answer(measuring: Any) -> None:
    """While a value waits for its yes, no other site is chosen."""
    measuring.say("eight").key(GoTo("thigh"))
    assert measuring.told == [Refused(Why.OTHER_PENDING, "chest"), ReadBack("chest", 1, 80, ())]


@pytest.mark.parametrize("reason", SkipReason)
def test_a_site_is_left_out_with_its_reason(measuring: Any, reason: SkipReason) -> None:
    """Saying "Unable" leaves out this circuit only; other reasons hold for the whole visit."""
    spoken = f"skip {reason.value.replace('_', ' ')}"
    measuring.say(spoken)
    assert measuring.told[0] == Skipped("chest", reason)
    assert [(each.target, each.reason) for each in measuring.visit.skips] == [
        (Target("chest", 1), reason)
    ]
    later = [circuit for site, circuit in walk(measuring) if site == "chest"]
    assert later == ([2] if reason is SkipReason.UNABLE else [])


def test_a_skip_at_the_read_back_drops_the_value(measuring: Any) -> None:
    """Left out after it was read back: the value is kept as dropped, the site as skipped."""
    measuring.say("thigh eight", "skip skin")
    assert measuring.told[0] == Skipped("thigh", SkipReason.SKIN)
    assert [each.state for each in measuring.visit.readings] == [ReadingState.DROPPED]
    assert measuring.told[-1] == AskReading("chest", 1, third=False)
    assert [fact.state.value for fact in measuring.journal[-1].readings] == ["dropped"]


def test_a_third_can_be_left_out(halfway: Any) -> None:
    """A fold that cannot be lifted a third time does not keep the visit open."""
    second = ["fourteen", "eleven", "ten", "fourteen", "twenty two", "eleven", "nine"]
    halfway.circuit(*second).say("skip unable")
    assert halfway.told == [Skipped("chest", SkipReason.UNABLE), AllMeasured()]


def test_all_sites_left_out(measuring: Any) -> None:
    """A client who refuses every site can be signed off."""
    measuring.say(*["skip refused"] * 7)
    assert measuring.told[-1] == AllMeasured()
    measuring.key(Skip(SkipReason.REFUSED))
    assert measuring.told == [Refused(Why.NOT_NOW), AllMeasured()]
    assert measuring.say("sign off").told == [Signed()]
