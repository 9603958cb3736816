"""The spoken corpus: phrases spoken by every voice, packed into a few compressed files.

A corpus folder holds ``<engine>_<number>.ogg`` shards (Opus, 16 kHz mono) and one
``<engine>.jsonl`` an engine: for each phrase its shard, first sample, length, speaker and text.
"""

import json
import random
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from math import gcd
from pathlib import Path

import numpy as np
import soundfile

from capture.training.texts import ONES
from capture.training.voices import Engine, Samples, Spoken

RATE_HZ = 16_000
SHARD_SECONDS = 600
PEAK = 0.5
TRAINING_PEOPLE = ("george", "jackson", "nicolas")
HELD_OUT_PERSON = "theo"


@dataclass(frozen=True, slots=True)
class Phrase:
    """Where one phrase lies in the corpus, in samples at 16 kHz."""

    shard: str
    start: int
    length: int
    voice: str
    text: str


def at_corpus_rate(samples: Samples, rate_hz: int) -> Samples:
    """Resample to 16 kHz."""
    if rate_hz == RATE_HZ:
        return samples
    from scipy.signal import resample_poly

    common = gcd(rate_hz, RATE_HZ)
    return np.asarray(resample_poly(samples, RATE_HZ // common, rate_hz // common), np.float32)


WORD_QUIET_FRAMES = 25
"""Hundredths of a second of quiet that no single word has in it."""


def trimmed(samples: Samples, keep_seconds: float = 0.06, below_db: float = 40.0) -> Samples:
    """Cut silence (so far under the peak) at both ends down to *keep_seconds*."""
    least = np.abs(samples).max(initial=1e-6) * 10 ** (-below_db / 20)
    loud = np.flatnonzero(np.abs(samples) > least)
    if not len(loud):
        return samples[:0]
    keep = int(keep_seconds * RATE_HZ)
    return samples[max(0, int(loud[0]) - keep) : int(loud[-1]) + keep]


def word_alone(samples: Samples, keep_seconds: float = 0.04) -> Samples:
    """Cut a recording of one word to the stretch around its loudest place.

    It ends at the first quiet (30 dB under that) of a quarter of a second: some recordings go on
    for a second of their room, up to the click of a key.
    """
    frame = RATE_HZ // 100
    powers = np.square(samples[: len(samples) // frame * frame].reshape(-1, frame)).mean(1)
    if not len(powers):
        return samples[:0]
    top = int(powers.argmax())
    loud = np.flatnonzero(powers > powers[top] * 1e-3)
    breaks = np.flatnonzero(np.diff(loud) > WORD_QUIET_FRAMES)
    at = int(np.searchsorted(loud, top))
    first = max((int(each) + 1 for each in breaks if each < at), default=0)
    last = min((int(each) for each in breaks if each >= at), default=len(loud) - 1)
    keep = int(keep_seconds * RATE_HZ)
    return samples[max(0, loud[first] * frame - keep) : (loud[last] + 1) * frame + keep]


def write_corpus(
    folder: Path,
    engine: str,
    spoken: Iterable[Spoken],
    seconds: float | None = None,
    lossless: bool = False,
) -> float:
    """Write what an engine spoke, at most *seconds* of it; returns the seconds written."""
    folder.mkdir(parents=True, exist_ok=True)
    kind = "flac" if lossless else "ogg"
    phrases: list[Phrase] = []
    pending: list[Samples] = []
    shard, filled, written = 0, 0, 0.0

    def flush() -> None:
        nonlocal shard, filled
        if pending:
            path = folder / f"{engine}_{shard:02d}.{kind}"
            if lossless:
                soundfile.write(path, np.concatenate(pending), RATE_HZ, subtype="PCM_16")
            else:
                _write_opus(path, np.concatenate(pending))
            pending.clear()
            shard, filled = shard + 1, 0

    for item in spoken:
        samples = trimmed(at_corpus_rate(item.samples, item.rate_hz))
        peak = float(np.abs(samples).max(initial=0))
        if len(samples) < 0.12 * RATE_HZ or peak < 1e-4:
            continue
        pending.append(samples * (PEAK / peak))
        name = f"{engine}_{shard:02d}.{kind}"
        phrases.append(Phrase(name, filled, len(samples), item.voice, item.text))
        filled += len(samples)
        written += len(samples) / RATE_HZ
        if filled > SHARD_SECONDS * RATE_HZ:
            flush()
        if seconds is not None and written > seconds:
            break
    flush()
    lines = "".join(json.dumps(asdict(phrase)) + "\n" for phrase in phrases)
    (folder / f"{engine}.jsonl").write_text(lines, encoding="utf-8")
    return written


def _write_opus(path: Path, samples: Samples) -> None:
    with soundfile.SoundFile(
        path, "w", RATE_HZ, 1, format="OGG", subtype="OPUS", compression_level=0.92
    ) as file:
        for start in range(0, len(samples), RATE_HZ):
            file.write(samples[start : start + RATE_HZ])


def read_index(folder: Path) -> list[Phrase]:
    """Read the index of all engines in a corpus folder, in a fixed order."""
    phrases = []
    for path in sorted(folder.glob("*.jsonl")):
        for line in path.read_text(encoding="utf-8").splitlines():
            phrases.append(Phrase(**json.loads(line)))
    return phrases


def read_shard(path: Path) -> Samples:
    """Read one shard whole."""
    samples, rate_hz = soundfile.read(path, dtype="float32")
    if rate_hz != RATE_HZ:
        raise ValueError(f"{path.name} has {rate_hz} samples a second, not {RATE_HZ}")
    return np.asarray(samples, np.float32)


def read_people(folder: Path, people: Sequence[str]) -> Mapping[str, list[Spoken]]:
    """Read recorded digits, files named ``digit_person_take.wav``, by person."""
    words = ["zero", *ONES]
    found: dict[str, list[Spoken]] = {person: [] for person in people}
    for path in sorted(folder.glob("*.wav")):
        digit, person, _ = path.stem.split("_")
        if person in found:
            samples, rate_hz = soundfile.read(path, dtype="float32")
            resampled = at_corpus_rate(np.asarray(samples, np.float32), int(rate_hz))
            found[person].append(Spoken(f"person/{person}", words[int(digit)], resampled, RATE_HZ))
    return found


@dataclass(frozen=True, slots=True)
class People:
    """Recorded digits of real people, alone and joined into readings.

    *points* are spoken "point"s of other voices; they stand between two digits of a person, since
    no recording of a person saying it is at hand.
    """

    recordings: Mapping[str, list[Spoken]]
    points: Sequence[Spoken] = ()

    def single(self) -> Iterator[Spoken]:
        """Give each recording as it is."""
        for recordings in self.recordings.values():
            yield from recordings

    def joined(self, count: int, rng: random.Random) -> Iterator[Spoken]:
        """Give *count* strings of two to five words with gaps of 30 to 250 ms."""
        for _ in range(count):
            person = rng.choice(sorted(self.recordings))
            pieces = [rng.choice(self.recordings[person]) for _ in range(rng.randint(2, 4))]
            if self.points and rng.random() < 0.5:
                pieces.insert(len(pieces) - 1, rng.choice(self.points))
            samples: list[Samples] = []
            for piece in pieces:
                sound = word_alone(at_corpus_rate(piece.samples, piece.rate_hz))
                level = 0.5 / max(float(np.abs(sound).max(initial=0)), 1e-4)
                samples += [
                    sound * level,
                    np.zeros(int(rng.uniform(0.03, 0.25) * RATE_HZ), np.float32),
                ]
            text = " ".join(piece.text for piece in pieces)
            yield Spoken(f"person/{person}", text, np.concatenate(samples[:-1]), RATE_HZ)


def speak_points(engine: Engine, count: int, rng: random.Random) -> list[Spoken]:
    """Let an engine say "point" *count* times."""
    return list(engine.speak(["point"] * count, rng))
