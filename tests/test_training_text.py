"""The text that the training voices speak, and the pronunciations behind it."""

import random
from pathlib import Path

import pytest

from capture.training import texts
from capture.training.lexicon import (
    PDF_COUNT,
    PHONES,
    merged,
    read_pronunciation_file,
    read_pronunciations,
    without_stress,
)

PACK = Path(__file__).parents[1] / "grammars" / "en" / "pronunciations.dict"


@pytest.fixture
def pack():
    """The pack's own pronunciations."""
    return read_pronunciation_file(PACK)


def test_same_seed_gives_the_same_text(pack):
    """The recipe can be repeated: one seed, one corpus; another seed, another corpus."""

    def phrases(seed):
        make = texts.phrase_maker(sorted(pack), ["lantern", "meadow"], random.Random(seed))
        return [make() for _ in range(200)]

    assert phrases(3) == phrases(3)
    assert phrases(3) != phrases(4)


def test_every_call_is_made_of_pack_words_and_known_joints(pack):
    """A call that the pack cannot pronounce would be left out of training unseen."""
    rng = random.Random(5)
    unknown = {word for _ in range(5000) for word in texts.call(rng).split() if word not in pack}
    assert unknown <= {"an", "listening"}


def test_hard_pairs_are_all_spoken():
    """Fifteen and fifty, and all their like, each come often enough to be told apart."""
    rng = random.Random(6)
    counts = dict.fromkeys([*texts.TEENS, *texts.TENS, "five", "nine", "two", "oh", "point"], 0)
    for _ in range(4000):
        for word in texts.call(rng).split():
            if word in counts:
                counts[word] += 1
    assert min(counts.values()) >= 20


@pytest.mark.parametrize(
    ("number", "spoken"),
    [(0, "zero"), (7, "seven"), (10, "ten"), (19, "nineteen"), (40, "forty"), (99, "ninety nine")],
)
def test_whole_numbers_are_spoken_as_one_number(number, spoken):
    """Thirty seven is said as it is counted."""
    assert texts.spoken_whole(number) == spoken


def test_digits_are_spoken_one_by_one():
    """Twelve may be read out as one two; a nought as oh or zero."""
    assert texts.spoken_digits(12, random.Random(1)) == "one two"
    assert texts.spoken_digits(50, random.Random(1)) in {"five oh", "five zero"}


def test_unknown_phone_is_named_with_its_line():
    """A slip in the pronunciation list is found before hours of training."""
    with pytest.raises(ValueError, match=r"line 2: .*QQ"):
        read_pronunciations(["two  T UW", "three  TH QQ"], "list")


def test_comments_and_repeats_are_dropped():
    """A word keeps each of its pronunciations once, in the order written."""
    lexicon = read_pronunciations(["; note", "half  HH AE F", "half  HH AA F", "half  HH AE F"])
    assert lexicon == {"half": (("HH", "AE", "F"), ("HH", "AA", "F"))}


def test_general_dictionary_fills_only_gaps():
    """Our own pronunciations win over the general dictionary's."""
    general = without_stress({"half": [["HH", "AE1", "F"]], "tree": [["T", "R", "IY1"]]})
    ours = read_pronunciations(["half  HH AA F"])
    both = merged(ours, general)
    assert both["half"] == (("HH", "AA", "F"),)
    assert both["tree"] == (("T", "R", "IY"),)


def test_phone_numbers_match_the_layout():
    """The network's 40 outputs are silence and the 39 phones in alphabetical order."""
    assert sorted(PHONES) == list(PHONES)
    assert PDF_COUNT == 40
