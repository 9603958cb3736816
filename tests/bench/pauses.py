"""Numbers spoken with a rest before "point": `python -m tests.bench.pauses --cache FOLDER`.

Voices that took no part in training say whole numbers and ends such as "point five" apart; each
whole number is joined to an end by a rest of 0.2 to 0.8 s of a quiet room. The table says how often
the number was cut in two, and how long a number waits for its end.
"""

import argparse
import random
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from capture.language.grammar import LISTENING
from capture.training.corpus import read_index, read_shard, write_corpus
from capture.wiring import default_pack, open_ear
from tests.bench import noises
from tests.bench.figures import markdown, percentile
from tests.bench.hearing import RATE_HZ, Ours
from tests.bench.running import TRIM_S
from tests.bench.sounds import VOICES

SPEAKERS = ("joe", "rms", "f5", "m5")
WHOLES = (
    "six",
    "eight",
    "nine",
    "ten",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "twenty",
    "twenty six",
    "thirty",
    "forty four",
    "triceps eighteen",
    "thigh sixteen",
)  # fmt: skip
ENDS = ("point five", "point two", "point oh", "point eight", "decimal four", "and a half")
RESTS_S = (0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8)
RULE = "reading_wanted"
Sound = np.ndarray


def speak(folder: Path, seed: int) -> Iterator[tuple[str, dict[str, Sound]]]:
    """Each voice with its pieces by their words, spoken once and kept in the folder."""
    for name in SPEAKERS:
        place = folder / f"pauses-{seed}" / name
        if not place.is_dir():
            rng = random.Random(f"{seed} pauses {name}")
            write_corpus(place, name, VOICES[name][0]().speak([*WHOLES, *ENDS], rng), lossless=True)
        shards: dict[str, Sound] = {}
        pieces = {}
        for phrase in read_index(place):
            shard = shards.setdefault(phrase.shard, read_shard(place / phrase.shard))
            pieces[phrase.text] = shard[phrase.start : phrase.start + phrase.length]
        yield name, pieces


def joined(whole: Sound, end: Sound, rest_s: float) -> Sound:
    """The two with so much rest between, of which each brings some at its edges."""
    rest = np.zeros(max(0, round((rest_s - 2 * TRIM_S) * RATE_HZ)), np.float32)
    level = noises.speech_level
    return np.concatenate([whole / level(whole), rest, end / level(end)])


def main() -> None:
    """Hear everything and print the table."""
    parser = argparse.ArgumentParser(description="Numbers with a rest before the point.")
    parser.add_argument("--cache", type=Path, required=True, help="folder for the sounds")
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    ours = Ours(open_ear(default_pack(), [LISTENING + RULE]))
    cut = dict.fromkeys(RESTS_S, 0)
    count = dict.fromkeys(RESTS_S, 0)
    waits_s: dict[str, list[float]] = {"whole numbers": [], "with their end": []}
    for number, (_, pieces) in enumerate(speak(chosen.cache, chosen.seed)):
        for place, whole in enumerate(WHOLES):
            sound = pieces[whole]
            heard = _heard(ours, sound, number)
            waits_s["whole numbers"] += [at_s for words, at_s in heard if words == whole]
            for turn, rest_s in enumerate(RESTS_S):
                end = ENDS[(place + turn) % len(ENDS)]
                sound = joined(pieces[whole], pieces[end], rest_s)
                heard = _heard(ours, sound, number)
                count[rest_s] += 1
                cut[rest_s] += len(heard) > 1 or any(words == whole for words, _ in heard)
                waits_s["with their end"] += [
                    at_s for words, at_s in heard if words == f"{whole} {end}"
                ]
    header = ("rest", *(f"{rest_s} s" for rest_s in RESTS_S))
    row = ("cut in two", *(f"{100 * cut[each] / count[each]:.0f} %" for each in RESTS_S))
    print("\n".join(markdown(header, [row])))
    print(f"{count[RESTS_S[0]]} calls for each rest")
    for name, some in waits_s.items():
        print(
            f"{name}: answer {percentile(some, 0.5):.2f} s after the end of speech, "
            f"p95 {percentile(some, 0.95):.2f} s (n {len(some)})"
        )


def _heard(ours: Ours, sound: Sound, number: int) -> list[tuple[str, float]]:
    """What was heard of a sound in a quiet room: words, and seconds after the end of speech."""
    rng = np.random.default_rng(number)
    hearing = ours.hear(RULE, noises.in_room(sound, None, 0, rng))
    ended_s = noises.BEFORE_S + len(sound) / RATE_HZ - TRIM_S
    return [(" ".join(each.words), each.at_s - ended_s) for each in hearing.utterances]


if __name__ == "__main__":
    main()
