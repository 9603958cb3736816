"""Everything the program says has words, and what it reads back can be said."""

from collections.abc import Iterator
from itertools import product
from typing import get_args

import pytest

from capture.language.grammar import LISTENING, Grammar, understand
from capture.language.intents import (
    Caution,
    Correct,
    NotUnderstood,
    Option,
    Reading,
    SkipReason,
    Tape,
    WhyNot,
)
from capture.protocol.plausibility import Doubt, DoubtKind
from capture.protocol.protocol import SEVEN_SITES
from capture.protocol.setup import SetupField, SiteSetup
from capture.protocol.sites import Fold, Side
from capture.protocol.tape import TapeDoubt, TapeDoubtKind
from capture.units import Centimetres, Inches, TapeLength, millimetres
from capture.visit.announcement import (
    AllMeasured,
    Announcement,
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
    NoteOpen,
    Paused,
    Prepared,
    PutOff,
    ReadBack,
    ReadBackTape,
    Refused,
    RemarkTaken,
    Saved,
    SavedTape,
    SayAgain,
    SetupSaved,
    Signed,
    Skipped,
    Stopped,
    Undone,
    Why,
    WhyNext,
)
from capture.visit.state import Permission, Preparation
from capture.wording.english import English
from capture.wording.help import TITLES, phrase_lines
from capture.wording.numbers import NumberWords

SITES = [site.id for site in SEVEN_SITES.sites]
SCALE = range(5, 1000)
TWICE_SAID = [*range(12, 21), *range(30, 100, 10)]
"""Whole numbers that are read back digit by digit too: the teens, the tens, and twelve."""


def doubts() -> Iterator[Doubt]:
    """Every doubt, with the value it points to where its kind has one."""
    named = (DoubtKind.RIVAL, DoubtKind.SOUNDS_ALIKE, DoubtKind.MISHEARD)
    yield from (Doubt(kind, 84) for kind in named)
    yield Doubt(DoubtKind.DIFFERS, 84)
    bare = (DoubtKind.UNSURE, DoubtKind.UNUSUAL, DoubtKind.THIN, DoubtKind.BY_EYE)
    yield from (Doubt(kind) for kind in (*bare, DoubtKind.OTHER_COVER, DoubtKind.BEGUN_EARLY))


def of_the_trade() -> Iterator[Announcement]:
    """Choices, cautions, the preparation, and how sites are measured."""
    for option in Option:
        yield from (Chosen(option), Ended(option), Undone("choice", option))
    for caution in Caution:
        yield from (Noted(caution), Undone("caution", caution))
    for what in Preparation:
        yield from (AskPreparation(what), Undone("preparation", what))
        yield from (Prepared(what, yes) for yes in (True, False))
    yield from (Finished(), Undone("finish"))
    values: dict[SetupField, list[tuple[str | int | None, str | int]]] = {
        SetupField.FOLD: [("vertical", "horizontal"), ("diagonal", "vertical")],
        SetupField.SIDE: [("right", "left"), ("left", "right")],
        SetupField.CLOTH: [(0, 15), (15, 0), (None, 15), (None, 0), (5, 15)],
        SetupField.OFFSET: [(None, 25), (10, 25)],
    }
    for site in SITES[:2]:
        yield from (PutOff(site), *(Undone(what, site) for what in ("setup", "extra", "later")))
        yield from (ReadBack(site, 1, 150, (), 15), Saved(site, 150, 15))
        for setup_field, pairs in values.items():
            for before, after in pairs:
                for last_time in (True, False):
                    yield AskSetup(site, setup_field, before, after, last_time)
            for after in dict.fromkeys(after for _, after in pairs):
                yield SetupSaved(site, setup_field, after)


def announcements() -> Iterator[Announcement]:
    """Every announcement there is, with every kind of every part of it."""
    for permission in (each.value for each in Permission):
        yield from (AskPermission(permission), Stopped(permission))
        yield from (Answered(permission, granted) for granted in (True, False))
        yield Undone("permission", permission)
    for site in SITES:
        for circuit, third, again in product((1, 2), (False,), (False, True)):
            yield AskReading(site, circuit, third, again)
        yield from (AskReading(site, 3, third=True, same_again=again) for again in (False, True))
        yield from (ReadBack(site, 1, 150, ()), ReadBack(site, 2, 150, tuple(doubts())))
        yield from (ReadBack(site, 1, 150, (doubt,)) for doubt in doubts())
        yield from (Saved(site, 150), Dropped(site), Undone("reading", site, 150))
        yield from (Undone("skip", site), Undone("tape", site))
        yield from (Skipped(site, reason) for reason in SkipReason)
    for site in SEVEN_SITES.tape_sites:
        for length in (Inches(108), Inches(107), Centimetres(372), Centimetres(373)):
            mark, rounded = length.halved()
            yield from (AskTape(site.id), ReadBackTape(site.id, length, mark, rounded))
            yield SavedTape(site.id, mark)
    for why in Why:
        yield Refused(why, "chest", 802)
        if why not in {Why.BEYOND_OPENING, Why.OFF_SCALE}:  # these two always have a value
            yield from (Refused(why), Refused(why, "iliac_crest"))
    for why_not in WhyNot:
        yield from (SayAgain(NotUnderstood(why_not)), SayAgain(NotUnderstood(why_not, "100.0")))
    yield from (AllMeasured(), Paused(), Signed())
    yield from (NoteOpen(), Undone("remark"), RemarkTaken(spoken=True), RemarkTaken(spoken=False))
    yield from of_the_trade()


def test_the_list_holds_every_announcement() -> None:
    """What is checked below is all that the machine can announce, with all doubts."""
    kinds = {type(each) for each in announcements()}
    assert kinds == set(get_args(Announcement))
    assert {doubt.kind for doubt in doubts()} == set(DoubtKind)


def test_everything_has_words(english: English) -> None:
    """Whatever is announced is a sentence, without names that only a program would use."""
    for each in announcements():
        text = english.say(each)
        assert text[-1] in ".?", each
        assert not set(text) & set("_{}<>"), each
        assert "None" not in text, each
        assert "  " not in text, each
        assert text == text.strip(), each


def test_different_things_are_said_differently(english: English) -> None:
    """No two outcomes of a call sound the same."""
    texts = [
        english.say(each)
        for each in announcements()
        if not isinstance(each, Refused | SayAgain | AskReading | AskTape | SavedTape | ReadBack)
    ]
    assert len(set(texts)) == len(texts)
    assert len({english.say(Refused(why, "chest", 802)) for why in Why}) == len(Why)
    assert len({english.say(SayAgain(NotUnderstood(why))) for why in WhyNot}) == len(WhyNot)


def test_a_site_is_named_wherever_there_is_one(english: English) -> None:
    """A read-back and all that follows from it names its site."""
    for site in SEVEN_SITES.sites:
        for each in (
            AskReading(site.id, 1, third=False),
            ReadBack(site.id, 1, 84, ()),
            Saved(site.id, 84),
            Dropped(site.id),
            Skipped(site.id, SkipReason.SKIN),
            Undone("reading", site.id, 84),
            Refused(Why.JUST_MEASURED, site.id),
        ):
            assert site.title in english.say(each)


def test_doubts_are_told_with_their_value(english: English) -> None:
    """A doubtful read-back says why, names the other value, and asks for a sure yes."""
    plain = english.say(ReadBack("chest", 1, 150, ()))
    for doubt in doubts():
        text = english.say(ReadBack("chest", 1, 150, (doubt,)))
        assert text != plain
        assert "Doubtful" in text
        assert "Doubtful" not in plain
        assert ("eight point four" in text) == (doubt.other_tenths_mm is not None)


def test_what_is_read_back_parses_back(grammar: Grammar, numbers: NumberWords) -> None:
    """Every value, said as the program says it, is heard as that value, by words and digits."""
    wanted = grammar.parser(LISTENING + "reading_wanted")
    readback = grammar.parser(LISTENING + "readback")
    for value in SCALE:
        plain = numbers.plain(value)
        assert understand(wanted, plain.split()) == Reading(value)
        assert understand(readback, f"no {plain}".split()) == Correct(value)
        for part in numbers.read_back(value).split(": "):
            assert understand(wanted, part.split()) == Reading(value)


def test_teens_and_tens_are_read_back_twice(numbers: NumberWords) -> None:
    """Fifteen is "fifteen: one five" and fifty "fifty: five zero"; 25 needs no digits."""
    for value in SCALE:
        words, _, digits = numbers.read_back(value).partition(": ")
        assert words == numbers.plain(value)
        assert bool(digits) == (value // 10 in TWICE_SAID)
        if digits:
            said = digits.partition(" point ")[0].split()
            assert len(said) == 2


def test_no_two_values_are_read_back_alike(numbers: NumberWords) -> None:
    """Each value has its own words."""
    assert len({numbers.plain(value) for value in SCALE}) == len(SCALE)
    assert len({numbers.read_back(value) for value in SCALE}) == len(SCALE)


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (150, "fifteen: one five"),
        (500, "fifty: five zero"),
        (155, "fifteen point five: one five point five"),
        (84, "eight point four"),
        (5, "zero point five"),
        (100, "ten"),
        (255, "twenty five point five"),
    ],
)
def test_read_back_examples(numbers: NumberWords, value: int, said: str) -> None:
    """The shortest words for a value, then its digits where it could be misheard."""
    assert numbers.read_back(value) == said


def test_tape_lengths_are_said_as_they_are_called(grammar: Grammar, numbers: NumberWords) -> None:
    """A length that is read back can be called in the same words."""
    wanted = grammar.parser(LISTENING + "tape_wanted")
    lengths: list[TapeLength] = [Inches(each) for each in range(16, 641)]
    lengths += [Centimetres(each) for each in range(10, 1000)]
    for length in lengths:
        assert understand(wanted, numbers.length(length).split()) == Tape(length)
    assert len({numbers.length(length) for length in lengths}) == len(lengths)


def test_what_cannot_be_called_is_still_said(numbers: NumberWords) -> None:
    """A mark below one inch or one centimetre, and an odd value, have figures."""
    assert numbers.length(Inches(15)) == "15/16 in"
    assert numbers.length(Centimetres(9)) == "0.9 cm"
    assert numbers.plain(1005) == "100.5"


def test_figures_agree_with_words(english: English) -> None:
    """A saved value is said in figures as it stands on the screen."""
    for value in SCALE:
        assert millimetres(value) in english.say(Saved("thigh", value))


def test_the_help_tells_phrases_that_work(grammar: Grammar) -> None:
    """Every phrase that the help shows can be said in that state; no other site is named."""
    lines = phrase_lines(grammar, SITES)
    rule = ""
    shown = 0
    titles = {f"{title}:": name for name, title in TITLES.items()}
    for line in lines:
        if line in titles:
            rule = titles[line]
            continue
        for phrase in line.split('"')[1::2]:
            parser = grammar.parser(LISTENING + rule, SITES)
            assert not isinstance(understand(parser, phrase.split()), NotUnderstood), phrase
            shown += 1
    assert shown > len(titles)
    assert set(titles) <= set(lines)


def test_the_help_has_every_state(grammar: Grammar) -> None:
    """A state that is added to the grammar gets its heading."""
    states = {rule.removeprefix(LISTENING) for rule in grammar.rules if LISTENING in rule}
    assert states - {"anything"} == set(TITLES)


def test_a_reading_through_cloth_is_called_an_estimate(english: English) -> None:
    """Read back and saved, the dial's value, what is left without the cloth, and its name."""
    text = english.say(ReadBack("thigh", 1, 184, (), 15))
    assert "eighteen point four: one eight point four" in text
    assert "fifteen point four without it, an estimate" in text
    saved = english.say(Saved("thigh", 184, 15))
    assert "18.4 through cloth, 15.4 without it, an estimate" in saved
    assert "estimate" not in english.say(Saved("thigh", 184))


def test_a_change_against_last_time_is_a_question_that_says_so(english: English) -> None:
    """Vertical after horizontal does not compare, and the question says it."""
    changed = AskSetup("midaxillary", SetupField.FOLD, "horizontal", "vertical", True)
    assert english.say(changed) == (
        "midaxillary: last time fold horizontal; now fold vertical? The two do not compare."
    )


def test_the_setup_is_said_when_the_site_comes_up(english: English) -> None:
    """Fold, side, cloth and offset as they were last time."""
    setup = SiteSetup("midaxillary", Fold.HORIZONTAL, Side.LEFT, 15, 20)
    text = english.say(AskReading("midaxillary", 1, third=False, setup=setup))
    assert text == (
        "midaxillary, first circuit. Fold horizontal, left side, cloth one point five, offset two."
    )


@pytest.mark.parametrize(
    ("why", "told"),
    [
        (WhyNext.ORDER, "chest, second circuit."),
        (WhyNext.RECOVERS, "must recover"),
        (WhyNext.PUT_OFF, "put off"),
        (WhyNext.EXTRA, "one reading more"),
    ],
)
def test_why_a_site_is_next(english: English, why: WhyNext, told: str) -> None:
    """The usual order needs no word; everything else is said."""
    assert told in english.say(AskReading("chest", 2, third=False, why=why))


def test_lengths_that_sound_alike_are_told_digit_by_digit(
    english: English, numbers: NumberWords
) -> None:
    """Fourteen and a half is read back with its digits, and what it could be is named."""
    assert numbers.length_read_back(Inches(232)) == "fourteen and a half inches: one four"
    assert numbers.length_read_back(Centimetres(402)).endswith("centimetres: four zero")
    assert numbers.length_read_back(Inches(108)) == numbers.length(Inches(108))
    doubts = (TapeDoubt(TapeDoubtKind.SOUNDS_ALIKE, Inches(648)),)
    text = english.say(ReadBackTape("thigh", Inches(232), Inches(116), False, doubts))
    assert "or forty and a half inches: four zero? Yes only if sure." in text


@pytest.mark.parametrize("kind", TapeDoubtKind)
def test_a_doubtful_length_says_why(english: English, kind: TapeDoubtKind) -> None:
    """Every doubt about a length has its words."""
    doubt = TapeDoubt(kind, Inches(108))
    plain = english.say(ReadBackTape("thigh", Inches(232), Inches(116), False))
    text = english.say(ReadBackTape("thigh", Inches(232), Inches(116), False, (doubt,)))
    assert "Doubtful" in text
    assert "Doubtful" not in plain
