"""The road of an utterance: heard or keyed, stepped, recorded, then announced."""

from dataclasses import replace
from typing import Any

import pytest

from capture.language.grammar import Grammar
from capture.language.intents import Confirm, NotUnderstood, Reading, WhyNot
from capture.protocol.plausibility import Doubt, DoubtKind
from capture.recognise.certainty import NAMES, Certainty
from capture.recognise.port import Heard
from capture.recognise.scripted import ScriptedRecogniser, spoken
from capture.road import LATEST_YES_S, Road
from capture.screen.keymap import USUAL
from capture.screen.keypad import Entry as Typing
from capture.screen.keypad import press
from capture.visit.announcement import (
    AllMeasured,
    AskPermission,
    AskReading,
    Dropped,
    ReadBack,
    Refused,
    Saved,
    SavedTape,
    SayAgain,
    Signed,
    Why,
)
from capture.visit.entry import Entry, Source
from capture.visit.replay import replay
from capture.visit.state import Confirmation, Plan, Visit

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
    entry, struck = Typing(), ""
    for key in keys.replace(" ", ""):
        struck += key
        name = "enter" if key == "e" else key
        pressed = press(entry, name, USUAL, desk.visit)
        entry = pressed.entry
        if pressed.intent is not None:
            desk.told.clear()
            desk.road.key(pressed.intent, struck)
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


# Doubt, by a measured certainty.

EVEN = Certainty(0.0, tuple(float(name == "gap") for name in NAMES), 0.9, 0.5, 0.97)
"""The probability is that of the gap alone: 0.5 without one, 0.88 at 2, 0.95 at 3, 0.99 at 5."""


def scored(text: str, confidence: float, **rivals: float) -> Heard:
    """An utterance as the recogniser gives it, its rivals named by their words joined by _."""
    heard = spoken(text, confidence=confidence, rivals=[each.replace("_", " ") for each in rivals])
    shares = zip(heard.alternatives, rivals.values(), strict=True)
    alternatives = tuple(replace(each, confidence=share) for each, share in shares)
    return replace(heard, alternatives=alternatives, score_per_s=300.0)


@pytest.fixture
def doubting(measuring: Any) -> Any:
    """A visit at its first fold whose ear was measured."""
    road = measuring.road
    measuring.road = Road(
        road.visit, measuring.grammar, measuring, measuring, lambda: measuring.now, EVEN
    )
    return measuring


def hear(desk: Any, heard: Heard, waited_s: float = 0.0) -> list[Any]:
    """What is said to an utterance."""
    desk.told.clear()
    desk.road.hear(heard, waited_s)
    return list(desk.told)


def test_what_is_surely_right_is_read_back_as_usual(doubting: Any) -> None:
    """No rival within reach: the read-back has no doubt, the journal the probability."""
    assert hear(doubting, scored("eight", 0.96, eighty=0.002)) == [ReadBack("chest", 1, 80, ())]
    assert doubting.journal[-1].confidence > EVEN.normal_from


def test_what_is_probably_right_names_the_other_value(doubting: Any) -> None:
    """Twelve three times as likely as twenty is doubtful, and twenty is named."""
    told = hear(doubting, scored("twelve", 0.7, skip_skin=0.2, twenty=0.1))
    assert told == [ReadBack("chest", 1, 120, (Doubt(DoubtKind.RIVAL, 200),))]
    assert doubting.visit.pending is not None


def test_what_is_more_likely_wrong_is_said_again(doubting: Any) -> None:
    """Nothing waits, so that no yes can save it; the journal has it as not taken."""
    model = replace(EVEN, intercept=-2.0)
    doubting.road = Road(
        doubting.visit, doubting.grammar, doubting, doubting, lambda: doubting.now, model
    )
    told = hear(doubting, scored("fifteen", 0.5, fifty=0.5))
    assert told == [Refused(Why.UNCLEAR), AskReading("chest", 1, third=False)]
    assert doubting.visit.readings == ()
    entry = doubting.journal[-1]
    assert entry.intent["kind"] == "reading"
    assert [each["kind"] for each in entry.facts] == ["refused", "hearing"]


@pytest.mark.parametrize(
    ("call", "saved"),
    [
        (scored("yes", 0.99, no=0.004), True),
        (scored("yes", 0.95, no=0.05), False),
        (scored("yes", 0.6, confirm=0.39), True),
    ],
    ids=["sure", "sure enough for a number, not for a yes", "two ways to say yes"],
)
def test_an_uncertain_yes_is_asked_again(doubting: Any, call: Heard, saved: bool) -> None:
    """A yes needs more certainty than a number: nothing reads it back."""
    hear(doubting, scored("eight", 0.99, eighty=0.001))
    told = hear(doubting, call)
    assert (told[0] == Saved("chest", 80)) is saved
    assert doubting.visit.trials("chest") == ((80,) if saved else ())
    if not saved:
        assert told == [Refused(Why.UNCLEAR), ReadBack("chest", 1, 80, ())]


def test_a_no_with_an_unclear_value_still_refuses(doubting: Any) -> None:
    """In "no fifty" or "no fifteen" the no is clear: the value read back must not wait on."""
    hear(doubting, scored("eight", 0.99, eighty=0.001))
    model = replace(EVEN, intercept=-1.0)
    doubting.road = Road(
        doubting.visit, doubting.grammar, doubting, doubting, lambda: doubting.now, model
    )
    told = hear(doubting, scored("no fifty", 0.5, no_fifteen=0.5))
    assert told[:2] == [Dropped("chest"), Refused(Why.UNCLEAR)]
    assert doubting.visit.pending is None


@pytest.mark.parametrize("waited_s", [LATEST_YES_S, LATEST_YES_S + 0.1], ids=["just", "too late"])
def test_a_yes_long_after_its_question_saves_nothing(doubting: Any, waited_s: float) -> None:
    """Somebody's yes a minute later is not the assessor's: the read-back comes once more."""
    asked = hear(doubting, scored("eight", 0.99, eighty=0.001))
    told = hear(doubting, scored("yes", 0.99, no=0.001), waited_s)
    late = waited_s > LATEST_YES_S
    assert (told == asked) is late
    assert doubting.visit.trials("chest") == (() if late else (80,))
    assert (doubting.visit.pending is not None) is late


def test_what_was_doubted_is_doubted_again_in_a_replay(doubting: Any, plan: Plan) -> None:
    """The journal keeps the limits of each call: later ones do not change an old visit."""
    for heard, waited_s in [
        (scored("twelve", 0.7, twenty=0.3), 0.0),
        (scored("yes", 0.95, no=0.05), 0.0),
        (scored("yes", 0.99), 99.0),
        (scored("yes", 0.99), 0.0),
    ]:
        hear(doubting, heard, waited_s)
    assert doubting.visit.trials("chest") == (120,)
    assert replay(plan, doubting.journal) == doubting.visit


def test_a_journal_of_before_is_judged_as_it_was(plan: Plan, measuring: Any) -> None:
    """Entries without limits keep the threshold of 0.8 that they were written under."""
    measuring.say("twelve", confidence=0.81).say("yes", confidence=0.81)
    old = [
        replace(each, facts=tuple(fact for fact in each.facts if fact["kind"] != "hearing"))
        for each in measuring.journal
    ]
    # What was asked again under the limits of now was taken then.
    heard, confirmed = old[-2:]
    heard = replace(heard, facts=())
    taken = replace(heard.readings[0], state="confirmed")
    confirmed = replace(confirmed, facts=(), readings=(taken,))
    visit = replay(plan, [*old[:-2], heard, confirmed])
    assert visit.trials("chest") == (120,)
    assert measuring.visit.trials("chest") == ()


# A call that may have lost its beginning.


def early(desk: Any, text: str) -> list[Any]:
    """What is said to a call that may have begun before the program listened."""
    desk.told.clear()
    desk.road.hear(spoken(text), begun_early=True)
    return list(desk.told)


def test_a_reading_that_began_early_is_doubtful(measuring: Any) -> None:
    """The call "six" may be the rest of "fifty six": the read-back says why it asks."""
    told = early(measuring, "eight")
    assert told == [ReadBack("chest", 1, 80, (Doubt(DoubtKind.BEGUN_EARLY),))]
    assert replay(measuring.plan, measuring.journal) == measuring.visit
    told = early(measuring, "no nine")
    assert told == [ReadBack("chest", 1, 90, (Doubt(DoubtKind.BEGUN_EARLY),))]
    assert replay(measuring.plan, measuring.journal) == measuring.visit


@pytest.mark.parametrize("text", ["yes", "undo", "skip skin"])
def test_a_word_that_began_early_takes_no_effect(measuring: Any, text: str) -> None:
    """What takes effect at once is asked for again, and the reading waits on."""
    measuring.say("eight")
    pending = measuring.visit.pending
    assert early(measuring, text)[0] == Refused(Why.BEGUN_EARLY)
    assert measuring.visit.pending == pending
    assert measuring.visit.confirmed == ()
    assert replay(measuring.plan, measuring.journal) == measuring.visit


@pytest.mark.parametrize(
    "text", ["go to thigh", "fold horizontal", "cloth one point five", "later"]
)
def test_a_change_that_began_early_is_asked_for_again(measuring: Any, text: str) -> None:
    """A site, a fold or a cloth may be the rest of something else."""
    assert early(measuring, text)[0] == Refused(Why.BEGUN_EARLY)
    assert measuring.visit.pending_setup is None


def test_a_length_that_began_early_is_doubtful(desk: Any) -> None:
    """The tape's length is asked about as a reading is."""
    desk.permitted()
    (told,) = early(desk, "seven inches")
    assert told.doubts[0].kind == "begun_early"


@pytest.mark.parametrize("text", ["no", "stop"])
def test_a_no_and_a_stop_hold_however_they_began(measuring: Any, text: str) -> None:
    """They only make less count: they are never asked for again."""
    measuring.say("eight")
    rule = measuring.road.listening
    early(measuring, text)
    assert measuring.visit.pending is None
    assert measuring.visit.confirmed == ()
    assert measuring.road.listening != rule


def test_call_through_never_counts_by_a_call_that_began_early(
    plan: Plan, grammar: Grammar, measuring: Any
) -> None:
    """The rest of another call must not save the reading that waits."""
    through = replace(plan, confirmation=Confirmation.CALL_THROUGH)
    visit = replace(measuring.visit, plan=through)
    measuring.road = Road(visit, grammar, measuring, measuring, lambda: measuring.now)
    measuring.say("chest eight point four")
    told = early(measuring, "midaxillary eleven")
    assert told[0] == Refused(Why.OTHER_PENDING, "chest")
    assert measuring.visit.confirmed == ()
