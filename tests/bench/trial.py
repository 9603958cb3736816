"""Lets a recogniser hear every call in every noise, in several processes."""

import multiprocessing
import resource
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import noises
import numpy as np
import sounds
from figures import Outcome
from fit import FITTED_ON
from hearing import RATE_HZ, Hearer, Hearing, Judge, Ours, Sphinx

from capture.language.grammar import LISTENING
from capture.recognise.certainty import Certainty, Evidence, Verdict, evidence_of
from capture.wiring import default_pack, open_ear

SNRS_DB = (20, 10, 5)
TRIM_S = 0.06
"""What the corpus keeps of the silence after a call."""

_LINES_OF_BABBLE = 20


@dataclass(frozen=True, slots=True)
class Setup:
    """Where the sounds are and how many calls of each voice are heard."""

    folder: Path
    calls: int
    at_most: int
    seed: int


@dataclass(frozen=True, slots=True)
class Heard:
    """One answer that would be acted on; `wait_s` runs from the end of speech."""

    words: tuple[str, ...]
    right: bool
    evidence: Evidence | None
    wait_s: float
    busy_s: float

    def probability(self, certainty: Certainty | None) -> float:
        """That it is right; 1 for a recogniser without a measure of doubt."""
        if certainty is None or self.evidence is None:
            return 1.0
        return certainty.probability(self.evidence)


@dataclass(frozen=True, slots=True)
class Trial:
    """One call under one condition."""

    voice: str
    number: int
    text: str
    noise: str
    snr_db: int | None
    answers: tuple[Heard, ...]
    sound_s: float
    busy_s: float

    @property
    def condition(self) -> str:
        """Such as "pink 10 dB"."""
        return self.noise if self.snr_db is None else f"{self.noise} {self.snr_db} dB"

    @property
    def for_fitting(self) -> bool:
        """Whether it belongs to the half on which the doubt is fitted."""
        if self.voice == sounds.PERSON:
            return bool(self.number % 2)
        return self.voice in FITTED_ON

    def outcome(self, certainty: Certainty | None) -> Outcome:
        """What would become of it; None: without a measure of doubt."""
        kept = [
            (each, certainty.verdict(each.probability(certainty)) if certainty else Verdict.NORMAL)
            for each in self.answers
        ]
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
    def for_fitting(self) -> bool:
        """Whether it is speech of a voice on which the doubt is fitted."""
        return self.kind.removeprefix("speech, ") in FITTED_ON


def hearers(name: str) -> tuple[Hearer, Judge]:
    """The recogniser of that name, "foldcall" or "pocketsphinx", and the judge."""
    pack = default_pack()
    judge = Judge(pack.grammar)
    if name == "pocketsphinx":
        return Sphinx(pack.grammar, list(sounds.RULES), pack.pronunciations()), judge
    return Ours(open_ear(pack, [LISTENING + rule for rule in sounds.RULES])), judge


def conditions(setup: Setup) -> Mapping[tuple[str, int | None], noises.Noise | None]:
    """Quiet, and each noise at each distance from the speech."""
    others = sounds.read_other(setup.folder, setup.seed)
    lines = [line for each in others.values() for line in each[:_LINES_OF_BABBLE]]
    kinds = {"pink": noises.pink, "babble": noises.babble(lines), "gym": noises.gym}
    found: dict[tuple[str, int | None], noises.Noise | None] = {("clean", None): None}
    for kind, noise in kinds.items():
        for snr_db in SNRS_DB:
            found[kind, snr_db] = noise
    return found


def _trials(setup: Setup, name: str, part: int, parts: int) -> list[Trial]:
    hearer, judge = hearers(name)
    heard: dict[str, int] = {}
    found = []
    noisy = conditions(setup)
    for count, call in enumerate(sounds.read_calls(setup.folder, setup.calls, setup.seed)):
        number = heard[call.voice] = heard.get(call.voice, -1) + 1
        if number >= setup.at_most or count % parts != part:
            continue
        meant = judge.meaning(call.rule, call.text.split())
        for (kind, snr_db), noise in noisy.items():
            seed = zlib.crc32(f"{setup.seed} {call.voice} {number} {kind} {snr_db}".encode())
            rng = np.random.default_rng(seed)
            sound = noises.in_room(call.samples, noise, snr_db or 0, rng)
            hearing = hearer.hear(call.rule, sound)
            ended_s = noises.BEFORE_S + len(call.samples) / RATE_HZ - TRIM_S
            answers = _answers(judge, call.rule, meant, hearing, ended_s)
            found.append(
                Trial(
                    call.voice,
                    number,
                    call.text,
                    kind,
                    snr_db,
                    answers,
                    hearing.sound_s,
                    hearing.busy_s,
                )
            )
    return found


def _answers(
    judge: Judge, rule: str, meant: object, hearing: Hearing, ended_s: float
) -> tuple[Heard, ...]:
    found = []
    for answer in judge.calls_in(rule, hearing):
        each = answer.utterance
        evidence = None
        if each.heard is not None:
            evidence = evidence_of(each.heard, lambda words: judge.meaning(rule, words))
        right = answer.meaning == meant
        found.append(Heard(each.words, right, evidence, each.at_s - ended_s, each.busy_s))
    return tuple(found)


def trials(setup: Setup, name: str, processes: int) -> list[Trial]:
    """Every call under every condition, the calls shared out among processes."""
    tasks = [(setup, name, part, processes) for part in range(processes)]
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        return [trial for part in pool.starmap(_trials, tasks) for trial in part]


def _strays(setup: Setup, rule: str, minutes: float) -> list[Stray]:
    hearer, judge = hearers("foldcall")
    found = []
    others = sounds.read_other(setup.folder, setup.seed)
    rng = np.random.default_rng(setup.seed)
    for kind, sound in noises.streams(others, minutes * 60, rng).items():
        hearing = hearer.hear(rule, noises.as_bytes(sound))
        answers = _answers(judge, rule, None, hearing, 0.0)
        found.append(Stray(kind, rule, answers, hearing.sound_s, hearing.busy_s))
    return found


def strays(setup: Setup, rules: Sequence[str], minutes: float) -> Iterator[Stray]:
    """Sound without a call, while each of the rules is listened for."""
    tasks = [(setup, rule, minutes) for rule in rules]
    with multiprocessing.get_context("spawn").Pool(len(rules)) as pool:
        for part in pool.starmap(_strays, tasks):
            yield from part


def _memory(name: str) -> float:
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    hearer, _ = hearers(name)
    rng = np.random.default_rng(1)
    hearer.hear("reading_wanted", noises.as_bytes(0.05 * noises.pink(20 * RATE_HZ, rng)))
    return (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024


def memory_mb(name: str) -> float:
    """Peak memory that a recogniser adds to a process of its own: four rules, 20 s of noise."""
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        return float(pool.apply(_memory, (name,)))
