"""One thing that was said or keyed, together with what it was understood as."""

from dataclasses import dataclass

from capture.language.intents import Intent, NotUnderstood, from_plain, to_plain
from capture.protocol.plausibility import CLOSE_RIVAL, UNSURE_BELOW
from capture.visit.entry import Entry, Plain, Source


@dataclass(frozen=True, slots=True)
class Rival:
    """Another phrase that the recogniser held possible. Confidence lies in 0 to 1."""

    words: str
    confidence: float
    intent: Intent | NotUnderstood

    def to_plain(self) -> Plain:
        """The rival as a JSON object for the journal."""
        return {
            "words": self.words,
            "confidence": self.confidence,
            "intent": to_plain(self.intent),
        }


@dataclass(frozen=True, slots=True)
class Call:
    """What came in: the intent, its road, and for voice what the recogniser said of it.

    `confidence` is the recogniser's probability of the phrase, None for keys.
    """

    intent: Intent | NotUnderstood
    source: Source
    words: str
    confidence: float | None = None
    rivals: tuple[Rival, ...] = ()

    @property
    def certainty(self) -> float:
        """The probability of the meaning, 0 to 1: phrases that mean the same add up."""
        if self.confidence is None:
            return 1.0
        alike = sum(each.confidence for each in self.rivals if each.intent == self.intent)
        return min(1.0, self.confidence + alike)

    @property
    def others(self) -> tuple[Rival, ...]:
        """The rivals that mean something else."""
        return tuple(each for each in self.rivals if each.intent != self.intent)

    @property
    def is_clear(self) -> bool:
        """Whether the meaning is sure enough to act on where no read-back follows."""
        return self.certainty >= UNSURE_BELOW and all(
            each.confidence < CLOSE_RIVAL for each in self.others
        )


def call_of(entry: Entry) -> Call:
    """The call that a journal entry keeps, for replay."""
    return Call(
        intent=from_plain(entry.intent),
        source=entry.source,
        words=entry.words,
        confidence=entry.confidence,
        rivals=tuple(
            Rival(each["words"], each["confidence"], from_plain(each["intent"]))
            for each in entry.alternatives
        ),
    )
