"""The road of an utterance: heard or keyed, stepped, recorded, then announced."""

from typing import Any

import pytest

from capture.language.grammar import Grammar
from capture.language.intents import Confirm, NotUnderstood, Reading, WhyNot
from capture.recognise.port import Heard
from capture.recognise.scripted import ScriptedRecogniser, spoken
from capture.road import Road
from capture.screen.keys import strike
from capture.visit.announcement import (
    AllMeasured,
    AskPermission,
    Saved,
    SavedTape,
    SayAgain,
    Signed,
)
from capture.visit.entry import Entry, Source
from capture.visit.replay import replay
from capture.visit.state import Plan, Visit

WHOLE_VISIT = [
    "granted", "granted", "yes",
    "six and three quarters", "yes", "fourteen and a half inches", "yes", "nineteen", "yes",
    "chest eight point four", "yes", "eleven point two", "yes", "[unk]", "ten point six", "yes",
    "fifteen", "no fifty", "no fifteen", "yes", "twenty two point eight", "yes",
    "twelve", "no", "fourteen point two", "yes", "thigh nine", "yes",
    "eight point two", "yes", "go to triceps", "ten point eight", "yes", "so I told them",
    "eleven", "yes", "fifteen", "yes", "skip skin", "undo", "twenty two", "yes",
    "one four", "yes", "fourteen", "yes", "ten", "yes", "sign off",
]  # fmt: skip


def test_a_whole_visit_from_a_script(plan: Plan, desk: Any) -> None:
    """A scripted recogniser plays a visit from the first permission to the sign-off."""
    calls = [spoken(text, start_s=3.0 * n) for n, text in enumerate(WHOLE_VISIT)]
    recogniser = ScriptedRecogniser(calls)
    while (heard := recogniser.finish()) is not None:
        desk.road.hear(heard)
    visit = desk.visit
    assert visit.signed_at is not None
    trials = {site.id: visit.trials(site.id) for site in plan.protocol.sites}
    assert trials == {
        "chest": (84, 82),
        "midaxillary": (112, 110),
        "triceps": (106, 108),
        "subscapular": (150, 150),
        "abdominal": (228, 220),
        "suprailiac": (142, 140),
        "thigh": (90, 140, 100),
    }
    assert len(desk.ignored_calls) == 1
    assert replay(plan, desk.journal) == visit


def keyed(desk: Any, keys: str) -> None:
    """Strike keys one by one; "e" is Enter."""
    typed, struck = "", ""
    for key in keys.replace(" ", ""):
        struck += key
        name = "enter" if key == "e" else key
        outcome = strike(typed, name, read_back=desk.visit.pending is not None)
        typed = outcome.typed
        if outcome.intent is not None:
            desk.told.clear()
            desk.road.key(outcome.intent, struck)
            struck = ""


def test_circuits_by_keys_alone(measuring: Any) -> None:
    """The keypad measures, corrects, refuses and takes back like the voice."""
    keyed(measuring, "8.4e e  11.3e 11.2e e  10.6e - 10.8e e  14e e u 14.2e e")
    keyed(measuring, "22e e 11e e 9e e" + " 10e e" * 7)
    assert {len(measuring.visit.trials(site.id)) for site in measuring.plan.protocol.sites} == {2}
    assert measuring.visit.trials("chest")[0] == 84
    assert measuring.visit.trials("midaxillary")[0] == 112
    assert measuring.visit.trials("triceps")[0] == 108
    assert measuring.visit.trials("subscapular")[0] == 142
    assert all(each.source is Source.KEYPAD for each in measuring.visit.confirmed)


@pytest.mark.parametrize("text", ["[unk]", "[unk] fifty", "fifty [unk]", "yes [unk]", ""])
def test_other_speech_leads_to_nothing(measuring: Any, text: str) -> None:
    """Chatter, with or without a word of the grammar in it, leaves no trace but on the screen."""
    measuring.say("fifty")
    before, entries = measuring.visit, len(measuring.journal)
    measuring.say(text)
    assert measuring.visit is before
    assert len(measuring.journal) == entries
    assert measuring.told == []
    assert [each.text for each in measuring.ignored_calls] == [text]


def test_a_phrase_outside_the_grammar_is_a_question(measuring: Any) -> None:
    """Known words in no known order are recorded and asked about, never saved."""
    measuring.say("fifty fifteen")
    assert measuring.told[0] == SayAgain(NotUnderstood(WhyNot.TWO_NUMBERS))
    assert measuring.journal[-1].intent["kind"] == "not_understood"
    assert measuring.visit.readings == ()


def test_what_was_heard_is_kept(measuring: Any) -> None:
    """The journal keeps words, confidence and rivals, but no rival from outside the grammar."""
    measuring.say("twelve", confidence=0.7, rivals=("twenty", "[unk]", ""))
    entry = measuring.journal[-1]
    assert (entry.words, entry.confidence, entry.source) == ("twelve", 0.7, Source.VOICE)
    assert [(each["words"], each["intent"]["value_tenths_mm"]) for each in entry.alternatives] == [
        ("twenty", 200)
    ]
    measuring.road.key(Confirm(), "enter")
    entry = measuring.journal[-1]
    assert (entry.words, entry.confidence, entry.source) == ("enter", None, Source.KEYPAD)


def test_the_journal_comes_before_every_announcement(finished: Any) -> None:
    """Each call is heard, then recorded, and only then is anything said about it."""
    finished.say("sign off")
    order = [kind for kind, _ in finished.log]
    told = 0
    for place, kind in enumerate(order):
        if kind == "journal":
            assert order[place - 1] == "heard"
            assert order[place + 1] == "said"
            told += 1
        if kind == "heard":
            assert order[place + 1] == "journal"
    assert told == len(finished.journal) == order.count("heard")


class FullDiskError(Exception):
    """The store cannot write."""


@pytest.mark.parametrize(
    ("before", "call"),
    [
        ([], "granted"),
        (["yes", "yes", "yes", "seven"], "yes"),
        (["yes", "yes", "yes", *["seven", "yes"] * 3], "eight"),
        (["yes", "yes", "yes", *["seven", "yes"] * 3, "eight"], "yes"),
        (["yes", "yes", "yes", *["seven", "yes"] * 3, "eight", "yes"], "undo"),
        (["no"], "sign off"),
    ],
    ids=["permission", "tape", "reading", "confirmation", "undo", "sign-off"],
)
def test_what_cannot_be_recorded_did_not_happen(desk: Any, before: list[str], call: str) -> None:
    """If the store fails, the visit stays as it was, nothing is announced, the error is passed on.

    Once it works again, the same call is taken with the same number.
    """
    desk.say(*before)
    visit, entries = desk.visit, list(desk.journal)
    append, failing = desk.append, True

    def flaky(entry: Entry) -> None:
        if failing:
            raise FullDiskError
        append(entry)

    desk.append = flaky
    with pytest.raises(FullDiskError):
        desk.say(call)
    assert desk.visit is visit
    assert desk.told == []
    assert desk.journal == entries
    failing = False
    desk.say(call)
    assert [entry.sequence for entry in desk.journal] == list(range(1, len(entries) + 2))
    assert replay(desk.plan, desk.journal) == desk.visit != visit
    assert not any(isinstance(each, SayAgain) for each in desk.told)


def test_a_failing_screen_loses_nothing(measuring: Any) -> None:
    """If the announcement fails after the journal, the reading is saved all the same."""
    measuring.say("eight")

    def broken(*_: object) -> None:
        raise RuntimeError("no terminal")

    measuring.said = broken
    with pytest.raises(RuntimeError, match="no terminal"):
        measuring.say("yes")
    assert measuring.visit.trials("chest") == (80,)
    assert replay(measuring.plan, measuring.journal) == measuring.visit


def test_opening_says_where_the_visit_stands(desk: Any, grammar: Grammar, plan: Plan) -> None:
    """A new visit asks its first question; a broken-off one repeats the read-back it was at."""
    desk.road.open()
    assert desk.told == [AskPermission("clothing")]
    assert desk.journal == []
    read_back = desk.marked().say("fifteen").told[0]
    again = Road(replay(plan, desk.journal), grammar, desk, desk, lambda: desk.now)
    desk.road = again
    desk.told.clear()
    again.open()
    assert desk.told == [read_back]


def test_only_what_makes_sense_now_is_listened_for(desk: Any) -> None:
    """Each state has its own rule, and a closed visit listens for nothing."""
    rules = [desk.road.listening]
    for call in ["yes"] * 3 + ["seven", "yes"] * 3 + ["eight", "yes"] + ["skip unable"] * 13:
        if desk.road.listening != rules[-1]:
            rules.append(desk.road.listening)
        desk.say(call)
    short = [rule.rpartition(".")[2] for rule in rules]
    assert short == [
        "permission", "tape_wanted", "tape_readback", "tape_wanted", "tape_readback",
        "tape_wanted", "tape_readback", "reading_wanted", "readback", "reading_wanted",
    ]  # fmt: skip
    assert desk.told[-1] == AllMeasured()
    assert desk.road.listening == "foldcall.listening.closing"
    assert desk.say("sign off").told == [Signed()]
    assert desk.road.listening is None


def test_saved_is_said_of_the_visit_that_holds_it(measuring: Any) -> None:
    """Whoever is told "saved" sees a visit in which the reading counts."""
    seen: list[tuple[object, Visit]] = []
    measuring.said = lambda announcement, visit: seen.append((announcement, visit))
    measuring.say("eight", "yes")
    assert [visit.trials("chest") for said, visit in seen if isinstance(said, Saved)] == [(80,)]
    assert not any(isinstance(said, SavedTape) for said, _ in seen)


def test_a_yes_for_a_call_that_was_drowned(measuring: Any) -> None:
    """If the reading was lost in chatter, the yes after it saves nothing."""
    measuring.road.hear(Heard((), 0.0, (), 0.0, 1.0))
    measuring.say("yes").key(Confirm())
    assert measuring.visit.readings == ()
    assert measuring.key(Reading(80)).visit.confirmed == ()
