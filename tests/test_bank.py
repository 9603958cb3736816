"""The spoken prompts: every text can be said whole, and the sound is what the index says."""

import re
from collections.abc import Iterator
from itertools import chain, product
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
import soundfile

from capture.language.grammar import Grammar
from capture.language.intents import Caution, NotUnderstood, Option, SkipReason, WhyNot
from capture.pack import Pack
from capture.protocol.plausibility import Doubt, DoubtKind
from capture.protocol.protocol import PROTOCOLS, Protocol
from capture.protocol.setup import SetupField, SiteSetup
from capture.protocol.sites import Fold, Side
from capture.protocol.tape import TapeDoubt, TapeDoubtKind
from capture.sound.bank import APART_S, COLON_S, BankError, BankIndex, read_index, words_of
from capture.sound.clips import ClipBank, open_bank
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
from capture.wording.numbers import NumberWords

READINGS = range(5, 1000)
LENGTHS: list[TapeLength] = [
    *(Inches(sixteenths) for sixteenths in range(40 * 16 + 1)),
    *(Centimetres(millimetre) for millimetre in range(1000)),
]


@pytest.fixture(scope="module")
def bank(pack: Pack) -> ClipBank:
    """The bank of the English pack."""
    return open_bank(pack.folder / "prompts")


def about_sites(site: str) -> Iterator[Announcement]:
    """What can be said about one site, each in every form, with one number."""
    yield from (AskReading(site, circuit, False) for circuit in (1, 2, 3, 4))
    yield from (AskReading(site, 3, True, again) for again in (True, False))
    yield from (Skipped(site, reason) for reason in SkipReason)
    yield Dropped(site)
    yield Undone("reading", site, 124)
    yield from (Undone(what, site) for what in ("tape", "skip", "setup", "extra", "later"))
    yield from (Refused(why, site, 124) for why in Why)
    yield from (Saved(site, 124), Saved(site, 124, 15), ReadBack(site, 1, 124, (), 15))
    yield PutOff(site)
    yield from setups(site)
    yield ReadBack(site, 1, 150, ())
    every_doubt = tuple(Doubt(kind, 500) for kind in DoubtKind)
    yield ReadBack(site, 2, 150, every_doubt)
    yield ReadBack(site, 2, 150, every_doubt[::-1])


VALUES: dict[SetupField, tuple[str | int, ...]] = {
    SetupField.FOLD: tuple(fold.value for fold in Fold),
    SetupField.SIDE: tuple(side.value for side in Side),
    SetupField.CLOTH: (0, 5, 15, 60),
    SetupField.OFFSET: (0, 25),
}


def setups(site: str) -> Iterator[Announcement]:
    """How a site is measured, in every form, and every change of it."""
    for why in WhyNext:
        yield from (AskReading(site, 1, False, again, why) for again in (True, False))
    for fold, side, cloth, offset in product(Fold, Side, (None, 0, 15), (None, 25)):
        setup = SiteSetup(site, fold, side, cloth, offset)
        yield from (AskReading(site, 2, third, False, setup=setup) for third in (True, False))
    for field, values in VALUES.items():
        for before, after, last_time in product((None, *values), values, (True, False)):
            is_known = before is not None or field in {SetupField.CLOTH, SetupField.OFFSET}
            if is_known and before != after:
                yield AskSetup(site, field, before, after, last_time)
        yield from (SetupSaved(site, field, value) for value in values)


def of_the_trade() -> Iterator[Announcement]:
    """Choices, cautions and the preparation."""
    for option in Option:
        yield from (Chosen(option), Ended(option), Undone("choice", option))
    for caution in Caution:
        yield from (Noted(caution), Undone("caution", caution))
    for what in Preparation:
        yield from (AskPreparation(what), Undone("preparation", what))
        yield from (Prepared(what, yes) for yes in (True, False))
    yield from (Finished(), Undone("finish"))
    yield from (NoteOpen(), Undone("remark"), RemarkTaken(spoken=True), RemarkTaken(spoken=False))


def with_numbers(site: str, taped: str) -> Iterator[Announcement]:
    """What holds a number, with every number that it can hold; `taped` is a site with a tape."""
    for value in READINGS:
        doubts = tuple(Doubt(kind, value) for kind in DoubtKind)
        yield ReadBack(site, 1, value, doubts)
        yield Saved(site, value)
        yield Undone("reading", site, value)
        yield Refused(Why.BEYOND_OPENING, site, value)
        yield Refused(Why.OFF_SCALE, site, value)
    for length in LENGTHS:
        mark, rounded = length.halved()
        yield ReadBackTape(taped, length, mark, rounded)
        doubts = tuple(TapeDoubt(kind, length) for kind in TapeDoubtKind)
        yield ReadBackTape(taped, length, mark, rounded, doubts)
        yield SavedTape(taped, mark)
    refused_numbers = [*range(5), *range(1000, 2000)]
    for value in refused_numbers:
        yield SayAgain(NotUnderstood(WhyNot.OUT_OF_RANGE, millimetres(value)))


def everything_else() -> Iterator[Announcement]:
    """What is about no site."""
    for permission in Permission:
        yield AskPermission(permission.value)
        yield from (Answered(permission.value, granted) for granted in (True, False))
        yield Stopped(permission.value)
        yield Undone("permission", permission.value)
    yield from (Refused(why, None, 124) for why in Why)
    yield from (SayAgain(NotUnderstood(why)) for why in WhyNot)
    yield from (SayAgain(NotUnderstood(why, "fifteen")) for why in WhyNot if "range" not in why)
    yield from (AllMeasured(), Paused(), Signed())
    yield from of_the_trade()


def every_announcement(protocol: Protocol) -> Iterator[Announcement]:
    """All that can be said in a visit of a protocol."""
    sites = [site.id for site in protocol.sites]
    tapes = (
        each
        for site in protocol.tape_sites
        for rounded in (True, False)
        for each in (
            AskTape(site.id),
            AskTape(site.id, Inches(107)),
            AskReading(site.id, 1, False, setup=SiteSetup(site.id, site.fold, mark=Inches(107))),
            ReadBackTape(site.id, Inches(9), Inches(4), rounded),
            ReadBackTape(site.id, Inches(9), Inches(3), rounded, share=(1, 3)),
            SavedTape(site.id, Inches(4)),
        )
    )
    return chain(
        everything_else(),
        tapes,
        *(about_sites(site) for site in sites),
        with_numbers(sites[-1], protocol.tape_sites[0].id),
    )


def test_the_list_below_forgets_no_kind_of_announcement() -> None:
    """A new kind of announcement must be added to what the bank is tried with."""
    tried = {type(each) for each in every_announcement(next(iter(PROTOCOLS.values())))}
    assert tried == set(get_args(Announcement))


@pytest.mark.parametrize("protocol", PROTOCOLS.values(), ids=lambda protocol: protocol.id)
def test_everything_that_can_be_said_is_in_the_bank(
    bank: ClipBank, numbers: NumberWords, protocol: Protocol
) -> None:
    """No announcement of any kind, site, number, length or doubt lacks a fragment."""
    wording = English(numbers, protocol)
    texts = {wording.say(each) for each in every_announcement(protocol)}
    assert len(texts) > 5_000
    missing = set()
    for text in texts:
        try:
            bank.index.steps(text)
        except BankError as error:
            missing.add(error.message)
    assert missing == set()


def test_every_site_that_may_be_named_can_be_refused_by_name(
    bank: ClipBank, grammar: Grammar, english: English
) -> None:
    """A site that is no part of the protocol is told by its name."""
    named = {
        str(slots["site"]) for _, slots in grammar.automaton("foldcall.sites.site").sentences()
    }
    for site in named:
        assert bank.index.steps(english.say(Refused(Why.NOT_IN_PROTOCOL, site)))


def test_nothing_is_said_but_the_text(bank: ClipBank, english: English) -> None:
    """The clips together have the words of the text, in order and complete."""
    for announcement in every_announcement(next(iter(PROTOCOLS.values()))):
        text = english.say(announcement)
        told = [
            figure for step in bank.index.steps(text) for figure in words_of(step.clip.fragment)
        ]
        assert told == [word for each in words_of(text) for word in spelled(bank.index, each)]


def spelled(index: BankIndex, word: str) -> tuple[str, ...]:
    """A word as the bank's first spelling has it: figures and signs in words."""
    clip = index.clips.get((word,))
    return words_of(clip.fragment) if clip and re.search(r"\d|^cm$|^mm$", word) else (word,)


def test_digits_after_the_colon_stand_apart(bank: ClipBank) -> None:
    """In "fifteen: one five" the number, each digit, and the question are told apart by pauses."""
    steps = bank.index.steps("chest, fifteen: one five. Right?")
    assert [step.clip.fragment for step in steps] == ["chest", "fifteen", "one", "five", "right"]
    assert steps[1].pause_s == COLON_S
    assert steps[2].pause_s == APART_S
    assert steps[3].pause_s > APART_S


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Saved: chest 15.2.", "saved chest 15 .2"),
        ("1 1/16 in", "1 1/16 inch"),
        ("not in this protocol", "not in this protocol"),
        ("0.4 millimetres", "0 .4 millimetres"),
        ("100.0", "100 .0"),
        ("153.0", "100 53 .0"),
        ("the caliper's scale", "the caliper's scale"),
    ],
)
def test_texts_fall_into_words(text: str, words: str) -> None:
    """Figures, fractions and marks are told apart."""
    assert words_of(text) == tuple(words.split())


@pytest.mark.parametrize("text", ["chest elbowish", "elbowish", "chest 15.25.", "1234"])
def test_a_text_with_an_unknown_word_is_refused_whole(bank: ClipBank, text: str) -> None:
    """What cannot be said in full is not said in part."""
    with pytest.raises(BankError, match="lack words"):
        bank.say(text)


def test_the_length_is_known_to_the_sample(bank: ClipBank) -> None:
    """The sound of a text is as long as its clips and pauses together."""
    steps = bank.index.steps("thigh, twenty two point five. Right?")
    pauses = sum(round(step.pause_s * bank.rate_hz) for step in steps[:-1])
    clips = sum(step.clip.length for step in steps)
    assert len(bank.say("thigh, twenty two point five. Right?")) == clips + pauses


def test_the_clips_are_even(bank: ClipBank) -> None:
    """No clip is cut off at full scale, and none is much louder or softer than the others."""
    loudness = []
    for clip in set(bank.index.clips.values()):
        samples = bank.samples[clip.start : clip.start + clip.length]
        assert np.abs(samples).max() < 0.95, clip.fragment
        assert np.abs(samples[:24]).max() < 0.05, f"{clip.fragment} begins with a click"
        assert np.abs(samples[-24:]).max() < 0.05, f"{clip.fragment} ends with a click"
        assert 0.15 < clip.length / bank.rate_hz < 3.5, clip.fragment
        loud = np.sort(samples**2)[len(samples) // 2 :]
        loudness.append(10 * np.log10(loud.mean()))
    assert max(loudness) - min(loudness) < 4.0


def test_teens_and_tens_differ_in_length_of_sound(bank: ClipBank) -> None:
    """Each half of a pair such as fifteen and fifty has a clip of its own."""
    for teen in range(13, 20):
        one, other = bank.index.clips[(str(teen),)], bank.index.clips[(str((teen - 10) * 10),)]
        assert one.start != other.start


def test_the_bank_is_small(pack: Pack) -> None:
    """Sound and index together stay within two megabytes."""
    files = [file for file in (pack.folder / "prompts").iterdir() if file.is_file()]
    assert sum(file.stat().st_size for file in files) <= 2_000_000


GOOD = """
format = 1
file = "x.ogg"
rate_hz = 24000
voice = "nobody"
[[clip]]
says = ["yes"]
start = 0
length = 10
"""


@pytest.mark.parametrize(
    "text",
    [
        "",
        "format = [",
        GOOD.replace("format = 1", "format = 2"),
        GOOD.replace("length = 10", "length = 0"),
        GOOD.replace("start = 0", "start = -1"),
        GOOD.replace('says = ["yes"]', "says = []"),
        GOOD + '\n[[clip]]\nsays = ["Yes"]\nstart = 1\nlength = 1\n',
    ],
    ids=["empty", "no TOML", "newer", "no sound", "before the start", "no words", "twice"],
)
def test_a_wrong_index_is_refused_by_name(text: str) -> None:
    """A damaged index names its file and stops nothing else."""
    assert read_index(GOOD, "prompts.toml").clips
    with pytest.raises(BankError, match=r"prompts\.toml"):
        read_index(text, "prompts.toml")


def test_a_bank_that_is_cut_short_is_refused(bank: ClipBank, pack: Pack, tmp_path: Path) -> None:
    """Sound that does not reach as far as its index says is not used."""
    index = (pack.folder / "prompts" / "prompts.toml").read_text(encoding="utf-8")
    (tmp_path / "prompts.toml").write_text(index, encoding="utf-8")
    with pytest.raises(BankError, match="cannot be read"):
        open_bank(tmp_path)
    short = bank.samples[: bank.rate_hz]
    soundfile.write(tmp_path / "prompts.ogg", short, bank.rate_hz, format="OGG", subtype="VORBIS")
    with pytest.raises(BankError, match="do not match"):
        open_bank(tmp_path)
