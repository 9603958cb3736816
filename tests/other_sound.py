"""Plays minutes of sound that is not for the program to a live visit, and counts what was saved.

    python -m tests.other_sound [--minutes M] [--seed N]

The whole pipeline runs: recording, gate, hearing thread, recogniser, certainty, session, store;
only the loudspeaker is silent. The visit stands in turn at a fold, at a fold that has been read
back and waits for its yes, at a tape length, at one that waits, and at a permission. The sound is
speech outside the grammar by voices that took no part in training (the programs flite and
espeak-ng, where they are installed, and the colleague of the recorded visit), speech played
backwards, beeps, impacts, music, noise, babble and silence. Prints for each state and kind of
sound what was read back, answered and saved. Exit code 1 if a reading was saved.

Then, told apart and without effect on the exit code, what is known to be taken for an answer while
a read-back waits: single digits played backwards, and single words that sound like "yes" or "no",
each said alone between two silences.
"""

import argparse
import random
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from unittest.mock import patch

import numpy as np
import soundfile
from numpy.typing import NDArray

from capture import company
from capture.begin import Wish, open_visit
from capture.language.grammar import LISTENING
from capture.pack import Pack
from capture.screen.keymap import USUAL
from capture.sound.recorded import WavSource
from capture.sound.settings import SoundSettings
from capture.sound.voice import VoiceKind
from capture.store import open_store
from capture.visit.announcement import AskPermission, AskReading, AskTape, ReadBack, ReadBackTape
from capture.visit.course import question
from capture.visit.entry import Entry, Source
from capture.wiring import Ear, default_pack, open_ear
from tests.bench import noises
from tests.person import keys_for

Samples = NDArray[np.float32]
RATE_HZ = noises.RATE_HZ
TODAY, NOON = date(2026, 3, 2), "2026-03-02T12:00:00+01:00"
WISH = Wish("Ada Moss", "Bo Lind", sex="female", age_years=41)
SILENT = SoundSettings(voice=VoiceKind.SILENT)
PIECE_S = 20.0
ROOT = Path(__file__).parents[1]

STATES: Mapping[str, tuple[type, int]] = {
    "fold wanted": (AskReading, 4),
    "fold read back": (ReadBack, 4),
    "tape wanted": (AskTape, 1),
    "tape read back": (ReadBackTape, 1),
    "permission": (AskPermission, 1),
}
"""Where the visit stands, as the question that it asks, and its share of the time."""


@dataclass(frozen=True, slots=True)
class Came:
    """What came of a piece of sound."""

    calls: int
    read_back: int
    answered: int
    """Yes or no, to whatever was asked."""
    saved: int
    """Readings and tape marks that count and were confirmed by voice."""


def heard(ear: Ear, pack: Pack, state: str, sound: Samples) -> Came:
    """Play a sound to a visit in a state."""
    with tempfile.TemporaryDirectory() as name:
        file = Path(name) / "sound.wav"
        soundfile.write(file, np.clip(sound, -1, 1), RATE_HZ, subtype="PCM_16")
        with open_store(Path(name) / "visits.db") as store:
            opened = open_visit(store, WISH, TODAY, NOON)
            with (
                patch.object(company, "open_ear", lambda *_: ear),
                patch.object(company, "examples", lambda *_: {}),
            ):
                running = company.assemble(
                    store,
                    opened,
                    pack,
                    company.Sound(WavSource(file, realtime=False), SILENT),
                    USUAL,
                    lambda _: None,
                )
                session = running.session
                session.turns.bounce_s = 0.0
                session.open()
                while not isinstance(question(session.visit), STATES[state][0]):
                    for key in keys_for(session.visit) or []:
                        session.strike(key)
                        session.drain()
                before = session.visit.sequence
                company.run_lines(running, iter(()), patient=False)
            entries = store.entries(opened.row.id)[before:]
    return _came(entries)


def _came(entries: Sequence[Entry]) -> Came:
    kinds = Counter[str]()
    for entry in entries:
        assert entry.source is Source.VOICE
        facts = [each["kind"] for each in entry.facts]
        states = [each.state.value for each in entry.readings]
        kinds["calls"] += 1
        kinds["read back"] += "heard" in states or "tape_heard" in facts
        kinds["answered"] += entry.intent["kind"] in {"confirm", "refuse"}
        kinds["saved"] += "confirmed" in states or "tape_marked" in facts
    return Came(*(kinds[each] for each in ("calls", "read back", "answered", "saved")))


def open_our_ear(pack: Pack) -> Ear:
    """The pack's own model for all states."""
    rules = [rule for rule in pack.grammar.rules if rule.startswith(LISTENING)]
    return open_ear(pack, [each for each in rules if not each.endswith(".anything")])


def read(file: Path) -> Samples:
    """A recording at the rate of the noises."""
    return at_rate(*soundfile.read(file, dtype="float32"))


def at_rate(sound: Samples, rate_hz: int) -> Samples:
    """A sound at the rate of the noises."""
    if rate_hz != RATE_HZ:
        places = np.arange(0, len(sound), rate_hz / RATE_HZ)
        sound = np.interp(places, np.arange(len(sound)), sound).astype(np.float32)
    return np.asarray(sound, np.float32)


def own_sounds() -> dict[str, list[Samples]]:
    """Speech that can be had everywhere: the colleague, forwards and backwards."""
    colleague = read(ROOT / "demo_audio/turn_14.flac")
    return {"colleague": [colleague], "colleague backwards": [colleague[::-1]]}


def spoken_sounds(rng: random.Random) -> dict[str, list[Samples]]:
    """Sentences outside the grammar, by the programs that speak and are installed."""
    from tests.bench import sounds

    return _spoken(rng, [sounds.other_speech(rng) for _ in range(60)])


def _spoken(rng: random.Random, lines: Sequence[str]) -> dict[str, list[Samples]]:
    from tests.bench import sounds

    found: dict[str, list[Samples]] = {}
    for name, (engine, _) in sounds.VOICES.items():
        program = "flite" if name == "rms" else "espeak-ng"
        if name == "joe" or shutil.which(program) is None:
            continue
        found[f"speech, {name}"] = [
            at_rate(each.samples, each.rate_hz) for each in engine().speak(list(lines), rng)
        ]
    return found


LONE_WORDS = (
    "guess", "less", "kiss", "this", "mess", "chess", "dress", "its", "is", "us", "miss", "tests",
    "yell", "yet", "know", "now", "nose", "note", "mow",
)  # fmt: skip
"""Words near "yes" and "no" that people say, though seldom alone."""


def near_answers(rng: random.Random) -> dict[str, list[Samples]]:
    """Sound that is known to be taken for an answer, by kind."""
    digits = [read(file) for file in sorted((ROOT / "tests/recordings").glob("*.wav"))]
    found = {"digits backwards": [each[::-1] for each in digits]}
    if spoken := _spoken(rng, [*LONE_WORDS]):
        found["lone words"] = [sound for sounds in spoken.values() for sound in sounds]
    return found


def near_answers_played(seed: int, tell: Callable[[str], None]) -> Counter[str]:
    """Play each of them once, seconds apart, while a fold that was read back waits."""
    rng, pack, total = np.random.default_rng(seed), default_pack(), Counter[str]()
    ear = open_our_ear(pack)
    quiet = noises.pink(int(1.5 * RATE_HZ), rng) * 10 ** (-60 / 20)
    for kind, sounds in near_answers(random.Random(seed)).items():
        taken = Counter[str]()
        for sound in sounds:
            piece = np.concatenate([quiet, sound, quiet]).astype(np.float32)
            came = heard(ear, pack, "fold read back", piece)
            taken["answers"] += came.answered
            taken["saved"] += came.saved
        total.update(taken)
        tell(
            f"        {kind:<20}  of {len(sounds)} said alone after a read-back"
            f" {taken['answers']} taken for an answer, {taken['saved']} saved"
        )
    return total


def kinds_of_sound(
    speech: Mapping[str, list[Samples]], seconds: float, seed: int
) -> dict[str, Samples]:
    """So much sound in all, by kind: half of it speech, the rest beeps, impacts, music, noise."""
    rng = np.random.default_rng(seed)
    # The streams of the benchmark make, of 1800 s, 240 s of each voice and 750 s more.
    made = noises.streams(dict(speech), seconds * 1800 / (240 * len(speech) + 750), rng)
    quiet = noises.pink(int(seconds / 20 * RATE_HZ), rng) * 10 ** (-60 / 20)
    return {**made, "silence": np.asarray(quiet, np.float32)}


def played(
    speech: Mapping[str, list[Samples]],
    seconds: float,
    seed: int,
    states: Sequence[str],
    tell: Callable[[str], None],
) -> Counter[str]:
    """Play so much sound, the states in turn; what came of it."""
    pack = default_pack()
    ear, total = open_our_ear(pack), Counter[str]()
    turns = [name for name in states for _ in range(STATES[name][1])]
    random.Random(seed).shuffle(turns)
    number = 0
    for kind, sound in kinds_of_sound(speech, seconds, seed).items():
        count = Counter[str]()
        size = int(PIECE_S * RATE_HZ)
        for start in range(0, len(sound), size):
            came = heard(ear, pack, turns[number % len(turns)], sound[start : start + size])
            number += 1
            for name in ("calls", "read_back", "answered", "saved"):
                count[name] += getattr(came, name)
        total.update(count)
        total["pieces"] += -(-len(sound) // size)
        total["seconds"] += round(len(sound) / RATE_HZ)
        tell(
            f"{len(sound) / RATE_HZ:6.0f} s  {kind:<20}  {count['calls']:3d} calls,"
            f" {count['read_back']} read back, {count['answered']} answers, {count['saved']} saved"
        )
    tell(
        f"{total['seconds']:6d} s in {total['pieces']} pieces: {total['calls']} calls,"
        f" {total['read_back']} read back, {total['answered']} answers, {total['saved']} saved"
    )
    return total


def main() -> int:
    """Play more than ten minutes, or as many as were asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=11.0)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    speech = {**own_sounds(), **spoken_sounds(random.Random(chosen.seed))}
    total = played(speech, chosen.minutes * 60, chosen.seed, list(STATES), print)
    near_answers_played(chosen.seed, print)
    return 1 if total["saved"] else 0


if __name__ == "__main__":
    sys.exit(main())
