"""How probable it is that an utterance was heard right, from measured cases.

The recogniser's own confidence only compares phrases of the grammar with each other. Here it is
put together with how well the phrase fits the sound, by a logistic model whose coefficients were
fitted on recordings with known words (the pack's certainty.toml says how).
"""

import math
import tomllib
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from itertools import pairwise

from capture.errors import CaptureError
from capture.recognise.loudness import Loudness, loudness
from capture.recognise.port import UNKNOWN, Alternative, Heard

MOST_GAP = 8.0
"""Gaps are cut here: the decoder's list ends about 6 below the winner, so more is not seen."""

LEFT_OUT_S = 0.1
"""So much sound as loud as the words, covered by none, makes an answer unsafe.

In the benchmark 15 of 32 such answers were wrong (of two networks), half of a number for the
whole. There are too few of them to fit a coefficient.
"""

UNKNOWN_GAP = math.log(2)
"""An answer is unsafe that is less than twice as probable as speech outside the grammar.

"Kiss", said alone, was "yes" with 51 % against 49 %. In the benchmark, quiet to 10 dB, 13 of 1,536
words that take effect at once were so and 5 of 5,635 readings: too few for a coefficient, and cheap
to ask for again.
"""

UNSAFE_MOST = 0.6
"""How probable an unsafe answer is at most, whatever the rest shows."""

_LEAST_FIT_PER_S = 10.0
_LEAST_SHARE = 1e-9
_LEAST_UNSURE = 1e-3
MeaningOf = Callable[[Sequence[str]], Hashable]
"""The meaning of a phrase; equal meanings are one answer."""


class CertaintyError(CaptureError):
    """The pack's certainty.toml cannot be used."""


class Verdict(StrEnum):
    """What to do with an utterance of some probability."""

    NORMAL = "normal"
    """Read it back as usual."""
    DOUBTFUL = "doubtful"
    """Read it back with the other possibility named; only an explicit yes counts."""
    AGAIN = "again"
    """More likely wrong than right: ask for it once more."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What one utterance shows; gaps are differences of log-probabilities, at most `MOST_GAP`.

    `gap`: to the best phrase with another meaning. `filler_gap`: to speech outside the grammar.
    `log_fit`: logarithm of the winner's score for each second (LF-MMI, above no model at all).
    `least_confidence`: of the word that is least sure, other ways of saying the same counted in.
    `longest_rest_s`: between two of the words. `loudness`: what the level of the sound tells.
    """

    gap: float
    filler_gap: float
    log_fit: float
    words: int
    s_per_word: float
    least_confidence: float = 1.0
    longest_rest_s: float = 0.0
    loudness: Loudness = field(default_factory=Loudness)

    @property
    def is_unsafe(self) -> bool:
        """Whether a word may be missing, or the whole be no call at all."""
        return self.loudness.left_out_s >= LEFT_OUT_S or self.filler_gap < UNKNOWN_GAP

    def values(self) -> tuple[float, ...]:
        """The numbers that the coefficients belong to, in the order of `NAMES`."""
        return (
            self.gap,
            float(self.gap >= MOST_GAP),
            self.filler_gap,
            self.log_fit,
            float(self.words == 1),
            math.log(max(self.s_per_word, 0.03)),
            math.log(1 - self.least_confidence + _LEAST_UNSURE),
            self.longest_rest_s,
            self.loudness.first_below_db,
            self.loudness.clear_db,
            float(self.words),
        )


LATER_NAMES = ("log_least_unsure", "longest_rest_s", "first_below_db", "clear_db", "words")
"""Terms that packs of before may lack."""

NAMES = (
    "gap",
    "no_rival",
    "filler_gap",
    "log_fit",
    "single_word",
    "log_s_per_word",
    *LATER_NAMES,
)


@dataclass(frozen=True, slots=True)
class Certainty:
    """The fitted model with its thresholds.

    A probability of `normal_from` or more is normal; below `again_below` it is not worth a
    question about this value. Words that take effect at once, such as "yes", need `sure_from`;
    below it they are asked for again.
    """

    intercept: float
    coefficients: tuple[float, ...]
    normal_from: float
    again_below: float
    sure_from: float

    def probability(self, evidence: Evidence) -> float:
        """How probable it is that the meaning is right, 0 to 1."""
        values = zip(self.coefficients, evidence.values(), strict=True)
        logit = self.intercept + sum(factor * value for factor, value in values)
        probability = 1 / (1 + math.exp(-max(-50.0, min(50.0, logit))))
        return min(probability, UNSAFE_MOST) if evidence.is_unsafe else probability

    def stricter(self, least: float) -> "Certainty":
        """The same with both thresholds at least so high, such as those of a room.

        A probability that is too low for a usual read-back is too low for a "yes" as well.
        """
        least = min(1.0, least)
        return replace(
            self, normal_from=max(self.normal_from, least), sure_from=max(self.sure_from, least)
        )

    def verdict(self, probability: float, *, at_once: bool = False) -> Verdict:
        """What to do with an answer of this probability; `at_once`: it would take effect so."""
        if at_once:
            return Verdict.NORMAL if probability >= self.sure_from else Verdict.AGAIN
        if probability >= self.normal_from:
            return Verdict.NORMAL
        return Verdict.DOUBTFUL if probability >= self.again_below else Verdict.AGAIN


def parse_certainty(text: str, name: str = "certainty.toml") -> Certainty:
    """Read the coefficients; CertaintyError names what is missing or out of range."""
    hint = "Restore the file, or fit it anew: python -m tests.bench.speech --fit."
    try:
        found = tomllib.loads(text)
        table = found["coefficients"]
        model = Certainty(
            float(table["intercept"]),
            tuple(
                # Packs of before these were fitted go without them.
                float(table.get(each, 0) if each in LATER_NAMES else table[each])
                for each in NAMES
            ),
            float(found["thresholds"]["normal_from"]),
            float(found["thresholds"]["again_below"]),
            # Packs of before this threshold was fitted apart go by the one for readings.
            float(found["thresholds"].get("sure_from", found["thresholds"]["normal_from"])),
        )
    except (TypeError, ValueError, OverflowError, RecursionError) as error:
        raise CertaintyError(f"{name} cannot be read: {error}.", hint) from None
    except KeyError as error:
        raise CertaintyError(f"{name} lacks {error.args[0]}.", hint) from None
    lowest = min(model.normal_from, model.sure_from)
    if not 0 <= model.again_below <= lowest <= max(model.normal_from, model.sure_from) <= 1:
        raise CertaintyError(f"{name}: thresholds must rise from 0 to 1.", hint)
    if not all(map(math.isfinite, (model.intercept, *model.coefficients))):
        raise CertaintyError(f"{name}: a coefficient is not a number.", hint)
    return model


def evidence_of(heard: Heard, meaning_of: MeaningOf) -> Evidence | None:
    """What an utterance shows; None for speech outside the grammar or a road without scores."""
    words = tuple(word.text for word in heard.words)
    if not words or UNKNOWN in words or heard.score_per_s is None:
        return None
    meant = meaning_of(words)
    same, rival, filler = heard.confidence, 0.0, 0.0
    sure = [word.confidence for word in heard.words]
    for each in heard.alternatives:
        if UNKNOWN in each.words:
            filler += each.confidence
        elif each.words and meaning_of(each.words) == meant:
            same += each.confidence
            # A word that another way of saying the same lacks is none the less sure for it.
            for place, word in enumerate(words):
                sure[place] += each.confidence * (word not in each.words)
        else:
            rival = max(rival, each.confidence)
    return Evidence(
        _gap(same, rival),
        _gap(same, filler),
        math.log(max(heard.score_per_s, _LEAST_FIT_PER_S)),
        len(words),
        (heard.end_s - heard.start_s) / len(words),
        min(1.0, *sure),
        max((after.start_s - word.end_s for word, after in pairwise(heard.words)), default=0.0),
        loudness([(word.start_s, word.end_s) for word in heard.words], heard.levels),
    )


def calibrated(heard: Heard, meaning_of: MeaningOf, certainty: Certainty) -> Heard:
    """The same utterance with probabilities that were measured.

    The winner and the phrases that mean the same share the probability of being right; the
    others share the rest. Without scores it is left as it is.
    """
    evidence = evidence_of(heard, meaning_of)
    if evidence is None:
        return heard
    right = certainty.probability(evidence)
    meant = meaning_of(tuple(word.text for word in heard.words))
    alike = [bool(each.words) and meaning_of(each.words) == meant for each in heard.alternatives]
    pairs = list(zip(heard.alternatives, alike, strict=True))
    same = heard.confidence + sum(each.confidence for each, like in pairs if like)
    other = sum(each.confidence for each, like in pairs if not like)

    def scaled(share: float, like: bool) -> float:
        return share * (right / same if like else (1 - right) / max(other, _LEAST_SHARE))

    return replace(
        heard,
        confidence=scaled(heard.confidence, True),
        alternatives=tuple(
            Alternative(each.words, scaled(each.confidence, like)) for each, like in pairs
        ),
    )


def _gap(mine: float, others: float) -> float:
    if others <= 0:
        return MOST_GAP
    return min(MOST_GAP, math.log(max(mine, _LEAST_SHARE) / others))
