"""The spoken calls and the other sound of the speech benchmark, made once and kept in a folder.

Voices that took no part in training: Piper "joe", Flite "rms", the eSpeak NG variants f5, m5,
edward2, Gene2, steph3 and grandma, and the person "theo" of the Free Spoken Digit Dataset. Apart
from them the blind voices, on which nothing was chosen, neither terms nor thresholds nor model:
four made of recorded pieces (MBROLA), a woman of Pico, a man and a woman of RHVoice with a Russian
accent, and a woman's recorded numbers (tests/recordings).
"""

import json
import math
import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice, product
from pathlib import Path

import numpy as np

from capture.language.automaton import Arc, Automaton
from capture.language.grammar import LISTENING, Grammar, understand
from capture.language.intents import NotUnderstood
from capture.training.corpus import (
    HELD_OUT_PERSON,
    RATE_HZ,
    People,
    at_corpus_rate,
    read_index,
    read_people,
    read_shard,
    trimmed,
    word_alone,
    write_corpus,
)
from capture.training.texts import COMMON_WORDS, NEAR_WORDS, ONES, TEENS, TENS, general_speech
from capture.training.voices import (
    Engine,
    Espeak,
    Flite,
    Joe,
    Pico,
    Rhvoice,
    Samples,
    Spoken,
)

VOICES: dict[str, tuple[Callable[[], Engine], float]] = {
    "joe": (Joe, 0.4),
    "rms": (lambda: Flite(("rms",)), 0.2),
    "f5": (lambda: Espeak(("en-us", "en-gb"), ("f5",)), 0.1),
    "m5": (lambda: Espeak(("en-us", "en-gb"), ("m5",)), 0.1),
    "variants": (lambda: Espeak(variants=("edward2", "Gene2", "steph3", "grandma")), 0.1),
}
"""Each voice with its share of the calls; the person has the rest."""

BLIND_VOICES: dict[str, Callable[[], Engine]] = {
    "mbrola us1": lambda: Espeak(("mb-us1",), ("",)),
    "mbrola us2": lambda: Espeak(("mb-us2",), ("",)),
    "mbrola us3": lambda: Espeak(("mb-us3",), ("",)),
    "mbrola en1": lambda: Espeak(("mb-en1",), ("",)),
    "pico en-GB": lambda: Pico("en-GB"),
    "rhvoice evgeniy": lambda: Rhvoice(("evgeniy-eng",), (85, 115), (85, 115)),
    "rhvoice lyubov": lambda: Rhvoice(("lyubov",), (85, 115), (85, 115)),
}
"""Voices for the report alone."""

BLIND_CALLS = 160
"""Of each of them."""

BLIND_PERSON = "allison"
NUMBERS = Path(__file__).parents[1] / "recordings" / "numbers"
"""Her numbers, one recording each, named by their word."""

GAP_S = (0.02, 0.12)
"""Between the two words of a number that the computer joins."""

PERSON = "theo"
RULES = {"reading_wanted": 0.70, "readback": 0.18, "tape_wanted": 0.08, "permission": 0.04}
"""Share of the calls that are spoken while each rule is listened for."""

OTHER_SECONDS = 1200.0
"""Speech outside the grammar; noises.py makes the rest of half an hour."""


RESTED_SHARE = 0.1
"""So many calls more are spoken with a rest between two of their words."""

REST_S = (0.15, 0.5)
"""How long they rest, from where the first part has faded by `PART_EDGE_DB`."""

PART_EDGE_DB = 30.0


@dataclass(frozen=True, slots=True)
class SpokenCall:
    """One call: who says it, while which rule is listened for, and its sound at 16 kHz.

    `rested`: the speaker rests between two of the words.
    """

    voice: str
    rule: str
    text: str
    samples: Samples
    rested: bool = False


def sentence(automaton: Automaton, rng: random.Random) -> str:
    """One sentence of a rule, as likely as the grammar says."""
    onward: dict[int, list[Arc]] = {}
    for arc in automaton.arcs:
        onward.setdefault(arc.source, []).append(arc)
    words: list[str] = []
    state = automaton.start
    while state != automaton.final:
        arcs = onward[state]
        (arc,) = rng.choices(arcs, [math.exp(-each.cost) for each in arcs])
        words += [arc.word] if arc.word is not None else []
        state = arc.target
    return " ".join(words)


def call_texts(grammar: Grammar, rng: random.Random) -> Iterator[tuple[str, str]]:
    """Rules and calls without end; only calls that mean something."""
    names = list(RULES)
    while True:
        (name,) = rng.choices(names, list(RULES.values()))
        text = sentence(grammar.automaton(LISTENING + name), rng)
        meant = understand(grammar.parser(LISTENING + name), text.split())
        if not isinstance(meant, NotUnderstood):
            yield name, text


def make(folder: Path, grammar: Grammar, calls: int, people: Path | None, seed: int) -> None:
    """Speak what the folder lacks. `people` holds the recorded digits; None leaves them out."""
    for number, (name, (engine, share)) in enumerate(VOICES.items()):
        place = folder / f"calls-{calls}-{seed}" / name
        if not (place / f"{name}.jsonl").exists():
            rng = random.Random(seed * 100 + number)
            texts = call_texts(grammar, rng)
            chosen = [next(texts) for _ in range(round(share * calls))]
            _write(place, name, engine(), chosen, rng)
        place = folder / f"rested-{calls}-{seed}" / name
        if not (place / f"{name}.jsonl").exists():
            rng = random.Random(seed * 100 + 25 + number)
            texts = call_texts(grammar, rng)
            several = (each for each in texts if len(each[1].split()) > 1)
            chosen = list(islice(several, round(RESTED_SHARE * share * calls)))
            _write(place, name, Resting(engine()), chosen, rng)
        place = folder / f"other-{seed}" / name
        if not (place / f"{name}.jsonl").exists():
            rng = random.Random(seed * 100 + 50 + number)
            lines = [other_speech(rng) for _ in range(400)]
            seconds = OTHER_SECONDS / len(VOICES)
            write_corpus(place, name, engine().speak(lines, rng), seconds, lossless=True)
    for number, (name, start) in enumerate(BLIND_VOICES.items()):
        place = folder / f"blind-{seed}" / name
        if not (place / f"{name}.jsonl").exists():
            rng = random.Random(seed * 100 + 80 + number)
            _write(place, name, start(), list(islice(call_texts(grammar, rng), BLIND_CALLS)), rng)
    place = folder / f"blind-{seed}" / BLIND_PERSON
    if not (place / f"{BLIND_PERSON}.jsonl").exists():
        numbers = list(recorded_numbers(random.Random(seed * 100 + 98)))
        _write_recorded(place, BLIND_PERSON, numbers)
    place = folder / f"calls-{calls}-{seed}" / PERSON
    if people is not None and not (place / f"{PERSON}.jsonl").exists():
        _write_person(place, people, calls - round(calls * _synthetic_share()), seed)


def other_speech(rng: random.Random) -> str:
    """English that is no call: loose words, words near the grammar's, simple sentences."""
    return general_speech([*COMMON_WORDS, *NEAR_WORDS], rng)


def read_calls(folder: Path, calls: int, seed: int) -> list[SpokenCall]:
    """All calls in the folder, in a fixed order; the person's are there if they were made."""
    return list(_read_spoken(folder / f"calls-{calls}-{seed}"))


def read_rested(folder: Path, calls: int, seed: int) -> list[SpokenCall]:
    """The calls with a rest, in a fixed order."""
    return [replace(each, rested=True) for each in _read_spoken(folder / f"rested-{calls}-{seed}")]


def read_blind(folder: Path, seed: int) -> list[SpokenCall]:
    """The calls of the voices for the report alone."""
    return list(_read_spoken(folder / f"blind-{seed}"))


def _read_spoken(folder: Path) -> Iterator[SpokenCall]:
    for name in (*VOICES, *BLIND_VOICES, PERSON, BLIND_PERSON):
        place = folder / name
        if not place.is_dir():
            continue
        rules = json.loads((place / "rules.json").read_text(encoding="utf-8"))
        for text, samples in _read(place):
            yield SpokenCall(name, rules[text], text, samples)


def read_other(folder: Path, seed: int) -> dict[str, list[Samples]]:
    """Sentences outside the grammar by voice."""
    return {
        name: [samples for _, samples in _read(folder / f"other-{seed}" / name)] for name in VOICES
    }


@dataclass(frozen=True, slots=True)
class Resting:
    """A voice that rests once in each phrase, somewhere between two of its words."""

    engine: Engine

    def speak(self, texts: Sequence[str], rng: random.Random) -> Iterator[Spoken]:
        """Both parts are spoken apart, by one speaker, and joined by `REST_S` of silence."""
        for text in texts:
            words = text.split()
            cut = rng.randint(1, len(words) - 1)
            rest = np.zeros(round(rng.uniform(*REST_S) * RATE_HZ), np.float32)
            speaker = rng.random()
            parts = [
                spoken
                for part in (words[:cut], words[cut:])
                for spoken in self.engine.speak([" ".join(part)], random.Random(speaker))
            ]
            if len(parts) == 2:
                first, last = (
                    trimmed(at_corpus_rate(each.samples, each.rate_hz), 0.02, PART_EDGE_DB)
                    for each in parts
                )
                joined = np.concatenate([first, rest, last])
                yield Spoken(parts[0].voice, text, joined, RATE_HZ)


def _synthetic_share() -> float:
    return sum(share for _, share in VOICES.values())


def _write(
    place: Path,
    name: str,
    engine: Engine,
    chosen: Sequence[tuple[str, str]],
    rng: random.Random,
) -> None:
    spoken = engine.speak([text for _, text in chosen], rng)
    write_corpus(place, name, spoken, lossless=True)
    # A text that two rules allow is listened for under the first.
    rules = {text: rule for rule, text in reversed(chosen)}
    (place / "rules.json").write_text(json.dumps(rules), encoding="utf-8")


def _write_person(place: Path, people: Path, count: int, seed: int) -> None:
    """Half single digits, half two digits of one person joined by the computer."""
    rng = random.Random(seed * 100 + 99)
    recorded = People(read_people(people, (HELD_OUT_PERSON,)))
    single = [each for each in recorded.single() if each.text != "zero"]
    chosen = rng.sample(single, min(len(single), (count + 1) // 2))
    joined: list[Spoken] = []
    while len(joined) < count // 2:
        (spoken,) = recorded.joined(1, rng)
        if len(spoken.text.split()) == 2 and not spoken.text.startswith("zero"):
            joined.append(spoken)
    _write_recorded(place, PERSON, [*chosen, *joined])


def recorded_numbers(rng: random.Random) -> Iterator[Spoken]:
    """The person's numbers: each alone, and each of the tens with each of the ones after a gap."""
    words = [*ONES, *TEENS, *TENS]
    alone = {word: word_alone(read_shard(NUMBERS / f"{word}.flac")) for word in words}
    voice = f"person/{BLIND_PERSON}"
    for word in words:
        yield Spoken(voice, word, alone[word], RATE_HZ)
    for tens, ones in product(TENS, ONES):
        gap = np.zeros(round(rng.uniform(*GAP_S) * RATE_HZ), np.float32)
        joined = np.concatenate([alone[tens], gap, alone[ones]])
        yield Spoken(voice, f"{tens} {ones}", joined, RATE_HZ)


def _write_recorded(place: Path, name: str, spoken: Sequence[Spoken]) -> None:
    """Keep a person's recordings; all are readings."""
    write_corpus(place, name, spoken, lossless=True)
    rules = {each.text: "reading_wanted" for each in spoken}
    (place / "rules.json").write_text(json.dumps(rules), encoding="utf-8")


def _read(place: Path) -> Iterator[tuple[str, Samples]]:
    shards: dict[str, Samples] = {}
    for phrase in read_index(place):
        if phrase.shard not in shards:
            shards[phrase.shard] = read_shard(place / phrase.shard)
        sound = shards[phrase.shard][phrase.start : phrase.start + phrase.length]
        yield phrase.text, np.array(sound)
