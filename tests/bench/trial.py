"""One call, or one piece of other sound, as a recogniser heard it, and what would become of it."""

from dataclasses import dataclass

from capture.recognise.certainty import Certainty, Evidence, Verdict
from tests.bench import sounds
from tests.bench.figures import Outcome
from tests.bench.fit import FITTED_ON


@dataclass(frozen=True, slots=True)
class Heard:
    """One answer that would be acted on.

    `wait_s` runs from the end of speech to the block with the answer; `silence_s` is how much
    silence the end of speech asks for after such a call, `busy_s` the computing of its last block.
    `at_once`: it would take effect without a read-back.
    """

    words: tuple[str, ...]
    right: bool
    at_once: bool
    evidence: Evidence | None
    wait_s: float
    silence_s: float
    busy_s: float

    def probability(self, certainty: Certainty | None) -> float:
        """That it is right; 1 for a recogniser without a measure of doubt."""
        if certainty is None or self.evidence is None:
            return 1.0
        return certainty.probability(self.evidence)

    def verdict(self, certainty: Certainty | None) -> Verdict:
        """What a visit would make of it."""
        if certainty is None:
            return Verdict.NORMAL
        return certainty.verdict(self.probability(certainty), at_once=self.at_once)


@dataclass(frozen=True, slots=True)
class Trial:
    """One call under one condition."""

    voice: str
    number: int
    rule: str
    text: str
    noise: str
    snr_db: int | None
    answers: tuple[Heard, ...]
    sound_s: float
    busy_s: float
    rested: bool = False
    """The speaker rested between two words of it."""

    @property
    def condition(self) -> str:
        """Such as "pink 10 dB"."""
        return self.noise if self.snr_db is None else f"{self.noise} {self.snr_db} dB"

    @property
    def which(self) -> tuple[str, int, bool, str]:
        """One of all: no two trials of a recogniser have the same."""
        return self.voice, self.number, self.rested, self.condition

    @property
    def for_fitting(self) -> bool:
        """Whether it belongs to the half on which the doubt is fitted."""
        if self.voice == sounds.PERSON:
            return bool(self.number % 2)
        return self.voice in FITTED_ON

    def outcome(self, certainty: Certainty | None) -> Outcome:
        """What would become of it; None: without a measure of doubt."""
        kept = [(each, each.verdict(certainty)) for each in self.answers]
        kept = [(each, verdict) for each, verdict in kept if verdict is not Verdict.AGAIN]
        if not kept:
            return Outcome.ASKED
        if any(verdict is Verdict.NORMAL and not each.right for each, verdict in kept):
            return Outcome.WRONG
        if any(verdict is Verdict.DOUBTFUL for _, verdict in kept):
            return Outcome.DOUBTFUL
        return Outcome.EXACT


@dataclass(frozen=True, slots=True)
class Stray:
    """Answers to sound without a call."""

    kind: str
    rule: str
    answers: tuple[Heard, ...]
    sound_s: float
    busy_s: float

    @property
    def voice(self) -> str:
        """Whose speech it is; where it is none, what sounds."""
        return self.kind.removeprefix("speech, ")

    @property
    def for_fitting(self) -> bool:
        """Whether it is speech of a voice on which the doubt is fitted."""
        return self.voice in FITTED_ON
