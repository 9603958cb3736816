"""The last stage: the trained model in the stock decoder, on voices held out of training.

The figures: how many calls come back word for word, how many numbers come back as another number
(the failure that matters), and how often speech outside the grammar passes for a call.
"""

import json
import random
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from capture.language.grammar import Grammar, Parser
from capture.recognise.contexts import automata, decoding_graphs
from capture.recognise.lexicon import parse_lexicon
from capture.recognise.model_folder import write_model_folder
from capture.recognise.vosk_ import StrictModels, StrictRecogniser
from capture.training.corpus import RATE_HZ, Phrase, read_index, read_shard
from capture.training.voices import Samples

CONTEXTS = ("foldcall.listening.anything", "foldcall.listening.tape_wanted")
SNRS_DB = (None, 20.0, 10.0, 5.0)
SPEECH_LEVEL_DBFS = -26.0
PAUSE_SECONDS = 0.5
BLOCK_SECONDS = 0.2


@dataclass(slots=True)
class Tally:
    """Counts of one test set under one noise level."""

    calls: int = 0
    right: int = 0
    other_call: int = 0
    unknown: int = 0
    mistakes: Counter[tuple[str, str]] = field(default_factory=Counter)
    sure_wrong: int = 0

    def line(self, name: str) -> str:
        """Give the counts as one line."""
        count = max(self.calls, 1)
        common = "; ".join(
            f"{said} > {got or '-'}" for (said, got), _ in self.mistakes.most_common(12)
        )
        return (
            f"{name}: {self.calls} calls, right {100 * self.right / count:.1f} %, another call "
            f"{100 * self.other_call / count:.1f} % (with confidence above 0.9: "
            f"{100 * self.sure_wrong / count:.1f} %), not understood "
            f"{100 * self.unknown / count:.1f} % [{common}]"
        )


def speech_level(samples: Samples) -> float:
    """Give the root mean square of the louder part of a phrase."""
    frames = samples[: len(samples) // 160 * 160].reshape(-1, 160)
    energies = np.square(frames).mean(1)
    return float(np.sqrt(energies[energies > 0.01 * energies.max()].mean()))


def with_noise(samples: Samples, snr_db: float | None, noise: Callable[[int], Samples]) -> bytes:
    """Set a phrase to a usual level, with pauses round it and noise under it; 16-bit samples."""
    pause = np.zeros(int(PAUSE_SECONDS * RATE_HZ), np.float32)
    padded = np.concatenate([pause, samples / max(speech_level(samples), 1e-6), pause])
    if snr_db is not None:
        disturbance = noise(len(padded))
        padded = padded + disturbance / disturbance.std() * 10 ** (-snr_db / 20)
    scaled = padded * 10 ** (SPEECH_LEVEL_DBFS / 20)
    return (scaled * 32767).round().clip(-32768, 32767).astype("<i2").tobytes()


def pink(generator: np.random.Generator) -> Callable[[int], Samples]:
    """Give a source of pink noise."""

    def make(length: int) -> Samples:
        spectrum = np.fft.rfft(generator.standard_normal(length))
        spectrum /= np.sqrt(np.maximum(np.arange(len(spectrum)), 1))
        return np.asarray(np.fft.irfft(spectrum, length), np.float32)

    return make


def babble(generator: np.random.Generator, voices: Sequence[Samples]) -> Callable[[int], Samples]:
    """Give a source of six voices at once."""

    def make(length: int) -> Samples:
        sound = np.zeros(length, np.float32)
        for _ in range(6):
            voice = voices[int(generator.integers(len(voices)))]
            sound += np.resize(np.roll(voice, int(generator.integers(len(voice)))), length)
        return sound

    return make


def heard(models: StrictModels, context: str, sound: bytes) -> tuple[str, float]:
    """Let the decoder hear one phrase; all its words and the lowest confidence."""
    recogniser = StrictRecogniser(models, RATE_HZ, context)
    block = int(BLOCK_SECONDS * RATE_HZ) * 2
    found = [recogniser.feed(sound[at : at + block]) for at in range(0, len(sound), block)]
    found.append(recogniser.finish())
    utterances = [each for each in found if each is not None]
    text = " ".join(each.text for each in utterances)
    return text, min((each.confidence for each in utterances), default=0.0)


def _phrases(folder: Path) -> Iterator[tuple[str, Phrase, Samples]]:
    shards: dict[str, Samples] = {}
    for phrase in read_index(folder):
        if phrase.shard not in shards:
            shards[phrase.shard] = read_shard(folder / phrase.shard)
        sound = shards[phrase.shard][phrase.start : phrase.start + phrase.length]
        yield phrase.shard.rsplit("_", 1)[0], phrase, sound


def _context_for(text: str, parsers: dict[str, Parser]) -> str | None:
    for context, parser in parsers.items():
        if parser.slots(text.split()) is not None:
            return context
    return None


def evaluate(out: Path, pronunciations: Path, seed: int, at_most: int | None) -> Iterator[str]:
    """Write the model folder to OUT/model and test it on OUT/test; gives lines of figures."""
    model = out / "model"
    write_model_folder(out / "acoustic.npz", model)
    folder = pronunciations.parent
    grammar = Grammar(
        {path.name: path.read_text(encoding="utf-8") for path in folder.glob("*.gram")}
    )
    lexicon = parse_lexicon(pronunciations.read_text(encoding="utf-8"))
    models = StrictModels(model, decoding_graphs(automata(grammar, CONTEXTS), lexicon))
    parsers = {context: grammar.parser(context) for context in CONTEXTS}
    sets: dict[str, list[tuple[Phrase, Samples]]] = {}
    for name, phrase, sound in _phrases(out / "test"):
        sets.setdefault(name, []).append((phrase, sound))
    voices = [sound for name in sorted(sets) if name.endswith("other") for _, sound in sets[name]]
    generator = np.random.default_rng(seed)
    noises = {"pink": pink(generator), "babble": babble(generator, voices)}
    results = []
    for name, items in sets.items():
        chosen = (
            items
            if at_most is None
            else random.Random(seed).sample(items, min(at_most, len(items)))
        )
        for snr_db in SNRS_DB:
            for kind, noise in (
                noises.items() if snr_db is not None else [("quiet", noises["pink"])]
            ):
                tally = Tally()
                for phrase, sound in chosen:
                    outside = name.endswith("other")
                    context = CONTEXTS[0] if outside else _context_for(phrase.text, parsers)
                    if context is None:
                        continue
                    got, confidence = heard(models, context, with_noise(sound, snr_db, noise))
                    tally.calls += 1
                    passes = bool(got) and "[unk]" not in got.split()
                    if not outside and got == phrase.text:
                        tally.right += 1
                    elif passes:
                        tally.other_call += 1
                        tally.sure_wrong += confidence > 0.9
                        tally.mistakes[phrase.text, got] += 1
                    else:
                        tally.unknown += 1
                label = f"{name} {kind}" + ("" if snr_db is None else f" {snr_db:.0f} dB")
                results.append(
                    {
                        "set": label,
                        "calls": tally.calls,
                        "right": tally.right,
                        "other": tally.other_call,
                        "unknown": tally.unknown,
                    }
                )
                yield tally.line(label)
    (out / "figures.json").write_text(json.dumps(results, indent=1), encoding="utf-8")
