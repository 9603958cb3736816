"""How long it takes from the end of a call to its read-back on the screen.

`python -m tests.latency [ROUNDS]` plays the recorded visit in real time through the real session,
its keys struck in their places, with the screen drawn at 80 by 24 after each step, and prints p50,
p95 and what was not taken. Three rounds hold more than 130 calls.
"""

import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from pathlib import Path

import numpy as np
import soundfile

from capture.begin import Wish, open_visit
from capture.company import Sound, assemble
from capture.demo import Turn, read_script
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


@dataclass
class Played:
    """One recording of the calls: where each ends, and where keys are struck between them."""

    path: Path
    names: list[str]
    ends_s: list[float]
    keys: list[tuple[float, tuple[str, ...]]]


def played(turns: Sequence[Turn], folder: Path, seed: int) -> Played:
    """The calls with pauses between them, in which the keyed turns have their time too."""
    chance = np.random.default_rng(seed)
    found = Played(folder / f"calls_{seed}.wav", [], [], [])
    parts: list[np.ndarray] = []
    at, rate_hz, tone = 0, 16_000, np.zeros(0)
    for turn in turns:
        if turn.clip is None:
            found.keys.append((at / rate_hz, turn.keys))
            sound = np.zeros(0)
        else:
            sound, rate_hz = soundfile.read(turn.clip)
            found.names.append(turn.clip.stem)
            found.ends_s.append(at / rate_hz + end_of_speech_s(sound, rate_hz))
            tone = sound[: rate_hz // 5]
        pause = np.tile(tone, 10)[: round(chance.uniform(*GAPS_S) * rate_hz)]
        parts += [sound, pause]
        at += len(sound) + len(pause)
    soundfile.write(found.path, np.concatenate(parts), rate_hz, subtype="PCM_16")
    return found


def one_round(turns: Sequence[Turn], seed: int) -> Told:
    """Play the visit once."""
    with tempfile.TemporaryDirectory() as name, open_store(Path(name) / "visits.db") as store:
        recording = played(turns, Path(name), seed)
        wish = Wish("Rowan Alderby", "Tobias Quill", sex="male", age_years=34)
        opened = open_visit(store, wish, date(2026, 3, 2), "2026-03-02T12:00:00+01:00")
        source = WavSource(recording.path, realtime=True)
        pack = open_pack(data_folder("grammars") / "en")
        quiet = SoundSettings(voice=VoiceKind.SILENT)
        company = assemble(store, opened, pack, Sound(source, quiet), USUAL)
        company.phrases.join()
        session = company.session
        session.turns.bounce_s = 0.0
        company.begin()
        before, steps_s, untaken, keys = 0, list[float](), list[str](), recording.keys
        while True:
            session.wait(0.2)
            shown, at_s = session.shown, time.monotonic() - (source._began_s or float("inf"))
            if keys and keys[0][0] <= at_s:
                for key in keys.pop(0)[1]:
                    session.strike(key)
                    session.drain()
            if "not taken" in shown.notice or "not heard" in shown.notice:
                untaken.append(shown.notice)
                shown.notice = ""
            if session.visit.sequence != before:
                before = session.visit.sequence
                render(company.view(), Size(80, 24))
                if shown.heard.startswith("heard"):
                    steps_s.append(time.monotonic() - (source._began_s or 0.0))
            if shown.microphone is not None and shown.microphone.state is MicState.ENDED:
                break
        company.close()
    waits_s, silent = [], []
    ends_s = pairwise([*recording.ends_s, float("inf")])
    for name, (end_s, next_s) in zip(recording.names, ends_s, strict=True):
        after = [step_s - end_s for step_s in steps_s if end_s < step_s < next_s]
        waits_s += after[:1]
        silent += [] if after else [name]
    return Told(waits_s, len(recording.names), untaken, silent)


def main(rounds: int) -> None:
    """Play the rounds and print the figures."""
    turns = read_script(data_folder("demo_audio")).turns
    found = [one_round(turns, seed) for seed in range(rounds)]
    waits_s = np.array([wait_s for told in found for wait_s in told.waits_s])
    calls = sum(told.calls for told in found)
    for told in found:
        print(f"{len(told.waits_s)} of {told.calls} calls led to a step; not {told.silent}")
        print(*(f"  {line}" for line in told.untaken), sep="\n")
    p50_s, p95_s = np.percentile(waits_s, (50, 95))
    print(f"{len(waits_s)} of {calls} calls: p50 {p50_s:.2f} s, p95 {p95_s:.2f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 3)
