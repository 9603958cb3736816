"""One thing that was said or keyed, together with what it was understood as."""

from dataclasses import dataclass

from capture.language.intents import Intent, NotUnderstood, from_plain, to_plain
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
