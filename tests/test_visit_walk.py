"""Whatever order calls come in, a visit keeps its promises."""

import json
from dataclasses import dataclass, replace
from random import Random
from typing import Any

import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from capture.language.grammar import LISTENING, Grammar
from capture.language.intents import (
    Caution,
    Choose,
    Confirm,
    Correct,
    CorrectTape,
    Extra,
    Finish,
    GoTo,
    Intent,
    Later,
    Note,
    NotUnderstood,
    Option,
    Pause,
    Reading,
    Ready,
    Refuse,
    Repeat,
    Resume,
    SetCloth,
    SetFold,
    SetOffset,
    SetSide,
    SetupChange,
    SignOff,
    Skip,
    SkipReason,
    Stop,
    Tape,
    Undo,
    WhyNot,
    Wiped,
    from_plain,
)
from capture.protocol.protocol import SEVEN_SITES
from capture.protocol.setup import Carried, SiteSetup
from capture.protocol.sites import Fold, Side
from capture.units import Centimetres, Inches
from capture.visit.announcement import (
    AskPermission,
    AskPreparation,
    AskReading,
    AskSetup,
    AskTape,
    Ended,
    Paused,
    ReadBack,
    ReadBackTape,
    Saved,
    SavedTape,
    SetupSaved,
    Stopped,
)
from capture.visit.call import Call, Rival, call_of
from capture.visit.course import listening_rule, outstanding, phase, question
from capture.visit.entry import Entry, ReadingState, Source
from capture.visit.machine import Effect, Record, Say, step
from capture.visit.replay import replay
from capture.visit.setups import carried_from, setup_of
from capture.visit.state import Phase, Plan, SetupChanged, Visit
from capture.wording.english import English

SHORT = replace(SEVEN_SITES, sites=SEVEN_SITES.sites[:3])
"""Chest, midaxillary, triceps: a visit short enough to be walked to its end."""

SITES = ("chest", "midaxillary", "triceps", "thigh", "banana")
VALUES = (5, 84, 86, 110, 125, 150, 160, 500, 800, 802)

values = st.sampled_from(VALUES)
lengths = st.sampled_from([Inches(108), Inches(7), Centimetres(372), Centimetres(373)])
sites = st.sampled_from(SITES)
intents = st.one_of(
    st.builds(Reading, values, st.none() | sites),
    st.builds(Correct, values),
    st.builds(Tape, lengths, st.none() | sites),
    st.builds(CorrectTape, lengths),
    st.builds(Skip, st.sampled_from(SkipReason)),
    st.builds(GoTo, sites),
    st.builds(NotUnderstood, st.sampled_from(WhyNot), st.just("word")),
    st.builds(Stop, st.sampled_from([None, "clothing", "marks", "touch", "banana"])),
    st.builds(Choose, st.sampled_from(Option)),
    st.builds(Note, st.sampled_from(Caution)),
    st.builds(SetFold, st.sampled_from(Fold)),
    st.builds(SetSide, st.sampled_from(Side)),
    st.builds(SetCloth, st.sampled_from([0, 15, 60])),
    st.builds(SetOffset, st.sampled_from([0, 25])),
    st.builds(Extra, sites),
    st.sampled_from([Ready(), Wiped(), Finish(), Later()]),
    st.sampled_from([Confirm(), Refuse(), Undo(), Undo(), Repeat(), Pause(), Resume(), SignOff()]),
)
rivals = st.lists(
    st.builds(Rival, st.just("words"), st.sampled_from([0.02, 0.1, 0.4]), intents), max_size=2
).map(tuple)
voice = st.builds(
    Call, intents, st.just(Source.VOICE), st.just("words"), st.sampled_from([0.3, 0.8, 1.0]), rivals
)
keypad = st.builds(Call, intents, st.just(Source.KEYPAD), st.just("keys"))


@dataclass(frozen=True)
class Natural:
    """Do what the visit asks for; a reading or length takes this value."""

    value_tenths_mm: int


natural = st.builds(Natural, st.sampled_from([84, 86, 110, 150]))
actions = st.lists(st.one_of(natural, natural, natural, voice, keypad), max_size=60)


def natural_call(visit: Visit, value: int) -> Call:
    """What a patient assessor would say now."""
    match question(visit):
        case Paused():
            intent: Intent = Resume()
        case ReadBack() | ReadBackTape() | AskSetup() | AskPermission() | AskPreparation():
            intent = Confirm()
        case Stopped():
            intent = Choose(Option.CHAPERONE)
        case AskReading(site=site) if setup_of(visit, site).cloth_tenths_mm is None:
            intent = SetCloth(15)
        case AskTape():
            intent = Tape(Inches(value))
        case AskReading():
            intent = Reading(value)
        case _:
            intent = SignOff()
    return Call(intent, Source.VOICE, "words", 1.0)


@dataclass
class Witness:
    """Walks a visit and checks, after every step, what must always hold."""

    plan: Plan
    english: English
    grammar: Grammar

    def __post_init__(self) -> None:
        self.visit = Visit(self.plan)
        self.entries: list[Entry] = []

    def take(self, action: Natural | Call) -> None:
        """Take one call and check everything."""
        before = self.visit
        call = (
            natural_call(before, action.value_tenths_mm) if isinstance(action, Natural) else action
        )
        after, effects = step(before, call, "2026-03-02T12:00:00+01:00")
        self.visit = after
        entry = self._entry_of(effects)
        self.entries.append(entry)
        self._counts_only_after_its_own_yes(before, call, effects)
        self._loses_nothing_but_by_undo(before, call)
        self._lifts_no_fold_twice_running(before)
        self._holds_one_thing_at_a_time(before)
        self._keeps_what_a_closed_or_paused_visit_was(before, call)
        self._survives_json(entry, call)
        self._has_words_for_all(effects)

    @staticmethod
    def _entry_of(effects: tuple[Effect, ...]) -> Entry:
        first, *rest = effects
        assert isinstance(first, Record), "the journal comes first"
        assert rest, "something is always said"
        assert all(isinstance(each, Say) for each in rest)
        return first.entry

    def _counts_only_after_its_own_yes(
        self, before: Visit, call: Call, effects: tuple[Effect, ...]
    ) -> None:
        asked = question(before)
        fresh = [each for each in self.visit.confirmed if each not in before.confirmed]
        assert len(fresh) <= 1
        for reading in fresh:
            assert isinstance(call.intent, Confirm)
            assert isinstance(asked, ReadBack)
            told = (asked.site, asked.circuit, asked.value_tenths_mm, asked.doubts)
            target = reading.target
            assert told == (target.site, target.circuit, reading.value_tenths_mm, reading.doubts)
            assert asked.cloth_tenths_mm == reading.cloth_tenths_mm
            assert reading.net_tenths_mm == reading.value_tenths_mm - 2 * asked.cloth_tenths_mm > 0
            assert before.pending is not None
            assert before.pending.number == reading.number < self.visit.sequence
            assert self.plan.caliper.on_scale(reading.value_tenths_mm)
            assert self.plan.caliper.within_opening(reading.value_tenths_mm)
        for tape in set(self.visit.marks) - set(before.marks):
            assert isinstance(call.intent, Confirm)
            assert asked == ReadBackTape(
                tape.site, tape.length, tape.mark, tape.rounded, tape.doubts
            )
        changes = [each for each in self.visit.done if isinstance(each, SetupChanged)]
        fresh_changes = changes[sum(isinstance(each, SetupChanged) for each in before.done) :]
        for change in fresh_changes:
            assert isinstance(call.intent, Confirm)
            assert asked == AskSetup(
                change.site, change.field, change.before, change.value, change.last_time
            )
        said = [each.announcement for each in effects if isinstance(each, Say)]
        saved = [each for each in said if isinstance(each, Saved)]
        assert saved == [
            Saved(each.target.site, each.value_tenths_mm, each.cloth_tenths_mm) for each in fresh
        ]
        assert [each for each in said if isinstance(each, SetupSaved)] == [
            SetupSaved(each.site, each.field, each.value) for each in fresh_changes
        ]
        new_marks = [tape for tape in self.visit.marks if tape not in before.marks]
        saved_tapes = [each for each in said if isinstance(each, SavedTape)]
        assert saved_tapes == [SavedTape(each.site, each.mark) for each in new_marks]

    def _loses_nothing_but_by_undo(self, before: Visit, call: Call) -> None:
        lost = [each for each in before.done if each not in self.visit.done]
        assert not lost or (isinstance(call.intent, Undo) and lost == [before.done[-1]])
        values = {each.number: each.value_tenths_mm for each in before.readings}
        kept = {each.number: each.value_tenths_mm for each in self.visit.readings}
        assert values.items() <= kept.items()
        gone = [each for each in before.confirmed if each not in self.visit.confirmed]
        assert len(gone) <= len(lost)

    def _lifts_no_fold_twice_running(self, before: Visit) -> None:
        waiting = self.visit.pending
        if waiting is None or waiting == before.pending:
            return
        left = {target.site for target in outstanding(before)}
        assert waiting.target.site in left
        assert waiting.target.site != before.last_measured or left == {before.last_measured}
        taken = {each.target for each in self.visit.confirmed}
        assert waiting.target not in taken

    def _holds_one_thing_at_a_time(self, before: Visit) -> None:
        visit = self.visit
        heard = [each for each in visit.readings if each.state is ReadingState.HEARD]
        others = (visit.pending_tape, visit.pending_setup)
        assert len(heard) + sum(each is not None for each in others) <= 1
        targets = [each.target for each in visit.confirmed]
        assert len(set(targets)) == len(targets)
        assert visit.sequence == before.sequence + 1 == len(self.entries)
        assert [each.sequence for each in self.entries] == list(range(1, visit.sequence + 1))
        numbers = [each.number for each in visit.readings]
        assert len(set(numbers)) == len(numbers)
        rule = listening_rule(visit)
        assert rule is None or LISTENING + rule in self.grammar.rules
        assert (rule is None) == (visit.signed_at is not None)

    def _keeps_what_a_closed_or_paused_visit_was(self, before: Visit, call: Call) -> None:
        closed = before.signed_at is not None
        paused = before.paused and not isinstance(call.intent, Resume | Stop)
        if closed or paused or isinstance(call.intent, NotUnderstood | Repeat):
            assert self.visit == replace(before, sequence=before.sequence + 1)

    @staticmethod
    def _survives_json(entry: Entry, call: Call) -> None:
        stored = json.loads(json.dumps([entry.intent, entry.alternatives, entry.facts]))
        intent, alternatives, facts = stored
        assert facts == list(entry.facts)
        assert from_plain(intent) == call.intent
        again = replace(entry, intent=intent, alternatives=tuple(alternatives))
        assert again == entry
        assert call_of(again) == call

    def _has_words_for_all(self, effects: tuple[Effect, ...]) -> None:
        for effect in effects:
            if isinstance(effect, Say):
                assert self.english.say(effect.announcement).strip()


@pytest.fixture(scope="module")
def short_plan(plan: Plan) -> Plan:
    """Three sites, in two circuits."""
    return replace(plan, protocol=SHORT)


LAST_TIME = Carried(
    "another caliper",
    "another assessor",
    (
        SiteSetup("midaxillary", Fold.HORIZONTAL, Side.LEFT, offset_mm=20),
        SiteSetup("triceps", Fold.VERTICAL, cloth_tenths_mm=15, length=Inches(200)),
    ),
)


@pytest.fixture(scope="module")
def later_plan(short_plan: Plan) -> Plan:
    """The same with all that is asked before, for a client who was here before."""
    return replace(short_plan, screening=True, last_time=LAST_TIME)


@given(calls=actions)
@settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_order_of_calls(
    short_plan: Plan, english: English, grammar: Grammar, calls: list[Any]
) -> None:
    """No order of calls saves a value without its own yes, loses one, or lifts a fold twice."""
    witness = Witness(short_plan, english, grammar)
    for _ in range(3):
        witness.take(Natural(100))
    for action in calls:
        witness.take(action)
    event(f"ends in {phase(witness.visit).value}")
    assert replay(short_plan, witness.entries) == witness.visit


@given(calls=st.lists(natural | voice | keypad, max_size=25))
@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_order_of_calls_from_the_very_beginning(
    later_plan: Plan, english: English, grammar: Grammar, calls: list[Any]
) -> None:
    """The same for a client who was here before, where nobody answers what is asked."""
    witness = Witness(later_plan, english, grammar)
    for action in calls:
        witness.take(action)


@given(calls=st.lists(natural | voice | keypad, max_size=15), nuisance=st.lists(voice, max_size=6))
@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_replay_at_every_step(
    short_plan: Plan, english: English, grammar: Grammar, calls: list[Any], nuisance: list[Any]
) -> None:
    """Wherever the program is broken off, the journal leads to just the state it was in."""
    witness = Witness(short_plan, english, grammar)
    for _ in range(5):
        witness.take(Natural(100))
    for action in (*nuisance, *calls):
        witness.take(action)
        assert replay(short_plan, witness.entries) == witness.visit


SETUP_CHANGES: tuple[SetupChange, ...] = (
    SetFold(Fold.HORIZONTAL),
    SetFold(Fold.VERTICAL),
    SetSide(Side.LEFT),
    SetCloth(15),
    SetCloth(0),
    SetOffset(25),
)


def stray_call(dice: Random) -> Call:
    """Anything at all, by voice or keys, with or without rivals."""

    def intent() -> Intent | NotUnderstood:
        site = dice.choice((None, *SITES))
        length = Inches(dice.randint(1, 700))
        return dice.choice(
            [
                Reading(dice.choice(VALUES), site),
                Correct(dice.choice(VALUES)),
                Tape(length, site),
                CorrectTape(length),
                Confirm(),
                Refuse(),
                Undo(),
                Undo(),
                Repeat(),
                Skip(dice.choice(list(SkipReason))),
                GoTo(dice.choice(SITES)),
                Pause(),
                Resume(),
                SignOff(),
                NotUnderstood(dice.choice(list(WhyNot))),
                Stop(dice.choice((None, "clothing", "marks"))),
                Choose(dice.choice(list(Option))),
                Note(dice.choice(list(Caution))),
                dice.choice(SETUP_CHANGES),
                dice.choice((Ready(), Wiped(), Finish(), Later(), Extra(dice.choice(SITES)))),
            ]
        )

    if dice.random() < 0.5:
        return Call(intent(), Source.KEYPAD, "keys")
    others = tuple(Rival("words", dice.random() / 3, intent()) for _ in range(dice.randint(0, 2)))
    return Call(intent(), Source.VOICE, "words", dice.random(), others)


def test_long_walks_through_all_of_a_visit(
    short_plan: Plan, later_plan: Plan, english: English, grammar: Grammar
) -> None:
    """The promises hold on long ways too, which together see all there is to a visit."""
    phases, seen = set(), set()
    for seed in range(120):
        dice = Random(seed)
        strays = dice.choice((0.03, 0.1, 0.4))
        plan = dice.choice((short_plan, later_plan))
        witness = Witness(plan, english, grammar)
        for _ in range(150):
            value = dice.choice((84, 86, 110, 150))
            stray = dice.random() < strays
            witness.take(stray_call(dice) if stray else Natural(value))
            phases.add(phase(witness.visit))
            seen |= {type(question(witness.visit))}
            seen |= {(each.state, each.target.circuit) for each in witness.visit.readings}
            seen |= {each.is_estimate for each in witness.visit.readings}
        assert replay(plan, witness.entries) == witness.visit
        assert Carried.from_plain(carried_from(witness.visit).to_plain()) == carried_from(
            witness.visit
        )
    assert phases == set(Phase)
    assert seen >= {(state, circuit) for state in ReadingState for circuit in (1, 2, 3)}
    assert seen >= {Paused, ReadBack, ReadBackTape, AskSetup, Ended, Stopped, True, False}


@given(calls=st.lists(natural, min_size=45, max_size=45))
@settings(max_examples=40, deadline=None)
def test_a_patient_assessor_always_gets_to_the_end(
    short_plan: Plan, english: English, grammar: Grammar, calls: list[Any]
) -> None:
    """Whoever answers what is asked, and nothing else, finishes and signs off."""
    witness = Witness(short_plan, english, grammar)
    for action in calls:
        witness.take(action)
    assert witness.visit.signed_at is not None
    assert all(len(witness.visit.trials(site.id)) in {2, 3} for site in SHORT.sites)
