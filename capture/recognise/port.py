"""What a recogniser hands over, and what it must be able to do.

Everything behind this port is exchangeable: the strict recogniser of the project's own model, any
other Vosk model with a list of phrases, or a script in a test.
"""

from dataclasses import dataclass
from typing import Protocol

from capture.recognise.loudness import Levels

UNKNOWN = "[unk]"
"""The word that stands for speech outside the grammar. A phrase that holds it is not understood."""


@dataclass(frozen=True, slots=True)
class Word:
    """One word with its place in the fed audio (seconds) and its probability (0 to 1)."""

    text: str
    start_s: float
    end_s: float
    confidence: float


@dataclass(frozen=True, slots=True)
class Alternative:
    """A phrase that lost, with its probability (0 to 1). No words: silence or noise."""

    words: tuple[str, ...]
    confidence: float

    @property
    def text(self) -> str:
        """The words as one line."""
        return " ".join(self.words)


@dataclass(frozen=True, slots=True)
class Heard:
    """One utterance: the winning words, and what else it could have been.

    `confidence` is the probability of the whole phrase, 0 to 1; `alternatives` are its rivals,
    best first, without the winner. Times are seconds of audio fed since the recogniser began.
    `score_per_s` is the winner's score in the decoder for each second of it, on the decoder's own
    open scale: higher fits the sound better. `levels` are those of the sound around the words,
    since the utterance before. None where the recogniser has no such score or levels.
    """

    words: tuple[Word, ...]
    confidence: float
    alternatives: tuple[Alternative, ...]
    start_s: float
    end_s: float
    score_per_s: float | None = None
    levels: Levels | None = None

    @property
    def text(self) -> str:
        """The words as one line."""
        return " ".join(word.text for word in self.words)


class Recogniser(Protocol):
    """Turns blocks of sound into utterances. One thread uses it at a time."""

    @property
    def sample_rate_hz(self) -> int:
        """Rate of the audio that `feed` expects."""
        ...

    def listen(self, context: str) -> None:
        """Expect the phrases of this context (a root rule of the grammar) from the next utterance.

        An utterance that has begun is heard out in the old context. ValueError if unknown.
        """
        ...

    def feed(self, block: bytes) -> Heard | None:
        """Take 16-bit mono little-endian sound, at most 0.4 s at a time.

        Returns an utterance when this block ended one that had words, otherwise None.
        """
        ...

    def finish(self) -> Heard | None:
        """End the input: the utterance that was still open, if it had words."""
        ...

    def reset(self) -> None:
        """Forget the open utterance, for example after the program itself has spoken."""
        ...
