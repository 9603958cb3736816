"""Spoken numbers: what is a reading, what is not, against a second grammar written here."""

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from capture.language.grammar import LISTENING, Grammar, Parser, understand
from capture.language.intents import Correct, NotUnderstood, Reading, WhyNot
from capture.language.meaning import intent_from

# English number words, written down again on purpose: nothing here comes from the pack.
ZEROS = ("zero", "oh", "nought")
POINTS = ("point", "decimal")
UNITS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
TEENS = (
    "ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen",
    "eighteen", "nineteen",
)  # fmt: skip
TENS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
UNIT = {word: n for n, word in enumerate(UNITS, 1)}
TEEN = {word: n for n, word in enumerate(TEENS, 10)}
TY = {word: n * 10 for n, word in enumerate(TENS, 2)}
DIGIT = UNIT | dict.fromkeys(ZEROS, 0)
VOCABULARY = (*ZEROS, *UNITS, *TEENS, *TENS, *POINTS, "and", "a", "half", "hundred")


def plain(whole: int) -> str:
    """1 to 99 as people say it."""
    if whole < 10:
        return UNITS[whole - 1]
    if whole < 20:
        return TEENS[whole - 10]
    tens, unit = divmod(whole, 10)
    return TENS[tens - 2] + (f" {UNITS[unit - 1]}" if unit else "")


def digits_of(number: int) -> list[str]:
    """The digits as words, in every way to say a zero."""
    choices = [ZEROS if digit == "0" else (UNITS[int(digit) - 1],) for digit in str(number)]
    return [" ".join(words) for words in product(*choices)]


def spoken_forms(value_tenths: int) -> set[str]:
    """Every way in which a value of 0.5 to 99.9 may be spoken."""
    whole, tenth = divmod(value_tenths, 10)
    heads = set(ZEROS) if whole == 0 else {plain(whole)}
    if whole >= 10:
        heads |= set(digits_of(whole))
    forms = {
        f"{head} {point} {last}" for head in heads for point in POINTS for last in digits_of(tenth)
    }
    if tenth == 0:
        forms |= heads
    if tenth == 5 and whole:
        forms.add(f"{plain(whole)} and a half")
    return forms


def reference(words: tuple[str, ...]) -> int | None:
    """The value in tenths that a phrase has by the rules of this test, None if it has none."""
    if len(words) >= 3 and words[-2] in POINTS:
        whole, tenth = whole_number(words[:-2], zero=True), DIGIT.get(words[-1])
    elif words[-3:] == ("and", "a", "half"):
        whole, tenth = whole_number(words[:-3], digits=False), 5
    else:
        whole, tenth = whole_number(words), 0
    if whole is None or tenth is None:
        return None
    value = whole * 10 + tenth
    return value if 5 <= value <= 999 else None


def whole_number(words: tuple[str, ...], *, zero: bool = False, digits: bool = True) -> int | None:
    """1 to 99, plainly or digit by digit; a lone zero only before a point."""
    match words:
        case (only,):
            known = UNIT | TEEN | TY | (dict.fromkeys(ZEROS, 0) if zero else {})
            return known.get(only)
        case (tens, unit) if tens in TY and unit in UNIT:
            return TY[tens] + UNIT[unit]
        case (first, second) if digits and first in UNIT and second in DIGIT:
            return UNIT[first] * 10 + DIGIT[second]
    return None


@pytest.fixture(scope="module")
def wanted(grammar: Grammar) -> Parser:
    """What is listened for while a reading is wanted."""
    return grammar.parser(LISTENING + "reading_wanted")


@pytest.fixture(scope="module")
def readback(grammar: Grammar) -> Parser:
    """What is listened for while a reading is read back."""
    return grammar.parser(LISTENING + "readback")


TABLE: dict[str, int | WhyNot] = {
    "twelve": 120,
    "twelve point four": 124,
    "twelve decimal four": 124,
    "twelve point oh": 120,
    "twelve and a half": 125,
    "one two": 120,
    "one two point five": 125,
    "five zero": 500,
    "five oh point nought": 500,
    "fifty": 500,
    "fifteen": 150,
    "fifty five": 550,
    "ninety nine point nine": 999,
    "nine nine point nine": 999,
    "oh point five": 5,
    "nought point eight": 8,
    "zero decimal nine": 9,
    "one": 10,
    "oh point four": WhyNot.OUT_OF_RANGE,
    "oh point two": WhyNot.OUT_OF_RANGE,
    "oh point oh": WhyNot.OUT_OF_RANGE,
    "zero": WhyNot.OUT_OF_RANGE,
    "hundred": WhyNot.OUT_OF_RANGE,
    "a hundred": WhyNot.OUT_OF_RANGE,
    "one hundred and five": WhyNot.OUT_OF_RANGE,
    "one hundred ninety nine": WhyNot.OUT_OF_RANGE,
    "twelve point": WhyNot.UNFINISHED,
    "point five": WhyNot.UNFINISHED,
    "and a half": WhyNot.UNFINISHED,
    "twelve and a": WhyNot.UNFINISHED,
    "fifty fifteen": WhyNot.TWO_NUMBERS,
    "fifteen fifty": WhyNot.TWO_NUMBERS,
    "five twenty": WhyNot.TWO_NUMBERS,
    "twelve five": WhyNot.LOST_POINT,
    "twelve oh": WhyNot.LOST_POINT,
    "twenty five five": WhyNot.LOST_POINT,
    "fifty oh": WhyNot.LOST_POINT,
    "one two five": WhyNot.LOST_POINT,
    "oh five": WhyNot.LOST_POINT,
    "twelve point five five": WhyNot.TOO_FINE,
    "twelve point twelve": WhyNot.NOT_A_CALL,
    "twelve point five and a half": WhyNot.NOT_A_CALL,
    "one two and a half": WhyNot.NOT_A_CALL,
    "half": WhyNot.NOT_A_CALL,
    "one hundred point five": WhyNot.NOT_A_CALL,
    "minus twelve": WhyNot.NOT_A_CALL,
}


@pytest.mark.parametrize(("said", "meant"), TABLE.items(), ids=TABLE.keys())
def test_table(wanted: Parser, said: str, meant: int | WhyNot) -> None:
    """What is said is this value in tenths of a millimetre, or is refused for this reason."""
    answer = understand(wanted, said.split())
    if isinstance(meant, WhyNot):
        assert isinstance(answer, NotUnderstood)
        assert answer.why is meant
    else:
        assert answer == Reading(meant)


def test_every_value_in_every_spoken_form(wanted: Parser, readback: Parser) -> None:
    """0.5 to 99.9 mm, plain, by digits, with a half, with any word for zero and point."""
    spoken: dict[str, int] = {}
    for value in range(5, 1000):
        for form in spoken_forms(value):
            assert spoken.setdefault(form, value) == value
            words = form.split()
            assert understand(wanted, words) == Reading(value), form
            assert understand(readback, ["no", *words]) == Correct(value), form
    assert len(spoken) > 5000


def test_the_grammar_has_no_other_spoken_form(grammar: Grammar) -> None:
    """The grammar's readings are, sentence for sentence, the forms written down here."""
    made = grammar.automaton("foldcall.readings.reading").restricted("site", ())
    parser = Parser(made)
    found = {
        " ".join(words): answer.value_tenths_mm
        for words, _ in made.sentences()
        if isinstance(answer := understand(parser, words), Reading)
    }
    assert found == {form: value for value in range(5, 1000) for form in spoken_forms(value)}


def heard_value(parser: Parser, words: tuple[str, ...]) -> int | None:
    """The value that the program takes from these words."""
    # Looking for the reason of a refusal is slow; a phrase without slots is no reading anyway.
    slots = parser.slots(words)
    answer = None if slots is None else intent_from(slots)
    return answer.value_tenths_mm if isinstance(answer, Reading) else None


@pytest.mark.parametrize("length", [1, 2, 3])
def test_short_phrases_of_number_words_one_and_all(wanted: Parser, length: int) -> None:
    """Of all phrases of up to three number words, only those that are numbers are taken."""
    for words in product(VOCABULARY, repeat=length):
        assert heard_value(wanted, words) == reference(words), words


@pytest.mark.parametrize("length", [4, 5])
def test_longer_phrases_of_one_word_of_each_kind(wanted: Parser, length: int) -> None:
    """Longer phrases, with one word standing for each kind of number word."""
    kinds = ("oh", "one", "fifteen", "fifty", "point", "and", "a", "half", "hundred")
    for words in product(kinds, repeat=length):
        assert heard_value(wanted, words) == reference(words), words


@st.composite
def nearly_numbers(draw: st.DrawFn) -> tuple[str, ...]:
    """A spoken value with some words changed, left out or put in."""
    value = draw(st.integers(5, 999))
    words = list(draw(st.sampled_from(sorted(spoken_forms(value)))).split())
    for _ in range(draw(st.integers(0, 3))):
        place = draw(st.integers(0, len(words)))
        words[place : place + draw(st.integers(0, 2))] = draw(
            st.lists(st.sampled_from(VOCABULARY), max_size=2)
        )
    return tuple(words)


@given(words=nearly_numbers() | st.lists(st.sampled_from(VOCABULARY), max_size=9).map(tuple))
@settings(max_examples=600, deadline=None)
def test_nothing_but_a_number_is_taken_for_one(wanted: Parser, words: tuple[str, ...]) -> None:
    """However number words are strung together, a reading is taken only where one was said."""
    assert heard_value(wanted, words) == reference(words)


@given(words=nearly_numbers())
@settings(max_examples=300, deadline=None)
def test_a_correction_takes_the_same_numbers(readback: Parser, words: tuple[str, ...]) -> None:
    """After "no", just the numbers are taken that would be taken without it."""
    answer = understand(readback, ("no", *words))
    value = answer.value_tenths_mm if isinstance(answer, Correct) else None
    assert value == reference(words)
