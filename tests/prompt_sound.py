"""Recordings of the voice check's prompts, joined from clips of people and of voices."""

import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from capture.demo import read_script
from capture.resources import data_folder
from capture.sound.clips import open_bank

Samples = NDArray[np.float64]
RATE_HZ = 16_000
PAUSE_S = 1.6
"""Long enough for the end of a call to be noticed."""

LEVEL = 0.3
RECORDINGS = Path(__file__).parent / "recordings"


def clip(words: str) -> Samples:
    """These words: spoken by a person, else by a voice of the demo, else by the program's own."""
    for file in (
        RECORDINGS / "numbers" / f"{words}.flac",
        RECORDINGS / "answers" / f"{words}.flac",
        _demo().get(words),
    ):
        if file is not None and file.is_file():
            samples, rate_hz = soundfile.read(file)
            break
    else:
        bank = open_bank(data_folder("grammars") / "en" / "prompts")
        samples, rate_hz = bank.say(words), bank.rate_hz
    moments = np.arange(int(len(samples) * RATE_HZ / rate_hz)) / RATE_HZ
    resampled = np.interp(moments, np.arange(len(samples)) / rate_hz, samples)
    return LEVEL * resampled / np.abs(resampled).max()


def _demo() -> Mapping[str, Path]:
    """The clips of the recorded visit that nothing drowns, by their words."""
    folder = data_folder("demo_audio")
    told = tomllib.loads((folder / "visit.toml").read_text(encoding="utf-8"))["turn"]
    turns = zip(told, read_script(folder).turns, strict=True)
    return {
        each["says"]: turn.clip
        for each, turn in turns
        if turn.clip is not None and "says" in each and "door_s" not in each
    }


def record(path: Path, phrases: Sequence[str]) -> Path:
    """Write the phrases one after the other, with the faint hiss of a quiet room."""
    pause = np.zeros(round(PAUSE_S * RATE_HZ))
    parts = [part for words in phrases for part in (clip(words), pause)]
    sound = np.concatenate([pause, *parts])
    sound += np.random.default_rng(1).normal(0, 0.0005, len(sound))
    soundfile.write(path, sound, RATE_HZ, subtype="PCM_16")
    return path
