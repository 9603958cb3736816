"""One thing that was said or keyed, together with what it was understood as."""

from dataclasses import dataclass

from capture.language.intents import (
    Choose,
    Confirm,
    Correct,
    CorrectTape,
    Extra,
    Finish,
    GoTo,
    Intent,
    Later,
    Note,
    NotUnderstood,
    Ready,
    Refuse,
    SignOff,
    Skip,
    Undo,
    Wiped,
    from_plain,
    to_plain,
)
from capture.protocol.plausibility import CLOSE_RIVAL, UNMEASURED_UNSURE_BELOW, Limits
from capture.visit.entry import Entry, Plain, Source

DECISIVE = (Confirm, Skip, SignOff, Undo, GoTo, Choose, Note, Ready, Wiped, Finish, Extra, Later)
"""Calls that take effect at once, with no read-back to catch a mishearing."""


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

    `confidence` is the recogniser's probability of the phrase, None for keys. `limits` are those
    that hold for it, None for keys and for journals of before probabilities were measured. `late`:
    it was said so long after its question that it need not be an answer to it. `dwell_s`: it came
    so many seconds after the cue that the jaws are on, None without a cue. `begun_early`: it may
    have begun before the program listened, so that its first words may be missing.
    """

    intent: Intent | NotUnderstood
    source: Source
    words: str
    confidence: float | None = None
    rivals: tuple[Rival, ...] = ()
    limits: Limits | None = None
    late: bool = False
    dwell_s: float | None = None
    begun_early: bool = False

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
        if self.begun_early:
            return False
        sure_from = UNMEASURED_UNSURE_BELOW if self.limits is None else self.limits.sure_from
        return self.certainty >= sure_from and all(
            each.confidence < CLOSE_RIVAL for each in self.others
        )

    @property
    def is_lost(self) -> bool:
        """Whether it was heard so badly that it is not worth a question about it."""
        return self.limits is not None and self.certainty < self.limits.again_below

    @property
    def is_doubtful(self) -> bool:
        """Whether it is worth a question that names what else it could be."""
        return self.limits is not None and self.certainty < self.limits.normal_from

    @property
    def refusal(self) -> float:
        """The probability, 0 to 1, of a "no", with or without a value; 0 if another call won."""
        if not _refuses(self.intent):
            return 0.0
        likewise = sum(each.confidence for each in self.rivals if _refuses(each.intent))
        return min(1.0, (self.confidence or 0.0) + likewise)

    def facts(self) -> tuple[Plain, ...]:
        """How it was heard, for the journal, so that a replay judges it alike."""
        more: list[Plain] = []
        if self.dwell_s is not None:
            more.append({"kind": DWELL, "dwell_s": self.dwell_s})
        if self.begun_early:
            more.append({"kind": BEGUN_EARLY})
        if self.limits is None:
            return tuple(more)
        fact = {
            "kind": HEARING,
            "normal_from": self.limits.normal_from,
            "again_below": self.limits.again_below,
            "sure_from": self.limits.sure_from,
            "late": self.late,
        }
        return (fact, *more)


HEARING = "hearing"
"""The kind of the fact that tells by which limits a spoken call was judged."""

DWELL = "dwell"
"""The kind of the fact that tells how long the jaws were on when a value was called."""

BEGUN_EARLY = "begun_early"
"""The kind of the fact that a call may have begun before the program listened."""


def _refuses(intent: Intent | NotUnderstood) -> bool:
    if isinstance(intent, NotUnderstood):
        return intent.refuses
    return isinstance(intent, Refuse | Correct | CorrectTape)


def call_of(entry: Entry) -> Call:
    """The call that a journal entry keeps, for replay."""
    told = next((each for each in entry.facts if each.get("kind") == HEARING), None)
    limits = None
    if told is not None:
        limits = Limits(told["normal_from"], told["again_below"], told["sure_from"])
    return Call(
        intent=from_plain(entry.intent),
        source=entry.source,
        words=entry.words,
        confidence=entry.confidence,
        rivals=tuple(
            Rival(each["words"], each["confidence"], from_plain(each["intent"]))
            for each in entry.alternatives
        ),
        limits=limits,
        late=told is not None and told["late"],
        dwell_s=next((each["dwell_s"] for each in entry.facts if each.get("kind") == DWELL), None),
        begun_early=any(each.get("kind") == BEGUN_EARLY for each in entry.facts),
    )
