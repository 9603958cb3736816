"""The calibrated doubt: which utterances may be read back as usual."""

import math
from dataclasses import replace

import pytest

from capture.pack import open_pack
from capture.recognise.certainty import (
    LATER_NAMES,
    MOST_GAP,
    NAMES,
    UNSAFE_MOST,
    Certainty,
    CertaintyError,
    Verdict,
    calibrated,
    evidence_of,
    parse_certainty,
)
from capture.recognise.loudness import Levels
from capture.recognise.port import Alternative, Heard, Word
from capture.recognise.scripted import spoken
from capture.resources import data_folder

PACK = open_pack(data_folder("grammars") / "en")
FITTED = parse_certainty((PACK.folder / "certainty.toml").read_text(encoding="utf-8"))
VALUES = {"fifteen": 150, "one five": 150, "fifty": 500, "five": 50}

GOOD = (PACK.folder / "certainty.toml").read_text(encoding="utf-8")


def meaning_of(words: tuple[str, ...]) -> int | str:
    """The value of a few phrases."""
    text = " ".join(words)
    return VALUES.get(text, text)


def heard(text: str, confidence: float, score_per_s: float | None, **rivals: float) -> Heard:
    """An utterance of half a second a word, with rivals named by their words joined by _."""
    words = text.split()
    return Heard(
        tuple(Word(word, n * 0.5, n * 0.5 + 0.5, confidence) for n, word in enumerate(words)),
        confidence,
        tuple(
            Alternative(tuple(name.replace("unk", "[unk]").split("_")), share)
            for name, share in rivals.items()
        ),
        0.0,
        0.5 * len(words),
        score_per_s,
    )


def probability(utterance: Heard) -> float:
    """What the pack's own model makes of it."""
    evidence = evidence_of(utterance, meaning_of)
    assert evidence is not None
    return FITTED.probability(evidence)


def test_a_close_rival_with_another_value_makes_it_less_probable() -> None:
    """Fifteen with fifty close behind is doubted more than fifteen alone."""
    alone = probability(heard("fifteen", 1.0, 900.0))
    assert probability(heard("fifteen", 0.95, 900.0, fifty=0.05)) < alone
    assert probability(heard("fifteen", 0.6, 900.0, fifty=0.4)) < 0.9 * alone


def test_a_rival_with_the_same_value_is_no_doubt() -> None:
    """Fifteen and one five mean the same reading."""
    alone = heard("fifteen", 1.0, 900.0)
    shared = heard("fifteen", 0.6, 900.0, one_five=0.4)
    assert evidence_of(shared, meaning_of) == evidence_of(alone, meaning_of)


def test_a_loud_sound_that_no_word_covers_makes_it_doubtful() -> None:
    """However clear "seven" is: something was said before it that is no part of it."""
    whole = heard("seven", 1.0, 900.0)
    quiet, loud = (20.0,) * 10, (60.0,) * 25
    alone = Levels(-0.2, quiet + loud + quiet * 3)
    before = Levels(-0.9, quiet + loud + quiet + loud + quiet * 3)
    assert probability(replace(whole, levels=before)) <= UNSAFE_MOST
    assert probability(replace(whole, levels=alone)) > UNSAFE_MOST


def test_what_may_as_well_be_no_call_is_doubtful() -> None:
    """A "kiss" that is "yes" by a hair does not settle anything, however well it fits."""
    evidence = evidence_of(heard("yes", 0.51, 3000.0, unk=0.49), meaning_of)
    assert evidence is not None
    assert FITTED.verdict(FITTED.probability(evidence), at_once=True) is Verdict.AGAIN
    clear = evidence_of(heard("yes", 0.9, 3000.0, unk=0.1), meaning_of)
    assert clear is not None
    assert FITTED.verdict(FITTED.probability(clear), at_once=True) is Verdict.NORMAL


def test_a_word_that_may_be_another_is_less_probable() -> None:
    """Half of the phrases have another site: the number's certainty does not hide it."""
    sure = heard("chest five", 1.0, 900.0)
    words = (replace(sure.words[0], confidence=0.4), sure.words[1])
    assert probability(replace(sure, words=words)) < probability(sure)


def test_a_rest_and_a_faint_first_word_make_it_less_probable() -> None:
    """What the room said before may be taken for the site of the number."""
    close = heard("chest five", 1.0, 900.0)
    first, last = close.words
    parted = replace(close, words=(replace(first, end_s=first.end_s - 0.4), last))
    assert probability(parted) < probability(close)
    quiet, loud, faint = (20.0,) * 10, (60.0,) * 25, (46.0,) * 25
    even, uneven = Levels(-0.2, quiet + loud + loud), Levels(-0.2, quiet + faint + loud)
    assert probability(replace(close, levels=uneven)) < probability(replace(close, levels=even))


def test_a_pack_of_before_goes_without_the_later_terms() -> None:
    """Coefficients that an older file lacks count nothing; the older ones must be there."""
    lines = [line for line in GOOD.splitlines() if not line.startswith(LATER_NAMES)]
    older = parse_certainty("\n".join(lines))
    at = len(NAMES) - len(LATER_NAMES)
    assert older.coefficients == FITTED.coefficients[:at] + (0.0,) * len(LATER_NAMES)


def test_a_phrase_that_fits_the_sound_badly_is_less_probable() -> None:
    """A beep or a shout that is bent into the only word near it does not pass for clear."""
    good, bad = (probability(heard("five", 1.0, score)) for score in (1200.0, 120.0))
    assert bad < good


def test_no_seen_rival_counts_as_the_widest_gap() -> None:
    """The list of phrases ends somewhere: what lies beyond is not taken for certainty."""
    evidence = evidence_of(heard("five", 1.0, 900.0), meaning_of)
    assert evidence is not None
    assert evidence.gap == evidence.filler_gap == MOST_GAP


@pytest.mark.parametrize(
    "utterance",
    [heard("[unk]", 1.0, 900.0), heard("five", 1.0, None), spoken("five"), heard("", 1.0, 900.0)],
    ids=["filler", "no score", "scripted", "no words"],
)
def test_what_cannot_be_judged_is_left_as_it_is(utterance: Heard) -> None:
    """Another recogniser's utterances, and speech outside the grammar, keep their own numbers."""
    assert evidence_of(utterance, meaning_of) is None
    assert calibrated(utterance, meaning_of, FITTED) is utterance


def test_calibrated_shares_add_up_and_keep_their_order() -> None:
    """The winner and its equals share the probability of being right, the others the rest."""
    utterance = heard("fifteen", 0.5, 500.0, fifty=0.2, one_five=0.2, five=0.1)
    after = calibrated(utterance, meaning_of, FITTED)
    right = probability(utterance)
    fifty, one_five, five = (each.confidence for each in after.alternatives)
    assert math.isclose(after.confidence + one_five, right)
    assert math.isclose(fifty + five, 1 - right)
    assert math.isclose(fifty, 2 * five)
    assert replace(after, confidence=0.5, alternatives=utterance.alternatives) == utterance


def test_thresholds_part_normal_doubtful_and_again() -> None:
    """A probability at a threshold belongs to the better side."""
    model = Certainty(0.0, (0.0,) * len(NAMES), 0.9, 0.5, 0.95)
    verdicts = [model.verdict(each) for each in (1.0, 0.9, 0.89, 0.5, 0.49, 0.0)]
    assert verdicts == [
        *(Verdict.NORMAL, Verdict.NORMAL),
        *(Verdict.DOUBTFUL, Verdict.DOUBTFUL),
        *(Verdict.AGAIN, Verdict.AGAIN),
    ]


def test_what_takes_effect_at_once_is_taken_or_asked_again() -> None:
    """There is no doubtful yes: it is sure, or it is said once more."""
    model = Certainty(0.0, (0.0,) * len(NAMES), 0.9, 0.5, 0.95)
    verdicts = [model.verdict(each, at_once=True) for each in (0.95, 0.94, 0.6)]
    assert verdicts == [Verdict.NORMAL, Verdict.AGAIN, Verdict.AGAIN]


def test_a_room_can_only_make_it_stricter() -> None:
    """A voice check raises the thresholds of a read-back and of a yes, and never lowers one."""
    model = Certainty(0.0, (0.0,) * len(NAMES), 0.9, 0.5, 0.95)
    raised = model.stricter(0.97)
    assert (raised.normal_from, raised.sure_from, raised.again_below) == (0.97, 0.97, 0.5)
    between = model.stricter(0.93)
    assert (between.normal_from, between.sure_from) == (0.93, 0.95)
    assert model.stricter(0.5) == model
    assert model.stricter(1.7).verdict(0.999) is Verdict.DOUBTFUL


def test_a_pack_of_before_has_one_threshold_for_both() -> None:
    """Without a threshold of their own, words like yes need what a reading needs."""
    lines = [each for each in GOOD.splitlines() if not each.startswith("sure_from")]
    model = parse_certainty("\n".join(lines))
    assert model.sure_from == model.normal_from


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[coefficients", "cannot be read"),
        (GOOD.replace("log_fit", "log_fat"), "lacks log_fit"),
        (GOOD.replace("again_below = 0", "again_below = 9"), "thresholds must rise"),
        (GOOD.replace("intercept = ", "intercept = nan #"), "not a number"),
    ],
    ids=["not toml", "a name is missing", "thresholds cross", "not a number"],
)
def test_a_wrong_file_is_refused_by_name(text: str, said: str) -> None:
    """A damaged certainty.toml is never taken for one that trusts everything."""
    with pytest.raises(CertaintyError, match=said):
        parse_certainty(text)
