"""From the decoder's list of best phrases to `Heard`.

Why not the decoder's own word confidences: they come with a phrase that is put together word by
word, each the likeliest at its place, which can be a phrase that no path of the grammar allows.
The list of best phrases holds true paths only, with the score (log-likelihood) of each; in it vosk
weighs the costs of the graph with 0.9.

The probabilities here are the softmax of the scores over the list. They say how clearly the
winner beats its rivals, not how often it is right: that must be measured on recordings.
"""

import json
import math
import re
from dataclasses import dataclass

from capture.recognise.port import UNKNOWN, Alternative, Heard, Word

LIST_LENGTH = 20
"""How many phrases to ask the decoder for: filler runs of different lengths take up several."""

MOST_RIVALS = 5

_FRAME_S = 0.03
"""The decoder's step: nothing it hears is shorter."""

# C++ writes infinities that JSON does not know; such a phrase has no alignment.
_NOT_A_NUMBER = re.compile(r"(:\s*)-?(?:inf|nan)\b")


@dataclass(frozen=True, slots=True)
class _Span:
    text: str
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class _Phrase:
    spans: tuple[_Span, ...]
    score: float

    @property
    def words(self) -> tuple[str, ...]:
        return tuple(span.text for span in self.spans)


def heard_from_nbest(document: str, offset_s: float = 0.0) -> Heard | None:
    """Read the decoder's answer with alternatives; None when silence won.

    `offset_s` is added to all times. A run of ``[unk]`` becomes a single one.

    >>> heard_from_nbest('{"alternatives": [{"text": "", "confidence": 1.0}]}') is None
    True
    """
    entries = json.loads(_NOT_A_NUMBER.sub(r"\1null", document)).get("alternatives", [])
    phrases = [
        _Phrase(_spans(entry.get("result", ())), entry["confidence"])
        for entry in entries
        if entry.get("confidence") is not None
    ]
    if not phrases:
        return None
    best = max(phrase.score for phrase in phrases)
    weights = [math.exp(phrase.score - best) for phrase in phrases]
    total = sum(weights)
    # The same words may come with different timings, or as filler runs of different lengths.
    shares: dict[tuple[str, ...], float] = {}
    for phrase, weight in zip(phrases, weights, strict=True):
        shares[phrase.words] = shares.get(phrase.words, 0.0) + weight / total
    ranked = sorted(shares, key=lambda words: -shares[words])
    if not ranked[0]:
        return None
    winner = next(phrase for phrase in phrases if phrase.words == ranked[0])
    words = tuple(
        Word(
            span.text,
            offset_s + span.start_s,
            offset_s + span.end_s,
            min(1.0, _share_with(span, phrases, weights) / total),
        )
        for span in winner.spans
    )
    rivals = tuple(Alternative(words, shares[words]) for words in ranked[1 : 1 + MOST_RIVALS])
    confidence = min(1.0, shares[ranked[0]])
    start_s, end_s = words[0].start_s, words[-1].end_s
    per_s = winner.score / max(end_s - start_s, _FRAME_S)
    return Heard(words, confidence, rivals, start_s, end_s, per_s)


def _spans(result: list[dict[str, object]]) -> tuple[_Span, ...]:
    spans: list[_Span] = []
    for entry in result:
        span = _Span(str(entry["word"]), float(str(entry["start"])), float(str(entry["end"])))
        if spans and span.text == spans[-1].text == UNKNOWN:
            span = _Span(UNKNOWN, spans.pop().start_s, span.end_s)
        spans.append(span)
    return tuple(spans)


def _share_with(span: _Span, phrases: list[_Phrase], weights: list[float]) -> float:
    """Weight of the phrases that have this word at about this time."""
    return sum(
        weight
        for phrase, weight in zip(phrases, weights, strict=True)
        if any(
            other.text == span.text and other.start_s < span.end_s and span.start_s < other.end_s
            for other in phrase.spans
        )
    )
