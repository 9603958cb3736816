"""Consent withdrawn, choices, cautions, setup, cloth, early finish, extra readings."""

from dataclasses import replace
from typing import Any

import pytest

from capture.composition.forms import Sex
from capture.language.grammar import understand
from capture.language.intents import (
    Caution,
    Choose,
    Extra,
    Finish,
    Later,
    Note,
    Option,
    Reading,
    SetCloth,
    SetFold,
    SetOffset,
    SetSide,
    SignOff,
    Stop,
    Tape,
    Wiped,
)
from capture.protocol.caliper import Caliper
from capture.protocol.plausibility import Doubt, DoubtKind
from capture.protocol.setup import Carried, SetupField, SiteSetup
from capture.protocol.sites import Fold, Side
from capture.protocol.tape import TapeDoubt, TapeDoubtKind
from capture.report.summary import summary_lines, visit_result_of
from capture.units import Centimetres, Inches
from capture.visit.announcement import (
    AllMeasured,
    Answered,
    AskPermission,
    AskPreparation,
    AskReading,
    AskSetup,
    AskTape,
    Chosen,
    Dropped,
    Ended,
    Finished,
    Noted,
    Prepared,
    PutOff,
    ReadBack,
    Refused,
    Saved,
    SetupSaved,
    Signed,
    Stopped,
    Why,
    WhyNext,
)
from capture.visit.course import phase, why_next
from capture.visit.entry import ReadingState, Source
from capture.visit.replay import replay
from capture.visit.setups import carried_from, setup_of
from capture.visit.state import Permission, Phase, Plan
from capture.wording.english import English
from capture.wording.numbers import NumberWords
from tests.conftest import FIRST, NOON, Desk

ENDINGS = (
    Option.AIR_DISPLACEMENT,
    Option.UNDERWATER_WEIGHING,
    Option.IMPEDANCE,
    Option.POSTPONE,
)


@pytest.fixture
def returning(grammar: Any, plan: Plan) -> Desk:
    """A client whose last visit had a horizontal midaxillary and a thigh through cloth."""
    last_time = Carried(
        plan.caliper.description,
        "",
        (
            SiteSetup("midaxillary", Fold.HORIZONTAL, offset_mm=20),
            SiteSetup("thigh", Fold.VERTICAL, cloth_tenths_mm=15, length=Inches(272)),
        ),
    )
    return Desk(grammar, replace(plan, last_time=last_time))


# Permissions.


@pytest.mark.parametrize("granted", [0, 1, 2], ids=["clothing", "marks", "touch"])
def test_a_refusal_offers_what_the_trade_offers(desk: Desk, english: English, granted: int) -> None:
    """Whichever permission is refused, the day goes on: the offers are told, none is forced."""
    desk.say(*["granted"] * granted, "refused")
    name = ["clothing", "marks", "touch"][granted]
    assert desk.told == [Answered(name, False), Stopped(name)]
    offered = english.say(desk.told[-1])
    for words in ("fewer sites", "through clothing", "client locates", "haperone", "assessor"):
        assert words in offered
    for method in ("ir displacement", "underwater weighing", "impedance"):
        assert method in offered
    assert desk.say("sign off").told == [Signed()]


@pytest.mark.parametrize("option", [o for o in Option if o not in ENDINGS])
@pytest.mark.parametrize("refused", [0, 1, 2], ids=["clothing", "marks", "touch"])
def test_with_a_choice_the_visit_goes_on(desk: Desk, refused: int, option: Option) -> None:
    """The choice is recorded with its time; only what it does not make unneeded is asked again."""
    desk.say(*["granted"] * refused, "no").say(option.value.replace("_", " "))
    assert desk.told[0] == Chosen(option)
    permission = list(Permission)[refused]
    made = desk.visit.choices[-1]
    assert (made.option, made.permission, made.at) == (option, permission, NOON)
    stands_in = (permission, option) in {
        (Permission.CLOTHING, Option.THROUGH_CLOTHING),
        (Permission.MARKS, Option.CLIENT_LOCATES),
    }
    asked_next = list(Permission)[refused + stands_in].value
    assert desk.told[-1] == AskPermission(asked_next)


@pytest.mark.parametrize("option", ENDINGS)
def test_another_method_or_another_day(desk: Desk, english: English, option: Option) -> None:
    """Nothing is measured then; what the method needs is said, and the visit can be closed."""
    desk.say("no").say(option.value.replace("_", " "))
    assert desk.told == [Chosen(option), Ended(option)]
    if option is not Option.POSTPONE:
        assert len(english.say(Chosen(option)).split()) > 5
    desk.key(Reading(120))
    assert desk.told[0] == Refused(Why.NOT_NOW)
    assert desk.say("undo").told[-1] == Stopped("clothing")
    desk.say(option.value.replace("_", " "))
    assert desk.say("sign off").told == [Signed()]


def test_stop_at_any_moment(desk: Desk) -> None:
    """After every call of a whole visit, "stop" halts it, drops what waits, keeps what counts."""
    desk.marked().circuit(*FIRST).circuit(*FIRST)
    calls = [entry.words for entry in desk.journal]
    for count in range(len(calls)):
        again = Desk(desk.grammar, desk.plan).say(*calls[:count])
        counted = again.visit.confirmed
        again.say("stop")
        assert again.told[-1] == Stopped("touch"), count
        assert again.visit.confirmed == counted
        assert again.visit.pending is None
        assert again.visit.pending_tape is None
        assert replay(again.plan, again.journal) == again.visit
        again.say("chaperone")
        while isinstance(again.told[-1], AskPermission):
            again.say("granted")
        assert not isinstance(again.told[-1], Stopped)


def test_stop_is_heard_in_a_pause_and_when_unclear(measuring: Desk) -> None:
    """A stop holds even if it was not heard clearly; one too many is undone with one word."""
    measuring.say("pause").say("stop", confidence=0.3)
    assert measuring.told[-1] == Stopped("touch")
    assert measuring.say("undo").told[-1] == AskReading("chest", 1, third=False)
    assert measuring.say("stop marks").told[-1] == Stopped("marks")


def test_a_withdrawn_permission_is_kept_with_its_time(measuring: Desk) -> None:
    """The journal holds the permission that was given and its withdrawal."""
    measuring.say("eight")
    measuring.now = "2026-03-02T12:20:00+01:00"
    measuring.say("stop")
    assert measuring.told[0] == Dropped("chest")
    given, *_, withdrawn = [a for a in measuring.visit.answers if a.permission == "touch"]
    assert (given.granted, withdrawn.granted) == (True, False)
    assert (given.at, withdrawn.at) == (NOON, measuring.now)
    entry = measuring.journal[-1]
    assert {"kind": "withdrawn", "permission": "touch"} in entry.facts
    assert [fact.state for fact in entry.readings] == [ReadingState.DROPPED]
    again = measuring.say("stop")
    assert len(again.visit.answers) == 4


@pytest.mark.parametrize(
    "answers",
    [
        ("granted", "no", "client locates", "granted"),
        ("granted", "granted", "no", "client locates", "granted"),
    ],
    ids=["marks refused", "touch refused"],
)
def test_no_marks_on_the_skin(desk: Desk, answers: tuple[str, ...]) -> None:
    """If the client locates the landmarks, no tape length is asked for."""
    desk.say(*answers)
    assert desk.told[-1] == AskReading("chest", 1, third=False)


# Before touching.


def test_ready_in_one_word(grammar: Any, plan: Plan) -> None:
    """One word settles the wiped caliper and the reasons for care, and one undo takes it back."""
    desk = Desk(grammar, replace(plan, screening=True))
    desk.road.open()
    assert desk.told == [AskPreparation("ready")]
    desk.now = "2026-03-02T12:01:00+01:00"
    assert desk.say("ready").told == [Prepared("ready", True), AskPermission("clothing")]
    settled = {fact["what"]: fact["yes"] for fact in desk.journal[-1].facts[:3]}
    assert settled == {"ready": True, "wiped": True, "cautions": False}
    assert desk.journal[-1].at == desk.visit.done[-1].at == desk.now
    assert desk.say("undo").told[-1] == AskPreparation("ready")
    taken_back = [fact["site"] for fact in desk.journal[-1].facts[:3]]
    assert taken_back == ["ready", "wiped", "cautions"]
    assert desk.say("yes").told[-1] == AskPermission("clothing")
    assert replay(desk.plan, desk.journal) == desk.visit


def test_cautions_before_ready(grammar: Any, plan: Plan, english: English) -> None:
    """Each reason for care is recorded with its time, and blocks nothing."""
    desk = Desk(grammar, replace(plan, screening=True))
    desk.say("caution lotion")
    desk.now = "2026-03-02T12:01:00+01:00"
    desk.say("caution recent scan")
    assert desk.told == [Noted(Caution.SCAN), AskPreparation("ready")]
    assert [each.at for each in desk.visit.done] == [NOON, desk.now]
    assert desk.say("ready").told[-1] == AskPermission("clothing")
    assert desk.visit.cautions == (Caution.LOTION, Caution.SCAN)
    assert replay(desk.plan, desk.journal) == desk.visit
    for caution in Caution:
        assert "local policy and licensed practice" in english.say(Noted(caution))


def test_what_is_not_ready_is_asked_one_by_one(grammar: Any, plan: Plan) -> None:
    """Wiped caliper, then reasons for care until there are no more, then the permissions."""
    desk = Desk(grammar, replace(plan, screening=True))
    assert desk.say("no").told == [Prepared("ready", False), AskPreparation("wiped")]
    assert desk.say("yes").told == [Prepared("wiped", True), AskPreparation("cautions")]
    desk.say("caution lotion", "caution recent scan")
    assert desk.told == [Noted(Caution.SCAN), AskPreparation("cautions")]
    assert desk.say("no").told == [Prepared("cautions", False), AskPermission("clothing")]
    assert replay(desk.plan, desk.journal) == desk.visit


@pytest.mark.parametrize(
    "calls",
    [("no", "ready"), ("caliper wiped", "ready"), ("no", "yes", "ready"), ("caliper wiped", "no")],
    ids=" ".join,
)
def test_ready_ends_the_preparation_wherever_it_stands(
    grammar: Any, plan: Plan, calls: tuple[str, ...]
) -> None:
    """After part of it was settled alone, the rest needs no more than a word."""
    desk = Desk(grammar, replace(plan, screening=True)).say(*calls)
    assert desk.told[-1] == AskPermission("clothing")


def test_a_caliper_not_wiped_blocks_nothing(grammar: Any, plan: Plan) -> None:
    """The no is recorded and warned about; the tick can follow by its own words."""
    desk = Desk(grammar, replace(plan, screening=True)).say("no", "no")
    assert desk.told == [Prepared("wiped", False), AskPreparation("cautions")]
    assert desk.say("caliper wiped").told[0] == Prepared("wiped", True)
    assert desk.say("postpone").told[-1] == Ended(Option.POSTPONE)


def test_a_visit_made_by_the_first_rules_is_replayed_by_them(grammar: Any, plan: Plan) -> None:
    """Two questions before touching, the half at every tape, and "later" is not taken back."""
    told = replace(plan, screening=True).to_plain()
    del told["rules"]
    old = Plan.from_plain(told)
    desk = Desk(grammar, old)
    desk.road.open()
    assert desk.told == [AskPreparation("wiped")]
    desk.say("yes", "no").marked()
    assert [each.mark for each in desk.visit.marks] == [Inches(54)] * 3
    desk.say("later", "undo")
    assert desk.told[0].what == "tape"
    assert replay(old, desk.journal) == desk.visit
    assert Plan.from_plain(old.to_plain()) == old


@pytest.mark.parametrize(
    ("caliper", "assessor", "asked"),
    [("other", "", ["other_caliper"]), ("dial caliper", "Quill", ["other_assessor"]),
     ("other", "Quill", ["other_caliper", "other_assessor"]), ("dial caliper", "", [])],
)  # fmt: skip
def test_another_caliper_or_assessor_is_a_question(
    grammar: Any, plan: Plan, caliper: str, assessor: str, asked: list[str]
) -> None:
    """What was used last time does not compare with another; the answer is recorded."""
    desk = Desk(grammar, replace(plan, last_time=Carried(caliper, assessor)))
    desk.road.open()
    for what in asked:
        assert desk.told[-1] == AskPreparation(what)
        desk.say("yes")
    assert desk.told[-1] == AskPermission("clothing")


# Setup from visit to visit.


def test_the_last_setup_is_told_when_the_site_comes_up(returning: Desk, english: English) -> None:
    """Direction and offset of the last visit are spoken, and hold without a word."""
    returning.marked().say("eight", "yes")
    assert "Fold horizontal, offset two." in english.say(returning.told[-1])
    assert setup_of(returning.visit, "midaxillary").fold is Fold.HORIZONTAL


def test_a_change_against_last_time_needs_its_yes(returning: Desk) -> None:
    """Saying "Fold vertical" where it was horizontal asks; no keeps it, yes records both."""
    returning.marked().say("eight", "yes", "fold vertical")
    question = AskSetup("midaxillary", SetupField.FOLD, "horizontal", "vertical", True)
    assert returning.told == [question]
    assert returning.say("no").told[0] == Dropped("midaxillary")
    assert setup_of(returning.visit, "midaxillary").fold is Fold.HORIZONTAL
    returning.say("fold vertical", "yes")
    assert returning.told[0] == SetupSaved("midaxillary", SetupField.FOLD, "vertical")
    fact = returning.journal[-1].facts[0]
    assert (fact["before"], fact["value"]) == ("horizontal", "vertical")
    assert returning.say("undo").told[-1].site == "midaxillary"
    assert setup_of(returning.visit, "midaxillary").fold is Fold.HORIZONTAL
    assert replay(returning.plan, returning.journal) == returning.visit


@pytest.mark.parametrize(
    ("said", "field", "before", "after"),
    [
        ("left side", SetupField.SIDE, "right", "left"),
        ("fold horizontal", SetupField.FOLD, "diagonal", "horizontal"),
        ("cloth one point five", SetupField.CLOTH, 0, 15),
        ("offset two point five", SetupField.OFFSET, None, 25),
    ],
)
def test_every_part_of_a_setup_can_be_changed(
    measuring: Desk, said: str, field: SetupField, before: Any, after: Any
) -> None:
    """On a first visit the change is against the protocol, and asked for as well."""
    measuring.say(said)
    assert measuring.told == [AskSetup("chest", field, before, after, last_time=False)]
    measuring.say("yes", said)
    assert measuring.told[0] == Refused(Why.ALREADY_SO, "chest")


def test_nothing_else_is_taken_while_a_change_waits(measuring: Desk) -> None:
    """A keyed value or another site has to wait for the yes or no."""
    measuring.say("left side").key(Reading(84))
    assert measuring.told[0] == Refused(Why.OTHER_PENDING, "chest")
    assert measuring.visit.readings == ()
    measuring.key(SetFold(Fold.VERTICAL), Finish(), Later(), Choose(Option.CHAPERONE))
    assert measuring.told[0] == Refused(Why.NOT_NOW)


def test_what_a_visit_hands_on(returning: Desk) -> None:
    """Setup and tape marks of what was measured; the rest as the visit before left it."""
    returning.marked().say("eight", "yes", "left side", "yes", "eleven", "yes")
    carried = carried_from(returning.visit)
    assert carried.site("midaxillary") == SiteSetup(
        "midaxillary", Fold.HORIZONTAL, Side.LEFT, 0, 20
    )
    chest = carried.site("chest")
    assert chest is not None
    assert (chest.length, chest.mark) == (Inches(108), Inches(36))
    assert carried.site("thigh") == returning.plan.last_time.site("thigh")
    assert carried.site("subscapular") is None
    assert Carried.from_plain(carried.to_plain()) == carried
    later = replace(returning.plan, last_time=carried)
    assert Plan.from_plain(later.to_plain()) == later


def test_the_last_tape_is_told_and_shown(returning: Desk, english: English) -> None:
    """Its length when the tape is asked for; its mark with the site if none is made today."""
    returning.permitted().say("seven", "yes", "nine", "yes")
    asked = returning.told[-1]
    assert asked == AskTape("thigh")
    assert english.say(asked).endswith("to the crease of the hip. Last time seventeen inches.")
    last = returning.plan.last_time
    assert last is not None
    thigh = replace(last.sites[1], mark=Inches(136))
    plan = replace(returning.plan, last_time=replace(last, sites=(last.sites[0], thigh)))
    for calls, told in (
        (("skip unable",), "mark at eight and a half inches."),
        (("seventeen inches", "yes"), "cloth one point five."),
    ):
        desk = Desk(returning.grammar, plan).permitted().say("seven", "yes", "nine", "yes")
        desk.say(*calls, "go to thigh")
        assert english.say(desk.told[-1]).endswith(told)


def test_another_limb_length_than_last_time_is_asked_about(returning: Desk) -> None:
    """Bones do not change: more than a centimetre off is a question."""
    returning.permitted().key(Tape(Inches(280), "thigh"))
    doubts = (TapeDoubt(TapeDoubtKind.CHANGED, Inches(272)),)
    assert returning.told[0].doubts == doubts
    returning.key(Tape(Inches(274), "thigh"))
    assert returning.told[0].doubts == ()


# The tape.


ALIKE = TapeDoubtKind.SOUNDS_ALIKE
UNUSUAL = TapeDoubt(TapeDoubtKind.UNUSUAL)


@pytest.mark.parametrize(
    ("said", "length", "doubts"),
    [
        ("thigh forty", Inches(640), (TapeDoubt(ALIKE, Inches(224)), UNUSUAL)),
        ("thigh fourteen", Inches(224), ()),
        ("thigh nine and three quarters", Inches(156), (UNUSUAL,)),
        ("chest thirty centimetres", Centimetres(300), (TapeDoubt(ALIKE, Centimetres(130)),)),
        ("chest thirteen centimetres", Centimetres(130), (TapeDoubt(ALIKE, Centimetres(300)),)),
        ("chest nine", Inches(144), ()),
    ],
    ids=["forty for fourteen", "fits", "too short", "thirty", "thirteen", "no pair"],
)
def test_a_doubtful_tape_length(desk: Desk, said: str, length: Any, doubts: Any) -> None:
    """Outside the site's usual length, or half of a pair whose other half fits too, it is asked.

    The usual lengths are common practice, no source.
    """
    desk.permitted().say(said)
    assert desk.visit.pending_tape.length == length
    assert desk.told[0].doubts == doubts


def test_a_tape_length_with_a_close_rival(desk: Desk) -> None:
    """The recogniser's runner-up is named, as it is for a reading."""
    desk.permitted().say("chest nine", confidence=0.6, rivals=("chest five",))
    assert desk.told[0].doubts == (TapeDoubt(TapeDoubtKind.RIVAL, Inches(80)),)


def test_both_ends_of_the_tape_are_told(desk: Desk, english: English) -> None:
    """The question says from where to where, the mark from which end."""
    desk.permitted()
    assert english.say(AskTape("triceps")) == (
        "triceps: call the tape length, from the elbow to the shoulder's bony tip."
    )
    desk.say("triceps fourteen and a half")
    assert "from the elbow." in english.say(desk.told[0])
    assert english.say(AskTape("thigh")).endswith("from the kneecap to the crease of the hip.")


def test_a_half_between_marks_is_rounded_as_the_protocol_says(grammar: Any, plan: Plan) -> None:
    """Down by default, up where the file says so; either way it is told."""
    up = replace(plan, protocol=replace(plan.protocol, tape_up=True))
    for each, mark in ((plan, 45), (up, 46)):
        desk = Desk(grammar, each).permitted().say("thigh five and eleven sixteenths")
        assert (desk.told[0].mark, desk.told[0].rounded) == (Inches(mark), True)
    assert "rounded up" in English(NumberWords(grammar), up.protocol).say(desk.told[0])


@pytest.mark.parametrize(
    ("sex", "said", "mark", "told"),
    [
        (Sex.FEMALE, "six and three quarters", Inches(36), "mark at one third, two and a quarter"),
        (Sex.MALE, "six and three quarters", Inches(54), "mark at three and three eighths"),
        (Sex.FEMALE, "twenty centimetres", Centimetres(66), "rounded down"),
    ],
    ids=["woman", "man", "woman, between two marks"],
)
def test_the_chest_of_women_is_marked_at_a_third(
    grammar: Any, plan: Plan, sex: Sex, said: str, mark: Any, told: str
) -> None:
    """Half way from armpit fold to nipple for men, a third of the way for women.

    Source: site definitions of Jackson and Pollock as a textbook's table gives them (NASM
    Essentials of Personal Fitness Training, table 11-6).
    """
    desk = Desk(grammar, replace(plan, sex=sex)).permitted().say(f"chest {said}")
    assert desk.told[0].mark == mark
    text = English(NumberWords(grammar), plan.protocol).say(desk.told[0])
    assert told in text
    assert "from the front of the armpit fold" in text
    desk.say("yes", f"triceps {said}")
    assert desk.told[0].mark in {Inches(54), Centimetres(100)}


# Through clothing.


def test_two_layers_of_cloth_are_taken_off(measuring: Desk) -> None:
    """A fold takes the cloth in twice; the dial's value is kept beside what is left."""
    measuring.say("go to thigh", "cloth one point five", "yes", "eighteen point four")
    assert measuring.told == [ReadBack("thigh", 1, 184, (), 15)]
    fact = measuring.journal[-1].facts[0]
    assert (fact["kind"], fact["cloth_tenths_mm"], fact["net_tenths_mm"], fact["estimate"]) == (
        "through_cloth", 15, 184 - 15 - 15, True,
    )  # fmt: skip
    assert measuring.say("yes").told[0] == Saved("thigh", 184, 15)
    assert measuring.visit.trials("thigh") == (154,)
    assert measuring.visit.is_estimate("thigh")
    assert [each.value_tenths_mm for each in measuring.visit.readings_of("thigh")] == [184]


def test_cloth_and_bare_skin_are_never_compared_in_silence(halfway: Desk) -> None:
    """A second reading through cloth after a bare one is doubtful, with the reason."""
    halfway.say("cloth one", "yes", "ten point four")
    assert Doubt(DoubtKind.OTHER_COVER) in halfway.told[0].doubts


def test_the_results_say_what_is_an_estimate_and_how_folds_ran(measuring: Desk) -> None:
    """The table marks a site read through cloth; a horizontal midaxillary is told as such."""
    measuring.say("eight point four", "yes", "fold horizontal", "yes").circuit(*FIRST[1:-1])
    measuring.say("cloth one", "yes").circuit("eleven", *FIRST[:-1], "eleven")
    lines = summary_lines(measuring.visit, visit_result_of(measuring.visit))
    marked = [line.split()[0] for line in lines if line.endswith(", estimate")]
    assert marked == ["thigh"]
    assert "two layers taken off" in "\n".join(lines)
    assert "Lifted in another direction than the equation asks for: midaxillary." in lines


@pytest.mark.parametrize(
    "answers",
    [
        ("no", "through clothing", "granted", "granted"),
        ("granted", "granted", "no", "through clothing", "granted"),
        ("granted", "through clothing", "granted", "granted"),
    ],
    ids=["clothing refused", "touch refused", "preferred"],
)
def test_cloth_of_unknown_thickness_is_asked_for(desk: Desk, answers: tuple[str, ...]) -> None:
    """If clothing stays on, for whatever reason, no site is silently taken as bare."""
    desk.say(*answers)
    for _ in desk.plan.protocol.tape_sites:
        desk.say("seven", "yes")
    desk.say("twelve")
    assert desk.told[0] == Refused(Why.CLOTH_UNKNOWN, "chest", 120)
    desk.say("bare skin", "yes", "twelve")
    assert desk.told[0].cloth_tenths_mm == 0


def test_a_reading_no_thicker_than_its_cloth(measuring: Desk) -> None:
    """Nothing is left of it: it is refused."""
    measuring.say("cloth three", "yes", "six")
    assert measuring.told[0] == Refused(Why.THINNER_THAN_CLOTH, "chest", 60)
    assert measuring.visit.readings == ()


# The course of the circuits.


def test_an_early_finish(halfway: Desk) -> None:
    """The rest is left out and named in the journal; the visit can be signed off, or taken up."""
    halfway.say("eight", "yes", "finish early")
    assert halfway.told == [Finished(), AllMeasured()]
    assert [each["site"] for each in halfway.journal[-1].facts[0]["left"]] == [
        "midaxillary", "triceps", "subscapular", "abdominal", "suprailiac", "thigh",
    ]  # fmt: skip
    assert halfway.say("undo").told[-1] == AskReading("midaxillary", 2, third=False)
    assert halfway.say("finish early", "sign off").told == [Signed()]
    assert replay(halfway.plan, halfway.journal) == halfway.visit


def test_an_extra_reading_at_the_end(finished: Desk) -> None:
    """One reading more at a named site, once; then all is measured again."""
    finished.say("extra chest")
    assert finished.told == [AskReading("chest", 3, third=False)]
    assert finished.told[0].why is WhyNext.EXTRA
    finished.say("eight point six", "yes")
    assert finished.told[-1] == AllMeasured()
    assert len(finished.visit.trials("chest")) == 3
    finished.say("extra chest")
    assert (finished.told[0].site, finished.told[0].same_again) == ("chest", True)
    assert finished.say("undo").told[-1] == AllMeasured()


def test_an_extra_reading_after_an_early_finish(measuring: Desk) -> None:
    """Only what is asked for is measured then."""
    measuring.say("finish early", "extra thigh", "nine", "yes")
    assert measuring.told[-1] == AllMeasured()
    measuring.key(Extra("banana"))
    assert measuring.told[0] == Refused(Why.NOT_IN_PROTOCOL, "banana")


def test_a_site_put_off_comes_at_the_end_of_its_circuit(measuring: Desk) -> None:
    """The order changes for this circuit only, and the program says why."""
    measuring.say("later")
    assert measuring.told == [PutOff("chest"), AskReading("midaxillary", 1, third=False)]
    order = []
    while (question := measuring.told[-1]).circuit == 1:
        order.append((question.site, question.why))
        measuring.say("twelve", "yes")
    assert [site for site, _ in order][-2:] == ["thigh", "chest"]
    assert order[-1][1] is WhyNext.PUT_OFF
    assert measuring.told[-1] == AskReading("midaxillary", 2, third=False)
    assert measuring.told[-1].why is WhyNext.RECOVERS


def test_a_site_put_off_can_be_taken_back(measuring: Desk, english: English) -> None:
    """Undo brings it up again, says so, and the journal keeps both."""
    measuring.say("later", "later")
    assert measuring.told[-1] == AskReading("triceps", 1, third=False)
    measuring.say("undo")
    assert english.say(measuring.told[0]) == "Taken back: later at midaxillary."
    assert measuring.told[-1] == AskReading("midaxillary", 1, third=False)
    assert measuring.journal[-1].facts[0] == {
        "kind": "undone", "what": "later", "site": "midaxillary",
    }  # fmt: skip
    measuring.say("undo")
    assert measuring.told[-1] == AskReading("chest", 1, third=False)
    assert measuring.visit.put_off == ()
    assert replay(measuring.plan, measuring.journal) == measuring.visit


def test_the_last_site_cannot_be_put_off(halfway: Desk) -> None:
    """Where nothing else is left in the circuit there is nothing to put it behind."""
    for site in ("chest", "midaxillary", "triceps", "subscapular", "abdominal", "suprailiac"):
        halfway.say(f"{site} twelve", "yes")
    assert halfway.say("later").told[0] == Refused(Why.NOT_NOW)


def test_why_a_site_is_next(measuring: Desk) -> None:
    """In order, or because it was asked for, or because two readings disagree."""
    assert why_next(measuring.visit) is WhyNext.ORDER
    assert why_next(measuring.say("go to thigh").visit) is WhyNext.CHOSEN
    measuring.say("nine", "yes").circuit(*FIRST[:-1]).circuit("fourteen", *FIRST[1:])
    assert measuring.told[-1] == AskReading("chest", 3, third=True)
    assert why_next(measuring.visit) is WhyNext.DISAGREE


@pytest.mark.parametrize(
    "intent",
    [Finish(), Later(), Extra("chest"), SetCloth(15), SetFold(Fold.VERTICAL), SetSide(Side.LEFT),
     SetOffset(2)],
    ids=lambda intent: type(intent).__name__,
)  # fmt: skip
def test_not_before_the_permissions(desk: Desk, intent: Any) -> None:
    """What belongs to measuring is refused before anybody may be touched, and after the end."""
    desk.key(intent)
    assert desk.told == [Refused(Why.NOT_NOW), AskPermission("clothing")]
    desk.say("no", "sign off").key(intent, Stop(), Wiped(), Note(Caution.SKIN), SignOff())
    assert desk.told == [Refused(Why.NOT_NOW), Signed()]


# The caliper's scale.


def test_a_coarse_scale_is_read_between_its_marks(grammar: Any, plan: Plan) -> None:
    """On a scale of 1 mm half a millimetre can be read by eye, but it is asked about.

    Source: laboratory sheets (from memory). Any other tenth is no reading of that scale.
    """
    desk = Desk(grammar, replace(plan, caliper=Caliper("coarse caliper", 10, 600))).marked()
    desk.say("eight point five")
    assert desk.told == [ReadBack("chest", 1, 85, (Doubt(DoubtKind.BY_EYE),))]
    desk.say("no", "eight point four")
    assert desk.told[0] == Refused(Why.OFF_SCALE, "chest", 84)


def test_a_fold_below_two_millimetres_is_asked_about(measuring: Desk) -> None:
    """Thinner than two layers of skin (common practice, no source)."""
    measuring.say("one point eight")
    assert Doubt(DoubtKind.THIN) in measuring.told[0].doubts
    measuring.say("no", "two")
    assert Doubt(DoubtKind.THIN) not in measuring.told[0].doubts


def test_beyond_the_opening_there_is_nothing_to_say_yes_to(
    measuring: Desk, english: English
) -> None:
    """The jaws do not open so far: it is refused, and what can be done is told."""
    measuring.say("eighty two")
    assert measuring.told[0] == Refused(Why.BEYOND_OPENING, "chest", 820)
    assert "skip too thick" in english.say(measuring.told[0])


# A whole visit, spoken and keyed.


def scenario(desk: Desk, *, keyed: bool) -> Desk:
    """A refusal, a withdrawal, a thigh through cloth, a horizontal midaxillary, two thirds."""

    def call(phrase: str) -> None:
        if not keyed:
            desk.say(phrase)
            return
        rule = desk.road.listening
        assert rule is not None
        parser = desk.grammar.parser(rule, {site.id for site in desk.plan.protocol.sites})
        intent = understand(parser, phrase.split())
        desk.key(intent)

    calls = ["no", "chaperone", "granted", "granted", "granted"]
    for length in ("seven", "fourteen and a half", "nineteen and five eighths"):
        calls += [length, "yes"]
    calls += ["eight point four", "yes", "fold horizontal", "yes", "eleven", "yes"]
    calls += ["ten point six", "yes", "fourteen point two", "stop", "other assessor", "granted"]
    calls += ["fourteen point two", "yes", "twenty two", "yes", "eleven", "yes"]
    calls += ["cloth one point five", "yes", "eighteen", "yes"]
    for value in ("eight", "fifteen", "thirteen point eight", "fourteen", "twenty two", "eleven"):
        calls += [value, "yes"]
    calls += ["eighteen point four", "yes"]
    calls += ["twelve", "yes", "eleven point two", "yes", "sign off"]
    for each in calls:
        call(each)
    return desk


def test_a_whole_visit_spoken_and_keyed_ends_in_the_same_record(grammar: Any, plan: Plan) -> None:
    """Voice and keypad lead to the same readings, setup, choices and answers."""
    spoken = scenario(Desk(grammar, plan), keyed=False)
    keyed = scenario(Desk(grammar, plan), keyed=True)
    for desk in (spoken, keyed):
        assert phase(desk.visit) is Phase.SIGNED
        assert replay(desk.plan, desk.journal) == desk.visit
    assert spoken.visit.trials("midaxillary") == (110, 150, 120)
    assert spoken.visit.trials("triceps") == (106, 138, 112)
    assert spoken.visit.trials("thigh") == (150, 154)
    assert spoken.visit.is_estimate("thigh")
    assert [each.option for each in spoken.visit.choices] == [
        Option.CHAPERONE, Option.OTHER_ASSESSOR,
    ]  # fmt: skip

    def record(desk: Desk) -> list[Any]:
        return [
            [replace(r, source=Source.KEYPAD, doubts=()) for r in desk.visit.readings],
            [replace(d, doubts=()) if hasattr(d, "doubts") else d for d in desk.visit.done],
            carried_from(desk.visit),
            [entry.readings for entry in desk.journal],
        ]

    assert record(spoken) == record(keyed)
