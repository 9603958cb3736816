"""How long it takes from the end of a call to its read-back on the screen.

`python -m tests.latency [ROUNDS]` plays the recorded visit in real time through the real session,
with the screen drawn at 80 by 24 after each step, and prints p50, p95 and what was not taken.
Three rounds hold more than 100 calls.
"""

import sys
import tempfile
import time
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from pathlib import Path

import numpy as np
import soundfile

from capture.begin import Wish, open_visit
from capture.company import Sound, assemble
from capture.pack import open_pack
from capture.resources import data_folder
from capture.screen.keymap import USUAL
from capture.screen.render import Size, render
from capture.sound.recorded import WavSource
from capture.sound.settings import SoundSettings
from capture.sound.source import MicState
from capture.sound.voice import VoiceKind
from capture.store import open_store

GAPS_S = (1.5, 1.9)
"""Shortest and longest pause between two calls."""

_FRAME_S = 0.01


@dataclass
class Told:
    """What a round came to: seconds from the end of each call, calls played, lines of trouble."""

    waits_s: list[float]
    calls: int
    untaken: list[str]
    silent: list[str]
    """Calls that led to no step, such as other people talking."""


def end_of_speech_s(sound: np.ndarray, rate_hz: int) -> float:
    """Where the last stretch well above the floor of the recording ends."""
    frame = round(_FRAME_S * rate_hz)
    frames = sound[: len(sound) // frame * frame].reshape(-1, frame)
    level = np.sqrt((frames**2).mean(axis=1))
    loud = np.flatnonzero(level > max(4 * np.median(level[:20]), 0.02 * level.max()))
    return float((loud[-1] + 1) * _FRAME_S)


def played(files: list[Path], folder: Path, seed: int) -> tuple[Path, list[float]]:
    """One recording of these calls with pauses between them, and where each call ends."""
    chance = np.random.default_rng(seed)
    parts, ends_s, at, rate_hz = [], [], 0, 16_000
    for file in files:
        sound, rate_hz = soundfile.read(file)
        ends_s.append(at / rate_hz + end_of_speech_s(sound, rate_hz))
        pause = np.tile(sound[: rate_hz // 5], 10)[: round(chance.uniform(*GAPS_S) * rate_hz)]
        parts += [sound, pause]
        at += len(sound) + len(pause)
    path = folder / f"calls_{seed}.wav"
    soundfile.write(path, np.concatenate(parts), rate_hz, subtype="PCM_16")
    return path, ends_s


def one_round(files: list[Path], seed: int) -> Told:
    """Play the calls once."""
    with tempfile.TemporaryDirectory() as name, open_store(Path(name) / "visits.db") as store:
        path, ends_s = played(files, Path(name), seed)
        wish = Wish("Rowan Alderby", "Tobias Quill", sex="male", age_years=34)
        opened = open_visit(store, wish, date(2026, 3, 2), "2026-03-02T12:00:00+01:00")
        source = WavSource(path, realtime=True)
        pack = open_pack(data_folder("grammars") / "en")
        quiet = SoundSettings(voice=VoiceKind.SILENT)
        company = assemble(store, opened, pack, Sound(source, quiet), USUAL)
        company.phrases.join()
        session = company.session
        session.turns.bounce_s = 0.0
        company.begin()
        session.strike("enter")  # ready: the recording begins with the permissions
        session.drain()
        before, steps_s, untaken = session.visit.sequence, [], list[str]()
        while True:
            session.wait(0.2)
            shown = session.shown
            if "not taken" in shown.notice or "not heard" in shown.notice:
                untaken.append(shown.notice)
                shown.notice = ""
            if session.visit.sequence != before:
                before = session.visit.sequence
                render(company.view(), Size(80, 24))
                steps_s.append(time.monotonic() - (source._began_s or 0.0))
            if shown.microphone is not None and shown.microphone.state is MicState.ENDED:
                break
        company.close()
    waits_s, silent = [], []
    for file, (end_s, next_s) in zip(files, pairwise([*ends_s, float("inf")]), strict=True):
        after = [step_s - end_s for step_s in steps_s if end_s < step_s < next_s]
        waits_s += after[:1]
        silent += [] if after else [file.stem]
    return Told(waits_s, len(files), untaken, silent)


def main(rounds: int) -> None:
    """Play the rounds and print the figures."""
    files = sorted(data_folder("demo_audio").glob("turn_*.flac"))
    found = [one_round(files, seed) for seed in range(rounds)]
    waits_s = np.array([wait_s for told in found for wait_s in told.waits_s])
    calls = sum(told.calls for told in found)
    for told in found:
        print(f"{len(told.waits_s)} of {told.calls} calls led to a step; not {told.silent}")
        print(*(f"  {line}" for line in told.untaken), sep="\n")
    p50_s, p95_s = np.percentile(waits_s, (50, 95))
    print(f"{len(waits_s)} of {calls} calls: p50 {p50_s:.2f} s, p95 {p95_s:.2f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 3)
