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
    Confirm,
    Correct,
    CorrectTape,
    GoTo,
    Intent,
    NotUnderstood,
    Pause,
    Reading,
    Refuse,
    Repeat,
    Resume,
    SignOff,
    Skip,
    SkipReason,
    Tape,
    Undo,
    WhyNot,
    from_plain,
)
from capture.protocol.protocol import SEVEN_SITES
from capture.units import Centimetres, Inches
from capture.visit.announcement import (
    AskPermission,
    AskReading,
    AskTape,
    Paused,
    ReadBack,
    ReadBackTape,
    Saved,
    SavedTape,
)
from capture.visit.call import Call, Rival, call_of
from capture.visit.course import listening_rule, outstanding, phase, question
from capture.visit.entry import Entry, ReadingState, Source
from capture.visit.machine import Effect, Record, Say, step
from capture.visit.replay import replay
from capture.visit.state import Phase, Plan, Visit
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
        case ReadBack() | ReadBackTape() | AskPermission():
            intent = Confirm()
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
            assert before.pending is not None
            assert before.pending.number == reading.number < self.visit.sequence
            assert self.plan.caliper.on_scale(reading.value_tenths_mm)
            assert self.plan.caliper.within_opening(reading.value_tenths_mm)
        for tape in set(self.visit.marks) - set(before.marks):
            assert isinstance(call.intent, Confirm)
            assert asked == ReadBackTape(tape.site, tape.length, tape.mark, tape.rounded)
        said = [each.announcement for each in effects if isinstance(each, Say)]
        saved = [each for each in said if isinstance(each, Saved)]
        assert saved == [Saved(each.target.site, each.value_tenths_mm) for each in fresh]
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
        assert len(heard) + (visit.pending_tape is not None) <= 1
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
        paused = before.paused and not isinstance(call.intent, Resume)
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


@given(calls=st.lists(voice | keypad, max_size=25))
@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_order_of_calls_from_the_very_beginning(
    short_plan: Plan, english: English, grammar: Grammar, calls: list[Any]
) -> None:
    """The same where nobody answers what is asked."""
    witness = Witness(short_plan, english, grammar)
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
                Repeat(),
                Skip(dice.choice(list(SkipReason))),
                GoTo(dice.choice(SITES)),
                Pause(),
                Resume(),
                SignOff(),
                NotUnderstood(dice.choice(list(WhyNot))),
            ]
        )

    if dice.random() < 0.5:
        return Call(intent(), Source.KEYPAD, "keys")
    others = tuple(Rival("words", dice.random() / 3, intent()) for _ in range(dice.randint(0, 2)))
    return Call(intent(), Source.VOICE, "words", dice.random(), others)


def test_long_walks_through_all_of_a_visit(
    short_plan: Plan, english: English, grammar: Grammar
) -> None:
    """The promises hold on long ways too, which together see all there is to a visit."""
    phases, seen = set(), set()
    for seed in range(60):
        dice = Random(seed)
        strays = dice.choice((0.05, 0.2, 0.5))
        witness = Witness(short_plan, english, grammar)
        for _ in range(150):
            value = dice.choice((84, 86, 110, 150))
            stray = dice.random() < strays
            witness.take(stray_call(dice) if stray else Natural(value))
            phases.add(phase(witness.visit))
            seen |= {type(question(witness.visit))}
            seen |= {(each.state, each.target.circuit) for each in witness.visit.readings}
        assert replay(short_plan, witness.entries) == witness.visit
    assert phases == set(Phase)
    assert seen >= {(state, circuit) for state in ReadingState for circuit in (1, 2, 3)}
    assert seen >= {Paused, ReadBack, ReadBackTape}


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
