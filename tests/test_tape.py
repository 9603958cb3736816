"""Tape lengths: as they are called, halved, read back and marked."""

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from capture.composition.forms import Sex
from capture.language.grammar import LISTENING, Grammar, understand
from capture.language.intents import CorrectTape, NotUnderstood, Skip, SkipReason, Tape, WhyNot
from capture.units import Centimetres, Inches
from capture.visit.announcement import (
    AskTape,
    Dropped,
    ReadBackTape,
    Refused,
    SavedTape,
    Skipped,
    Why,
)
from capture.visit.state import Plan
from capture.wording.english import English


@pytest.fixture
def plan(plan: Plan) -> Plan:
    """A man's visit: the mark is at the half of every tape."""
    return replace(plan, sex=Sex.MALE)


# English words for lengths, written down again: nothing here comes from the pack.
ONES = [
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
    "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen",
    "nineteen",
]  # fmt: skip
TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
PARTS = {2: "half", 4: "quarter", 8: "eighth", 16: "sixteenth"}


def whole_words(number: int) -> str:
    """1 to 99 in words."""
    if number < 20:
        return ONES[number]
    tens, one = divmod(number, 10)
    return TENS[tens - 2] + (f" {ONES[one]}" if one else "")


def inch_words(sixteenths: int) -> str:
    """A length from one inch on in words, its fraction in lowest terms."""
    whole, rest = divmod(sixteenths, 16)
    if not rest:
        return whole_words(whole)
    part = Fraction(rest, 16)
    name = PARTS[part.denominator]
    count = "a" if part == Fraction(1, 2) else ONES[part.numerator]
    return f"{whole_words(whole)} and {count} {name}{'s' if part.numerator > 1 else ''}"


def test_every_sixteenth_to_forty_inches(grammar: Grammar) -> None:
    """A length is heard as its exact sixteenths, with or without the word "inches"."""
    wanted = grammar.parser(LISTENING + "tape_wanted")
    readback = grammar.parser(LISTENING + "tape_readback")
    for sixteenths in range(16, 40 * 16 + 1):
        words = inch_words(sixteenths)
        length = Inches(sixteenths)
        assert understand(wanted, words.split()) == Tape(length), words
        assert understand(wanted, f"{words} inches".split()) == Tape(length)
        assert understand(wanted, f"thigh {words} inch".split()) == Tape(length, "thigh")
        assert understand(readback, f"no {words}".split()) == CorrectTape(length)


def test_every_millimetre_to_a_metre(grammar: Grammar) -> None:
    """A length in centimetres, plain or by digits, is heard as its exact millimetres."""
    wanted = grammar.parser(LISTENING + "tape_wanted")
    for length_mm in range(10, 1000):
        whole, tenth = divmod(length_mm, 10)
        forms = [whole_words(whole)]
        if whole >= 10:
            forms.append(" ".join(ONES[int(digit)] for digit in str(whole)))
        for form in forms:
            words = f"{form} point {ONES[tenth]} centimetres"
            assert understand(wanted, words.split()) == Tape(Centimetres(length_mm)), words
            if tenth == 0:
                plain = understand(wanted, f"{form} centimetres".split())
                assert plain == Tape(Centimetres(length_mm))


REFUSED_LENGTHS = {
    "six and three": WhyNot.UNFINISHED,
    "six and three fourths": WhyNot.NOT_A_CALL,
    "six and two quarters": WhyNot.NOT_A_CALL,
    "six and nine eighths": WhyNot.NOT_A_CALL,
    "three quarters": WhyNot.NOT_A_CALL,
    "thirty seven point two": WhyNot.UNFINISHED,
    "thirty seven point two inches": WhyNot.NOT_A_CALL,
    "six seven": WhyNot.UNFINISHED,
    "twelve fifteen": WhyNot.TWO_NUMBERS,
    "zero inches": WhyNot.NOT_A_CALL,
    "yes": WhyNot.NOT_A_CALL,
}


@pytest.mark.parametrize(("said", "why"), REFUSED_LENGTHS.items(), ids=REFUSED_LENGTHS.keys())
def test_what_is_no_length_is_refused(grammar: Grammar, said: str, why: WhyNot) -> None:
    """A length that is unfinished or has no mark on the tape is not taken."""
    answer = understand(grammar.parser(LISTENING + "tape_wanted"), said.split())
    assert isinstance(answer, NotUnderstood)
    assert answer.why is why


MIDPOINTS = {
    "six and three quarters": ("six and three quarters", "three and three eighths", False),
    "fourteen and a half inches": ("fourteen and a half", "seven and a quarter", False),
    "fourteen and five eighths inches": (
        "fourteen and five eighths", "seven and five sixteenths", False,
    ),
    "six and three sixteenths": (
        "six and three sixteenths", "three and one sixteenth", True,
    ),
    "thirty seven point two centimetres": (
        "thirty seven point two centimetres", "eighteen point six centimetres", False,
    ),
    "thirty seven point three centimetres": (
        "thirty seven point three centimetres", "eighteen point six centimetres", True,
    ),
}  # fmt: skip
"""The first two midpoints are common practice, no source; the others are half by arithmetic."""


@pytest.mark.parametrize(("said", "expected"), MIDPOINTS.items(), ids=MIDPOINTS.keys())
def test_the_mark_is_read_back_before_it_counts(
    desk: Any, english: English, said: str, expected: tuple[str, str, bool]
) -> None:
    """The length, the mark at its half, and a rounding are said; nothing counts before the yes."""
    length, mark, rounded = expected
    (read_back,) = desk.permitted().say(said).told
    text = english.say(read_back)
    assert length in text
    assert f"mark at {mark}" in text
    assert ("rounded down" in text) is read_back.rounded is rounded
    assert "from the front of the armpit fold" in text
    assert desk.visit.marks == ()
    assert desk.say("yes").told[0] == SavedTape("chest", read_back.mark)
    assert [(tape.site, tape.mark) for tape in desk.visit.marks] == [("chest", read_back.mark)]


def test_the_three_midpoints_in_their_order(desk: Any) -> None:
    """Chest, triceps and thigh are asked in this order, then the first fold."""
    asked = [desk.permitted().told[-1]]
    for _ in range(3):
        asked.append(desk.say("seven", "yes").told[-1])
    assert asked[:3] == [AskTape("chest"), AskTape("triceps"), AskTape("thigh")]
    assert [tape.site for tape in desk.visit.marks] == ["chest", "triceps", "thigh"]
    assert desk.road.listening == LISTENING + "reading_wanted"


def test_a_refused_length_is_asked_again(desk: Any) -> None:
    """After "no" the same site is asked once more and nothing is marked."""
    desk.permitted().say("seven", "no")
    assert desk.told == [Dropped("chest"), AskTape("chest")]
    assert desk.visit.marks == ()


def test_a_length_is_corrected_in_one_breath(desk: Any) -> None:
    """Saying "No, seven and a half" puts the right length in place and reads it back."""
    desk.permitted().say("eleven and a half", "no seven and a half")
    assert desk.told == [ReadBackTape("chest", Inches(120), Inches(60), rounded=False)]
    assert [tape.length for tape in desk.say("yes").visit.marks] == [Inches(120)]


def test_a_tape_site_may_be_named_out_of_turn(desk: Any) -> None:
    """Saying "Thigh nineteen" marks the thigh first; the chest is asked after it."""
    desk.permitted().say("thigh nineteen", "yes")
    assert [tape.site for tape in desk.visit.marks] == ["thigh"]
    assert desk.told[-1] == AskTape("chest")
    desk.say("thigh nineteen")
    assert desk.told[0] == Refused(Why.ALREADY_DONE, "thigh")


@pytest.mark.parametrize("site", ["midaxillary", "subscapular"])
def test_a_site_without_a_midpoint_takes_no_length(desk: Any, site: str) -> None:
    """A length for a site that is found without a tape is refused."""
    desk.permitted().say(f"{site} seven")
    assert desk.told == [Refused(Why.NOT_IN_PROTOCOL, site), AskTape("chest")]


def test_a_tape_can_be_left_out_with_its_reason(desk: Any) -> None:
    """Unable to tape leaves out the mark only; refused leaves out the site for good."""
    desk.permitted().say("skip unable")
    assert desk.told == [Skipped("chest", SkipReason.UNABLE), AskTape("triceps")]
    desk.say("skip refused", "nineteen", "yes")
    assert desk.told[-1].site == "chest"
    measured = []
    while (question := desk.told[-1]).circuit == 1:
        measured.append(question.site)
        desk.say("twelve", "yes")
    assert measured == ["chest", "midaxillary", "subscapular", "abdominal", "suprailiac", "thigh"]


def test_a_skip_leaves_out_the_length_that_waits(desk: Any) -> None:
    """A site named out of turn and then skipped is the one that is left out, and so recorded."""
    desk.permitted().say("thigh nineteen").key(Skip(SkipReason.UNABLE))
    assert desk.told == [Skipped("thigh", SkipReason.UNABLE), AskTape("chest")]
    assert desk.visit.pending_tape is None
    assert [fact["kind"] for fact in desk.journal[-1].facts] == ["tape_dropped", "skipped"]


def test_no_length_before_permission_and_none_after_the_tapes(desk: Any) -> None:
    """A keyed length is refused where no tape is wanted."""
    desk.key(Tape(Inches(100)))
    assert desk.told[0] == Refused(Why.NOT_NOW)
    desk.marked().key(Tape(Inches(100), "chest"))
    assert desk.told[0] == Refused(Why.NOT_NOW)
    desk.key(CorrectTape(Inches(100)))
    assert desk.told[0] == Refused(Why.NOT_NOW)


def test_another_length_takes_the_place_of_the_one_that_waits(desk: Any) -> None:
    """At most one length waits: a bare one replaces it, one for another site has to wait."""
    desk.permitted().say("seven").key(Tape(Inches(100)))
    assert desk.visit.pending_tape.length == Inches(100)
    desk.key(Tape(Inches(200), "thigh"))
    assert desk.told[0] == Refused(Why.OTHER_PENDING, "chest")
    assert desk.visit.pending_tape.length == Inches(100)
