"""Gives the program nonsense: calls, phrases, keys and files, valid, nearly and not at all.

    python tests/fuzz.py [--times N] [--seed N] [TARGET ...]

Each input must be taken whole, or refused with a `CaptureError` that says why: no other
exception, no longer than five seconds, and nothing taken that cannot be. What may be taken is
said by each target: a fold that the caliper can show, a rate that a recorder writes, numbers that
are numbers. Prints for each target how many inputs there were, and how many of them were taken;
the first that fails is printed with its input, and the exit code is 1.
"""

import argparse
import io
import json
import math
import random
import signal
import string
import struct
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import numpy as np
import soundfile
from fuzz_arguments import Arguments
from person import PosedEar, keys_for, phrase_for

from capture.begin import Wish, open_visit
from capture.composition.forms import Sex
from capture.demo import DemoScript, read_script
from capture.errors import CaptureError
from capture.exchange.document import document_lines, read_document
from capture.exchange.table import table_lines
from capture.exchange.table_read import read_table
from capture.language.grammar import Grammar, understand
from capture.language.intents import Confirm, from_plain
from capture.measure import read_bindings
from capture.protocol.caliper import Caliper
from capture.protocol.protocol import SEVEN_SITES, Protocol
from capture.protocol.reading import protocol_from_plain, protocol_to_plain, read_protocol
from capture.recognise.certainty import Certainty, parse_certainty
from capture.recognise.lexicon import parse_lexicon
from capture.recognise.scripted import spoken
from capture.rescue import RescueFile
from capture.rescued import read_rescue
from capture.road import Road
from capture.screen.keymap import USUAL
from capture.session import Session
from capture.settings_file import read_settings, write_table
from capture.sound.settings import TABLE as SOUND_TABLE
from capture.sound.settings import SoundSettings, read_sound_settings, sound_entries
from capture.sound.voice import SilentVoice
from capture.sound.wav import HIGHEST_RATE_HZ, LOWEST_RATE_HZ, SoundFile, open_sound
from capture.store import open_store
from capture.visit.entry import Entry, ReadingState
from capture.visit.replay import replay
from capture.visit.state import Plan, Visit
from capture.wiring import default_pack
from capture.wording.english import English
from capture.wording.numbers import NumberWords

LONGEST_S = 5.0
LONGEST_CALL_S = 600.0
"""A whole command may load the model and play the recorded visit, beside other work."""

TODAY, NOON = date(2026, 3, 2), "2026-03-02T12:00:00+01:00"
ROOT = Path(__file__).parents[1]

NASTY = (
    "NaN", "nan", "inf", "-inf", "Infinity", "1e309", "-1", "-0.0", "0", "1e-400", "0x10", "1_000",
    "99999999999999999999999", "9223372036854775808", "1.00000000000000000001", "12,5", "١٢",
    "true", "null", "''", '""', "[]", "{}", "[[[[]]]]", '"\\u0000"', '"\\ud800"', "2026-02-30",
    "\x00", "\x1b[2J", "\u202e", "\ufeff", "=1+1", "@SUM(A1)", "é", "🏋", "\r", "\t",
)  # fmt: skip
"""Values that programs take for something else."""


class TooSlowError(Exception):
    """An input took longer than it may."""


class NonsenseTakenError(Exception):
    """Something was taken that cannot be."""


def expect(holds: bool, what: str) -> None:
    """Say that something was taken that cannot be."""
    if not holds:
        raise NonsenseTakenError(what)


# Making inputs


def noisy_text(text: str, rng: random.Random) -> str:
    """A text with one to four mistakes."""
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(text) + 1)
        match rng.randrange(9):
            case 0:
                text = text[:at]
            case 1:
                text = text[:at] + rng.choice(NASTY) + text[at:]
            case 2:
                text = text[:at] + text[at + rng.randint(1, 30) :]
            case 3:
                lines = text.split("\n")
                lines.insert(rng.randrange(len(lines) + 1), rng.choice(lines))
                text = "\n".join(lines)
            case 4:
                lines = text.split("\n")
                lines.pop(rng.randrange(len(lines)))
                text = "\n".join(lines)
            case 5 | 6:
                text = _other_value(text, rng)
            case 7:
                text = text[:at] + rng.choice(string.printable) + text[at + 1 :]
            case _:
                text = text[:at] + text[at : at + 20] * rng.choice((2, 3, 500)) + text[at + 20 :]
    return text


def _other_value(text: str, rng: random.Random) -> str:
    """Another value where a number or a quoted text stands."""
    starts = [at for at, sign in enumerate(text) if sign.isdigit() or sign == '"']
    if not starts:
        return text
    start = rng.choice(starts)
    end = start + 1
    while end < len(text) and (text[end].isalnum() or text[end] in '."_'):
        end += 1
    return text[:start] + rng.choice(NASTY) + text[end:]


def noisy_bytes(data: bytes, rng: random.Random) -> bytes:
    """Bytes with one to four mistakes, more of them near the start, where headers are."""
    found = bytearray(data)
    for _ in range(rng.randint(1, 4)):
        at = min(len(found), int(rng.random() ** 3 * (len(found) + 1)))
        match rng.randrange(6):
            case 0:
                del found[at:]
            case 1 | 2:
                wide = struct.pack(
                    "<I", rng.choice((0, 1, 2, 0xFF, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF))
                )
                found[at : at + 4] = wide[: rng.choice((1, 2, 4))]
            case 3:
                del found[at : at + rng.randint(1, 40)]
            case 4:
                found[at:at] = rng.randbytes(rng.randint(1, 40))
            case _:
                if at < len(found):
                    found[at] ^= 1 << rng.randrange(8)
    return bytes(found)


def encoded(text: str, rng: random.Random) -> bytes:
    """A text as a file holds it; now and then in another encoding than UTF-8."""
    encoding = rng.choice(("utf-8",) * 12 + ("utf-16", "utf-8-sig", "latin-1"))
    return text.encode(encoding, "replace" if encoding == "latin-1" else "surrogatepass")


# What is aimed at


Try = Callable[[random.Random], bool]
"""Makes one input and gives it; whether it was taken. The input is left in `last`."""


@dataclass
class World:
    """What the targets need: packs, examples, a folder."""

    folder: Path
    last: object = None
    _known: dict[str, object] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.pack = default_pack()
        self.numbers = NumberWords(self.pack.grammar)
        self.plan = Plan(SEVEN_SITES, Caliper("dial caliper", 2, 800), Sex.MALE, 34)
        self.words = sorted({line.split()[0] for line in self._dictionary()})

    def _dictionary(self) -> list[str]:
        lines = self.pack.pronunciations().splitlines()
        return [line for line in lines if line.strip() and not line.startswith(";")]

    def given(self, value: object) -> object:
        """Remember an input, to be shown if it fails."""
        self.last = value
        return value

    def file(self, name: str, data: bytes) -> Path:
        """A file with this in it."""
        self.last = data
        path = self.folder / name
        path.write_bytes(data)
        return path

    def stored(self) -> tuple[dict[str, object], list[dict[str, object]]]:
        """People and visits of a store with one whole visit."""
        if "stored" not in self._known:
            path = self.folder / "stored.db"
            with open_store(path) as store:
                wish = Wish("Ada Moss", "Bo Lind", sex="female", age_years=41)
                row = open_visit(store, wish, TODAY, NOON).row
                journal: list[Entry] = []
                road = self.road(journal, Plan.from_plain(row.plan))
                while road.visit.signed_at is None:
                    road.hear(spoken(phrase_for(road.visit, self.numbers) or ""))
                for entry in journal:
                    store.append(row.id, entry)
                self._known["stored"] = (store.people_snapshot(), list(store.visit_snapshots()))
        return self._known["stored"]  # type: ignore[return-value]

    def road(self, journal: list[Entry], plan: Plan | None = None) -> Road:
        """A visit that is kept in memory."""
        return Road(
            Visit(plan or self.plan), self.pack.grammar, _Kept(journal), _Deaf(), lambda: NOON
        )


@dataclass
class _Kept:
    entries: list[Entry]

    def append(self, entry: Entry) -> None:
        self.entries.append(entry)


class _Deaf:
    def heard(self, call: object) -> None:
        """Nothing."""

    def ignored(self, heard: object) -> None:
        """Nothing."""

    def said(self, announcement: object, visit: object) -> None:
        """Nothing."""


def sound_journal(entries: Sequence[Entry], plan: Plan, visit: Visit) -> None:
    """Nothing counts that was not read back and confirmed, and the journal leads to the visit."""
    heard: dict[int, int] = {}
    for entry in entries:
        for fact in entry.readings:
            if fact.state is ReadingState.HEARD:
                heard[fact.number] = fact.value_tenths_mm
            if fact.state is ReadingState.CONFIRMED:
                expect(isinstance(from_plain(entry.intent), Confirm), "counted without a yes")
                expect(heard.get(fact.number) == fact.value_tenths_mm, "another value was counted")
    for reading in visit.confirmed:
        value, caliper = reading.value_tenths_mm, plan.caliper
        expect(0 < value <= caliper.opening_tenths_mm, f"{value} tenths were counted")
        expect(value % caliper.step_tenths_mm == 0, f"{value} tenths are not on the scale")
    targets = [reading.target for reading in visit.confirmed]
    expect(len(targets) == len(set(targets)), "a fold was counted twice")
    expect(replay(plan, entries) == visit, "the journal does not lead to the visit")


CALLS_A_VISIT = 120


@dataclass
class Phrases:
    """Speech through parser and visit."""

    world: World
    journal: list[Entry] = field(default_factory=list)
    road: Road | None = None

    def __call__(self, rng: random.Random) -> bool:
        """One utterance."""
        if self.road is None or self.road.visit.signed_at is not None or self._is_long():
            if self.road is not None:
                sound_journal(self.journal, self.world.plan, self.road.visit)
            self.journal = []
            self.road = self.world.road(self.journal)
        phrase = self._phrase(self.road, rng)
        rivals = tuple(self._phrase(self.road, rng) or "no" for _ in range(rng.randrange(3)))
        confidence = rng.choice((1.0, 1.0, rng.random()))
        self.world.given((phrase, confidence, rivals))
        before = self.road.visit
        self.road.hear(spoken(phrase, confidence=confidence, rivals=rivals))
        return self.road.visit.done != before.done or self.road.visit.readings != before.readings

    def _is_long(self) -> bool:
        return len(self.journal) > CALLS_A_VISIT

    def _phrase(self, road: Road, rng: random.Random) -> str:
        kind = rng.random()
        right = phrase_for(road.visit, self.world.numbers) or "yes"
        if kind < 0.45:
            return right
        if kind < 0.75:
            words = right.split()
            for _ in range(rng.randint(1, 2)):
                at = rng.randrange(len(words) + 1)
                match rng.randrange(3):
                    case 0:
                        words.insert(at, rng.choice(self.world.words))
                    case 1 if words:
                        words.pop(min(at, len(words) - 1))
                    case _:
                        words[at : at + 1] = [rng.choice(self.world.words)]
            return " ".join(words)
        if kind < 0.95:
            return " ".join(rng.choices(self.world.words, k=rng.randint(1, 7)))
        return noisy_text(right, rng)


@dataclass
class Keys:
    """Keys through the keypad, the session and the visit; speech now and then in between."""

    world: World
    journal: list[Entry] = field(default_factory=list)
    session: Session | None = None

    def __call__(self, rng: random.Random) -> bool:
        """One key, or a line, or an utterance."""
        if self.session is None or self.session.over or len(self.journal) > CALLS_A_VISIT:
            if self.session is not None:
                sound_journal(self.journal, self.world.plan, self.session.visit)
            self._begin()
        session = self.session
        assert session is not None
        before = session.visit.sequence
        if rng.random() < 0.4:
            given: list[str] = keys_for(session.visit) or ["q"]
        elif rng.random() < 0.9:
            given = [rng.choice(self._keys())]
        else:
            given = []
        self.world.given((given, session.shown.entry))
        for key in given:
            session.strike(key)
        if not given:
            text = rng.choice(("", *NASTY, "12.4", "6 3/4", "go to thigh", "1e309", "12.55"))
            self.world.given(text)
            session.type(text)
        session.drain()
        session.tick()
        return session.visit.sequence != before

    def _begin(self) -> None:
        self.journal = []
        ticks = iter(range(10**9))
        wording = English(self.world.numbers, self.world.plan.protocol)
        sites = {site.id for site in self.world.plan.protocol.sites}
        grammar = self.world.pack.grammar
        self.session = Session(
            lambda audience: Road(
                Visit(self.world.plan), grammar, _Kept(self.journal), audience, lambda: NOON
            ),
            wording,
            SilentVoice(),
            USUAL,
            lambda: float(next(ticks)),
            understand=lambda rule, text: understand(grammar.parser(rule, sites), text.split()),
        )
        self.session.ear = PosedEar()
        self.session.open()

    def _keys(self) -> list[str]:
        named = "enter backspace escape space f1 up end pagedown f13 c-t delete tab".split()
        return [*"0123456789.,-+*/crusgnbpo:tmdq?", *named, *"abxyzäÿ🏋", "", "\x00", "\x1b"]


def text_target(
    world: World,
    seeds: Sequence[str],
    give: Callable[[str], object],
    check: Callable[[object], None],
) -> Try:
    """Texts with mistakes, given to a parser of texts."""

    def attempt(rng: random.Random) -> bool:
        seed = rng.choice(seeds)
        text = seed if rng.random() < 0.02 else noisy_text(seed, rng)
        world.given(text)
        try:
            found = give(text)
        except CaptureError as error:
            expect(bool(error.message.strip()), "refused without a word")
            return False
        check(found)
        return True

    return attempt


def file_target(
    world: World,
    name: str,
    seeds: Sequence[bytes],
    give: Callable[[Path], object],
    check: Callable[[object], None],
    noise: Callable[[bytes, random.Random], bytes] = noisy_bytes,
) -> Try:
    """Files with mistakes, given to a reader of files."""

    def attempt(rng: random.Random) -> bool:
        seed = rng.choice(seeds)
        path = world.file(name, seed if rng.random() < 0.02 else noise(seed, rng))
        try:
            found = give(path)
        except CaptureError as error:
            expect(bool(error.message.strip()), "refused without a word")
            return False
        check(found)
        return True

    return attempt


def noisy_file(data: bytes, rng: random.Random) -> bytes:
    """A file of text with mistakes: of its letters, of its bytes, or of its encoding."""
    if rng.random() < 0.15:
        return noisy_bytes(data, rng)
    return encoded(noisy_text(data.decode("utf-8"), rng), rng)


def check_document(found: object) -> None:
    """An import: folds that a caliper shows, shares between 0 and 1, no control signs in names."""
    assert isinstance(found, dict)
    for visit in found["visits"]:
        for entry in visit["journal"]:
            share = entry["confidence"]
            expect(share is None or 0 <= share <= 1, f"confidence {share}")
            for fact in entry["readings"]:
                value = fact["value_tenths_mm"]
                expect(isinstance(value, int) or float(value).is_integer(), f"{value} tenths")
                expect(1 <= value <= 999, f"{value} tenths")
    json.dumps(found, allow_nan=False)
    expect("\0" not in json.dumps(found, ensure_ascii=False), "a NUL was taken")


def check_protocol(found: object) -> None:
    """A protocol: whole numbers in their ranges, and the same again from a store."""
    assert isinstance(found, Protocol)
    expect(1 <= found.circuits <= 4, f"{found.circuits} circuits")
    expect(bool(found.sites), "no sites")
    for site in found.sites:
        low, high = site.usual_tenths_mm
        expect(5 <= low < high <= 999, f"usual {low} to {high}")
    plain = protocol_to_plain(found)
    expect(protocol_from_plain(json.loads(json.dumps(plain, allow_nan=False))) == found, "not kept")
    expect("\0" not in json.dumps(plain, ensure_ascii=False), "a NUL was taken")


def check_sound(found: object) -> None:
    """A recording: a rate that exists, samples that are numbers, no more of them than bytes."""
    assert isinstance(found, SoundFile)
    expect(LOWEST_RATE_HZ <= found.rate_hz <= HIGHEST_RATE_HZ, f"{found.rate_hz} Hz")
    count = sum(map(len, found.blocks())) // 2
    expect(count == found.frames, f"{count} samples instead of {found.frames}")


def check_certainty(found: object) -> None:
    """Coefficients that are numbers, thresholds between 0 and 1."""
    assert isinstance(found, Certainty)
    numbers = (found.intercept, *found.coefficients, found.normal_from, found.again_below)
    expect(all(map(math.isfinite, numbers)), "a number that is none")
    expect(0 <= found.again_below <= found.normal_from <= 1, "thresholds")


def check_settings(found: object) -> None:
    """Settings: numbers in their ranges."""
    settings, _ = found  # type: ignore[misc]
    assert isinstance(settings, SoundSettings)
    expect(0 <= settings.volume <= 1, f"volume {settings.volume}")
    expect(math.isfinite(settings.pace), f"pace {settings.pace}")
    expect(0 <= settings.echo_tail_s <= 60, f"tail {settings.echo_tail_s}")


def check_script(found: object) -> None:
    """A recorded visit: an age and a caliper that can be."""
    assert isinstance(found, DemoScript)
    expect(isinstance(found.plan.age_years, int), f"age {found.plan.age_years!r}")
    expect(0 < found.plan.age_years < 130, f"age {found.plan.age_years}")
    caliper = found.plan.caliper
    expect(type(caliper.step_tenths_mm) is int, f"step {caliper.step_tenths_mm!r}")
    expect(0 < caliper.step_tenths_mm < caliper.opening_tenths_mm <= 999, "caliper")


def nothing(_: object) -> None:
    """Whatever was taken is checked by its reader."""


def settings_of(path: Path) -> tuple[object, object]:
    """Both parts of the settings file; and written back, it reads the same."""
    before = read_settings(path)
    settings, bindings = read_sound_settings(before), read_bindings(before)
    write_table(path, SOUND_TABLE, sound_entries(settings))
    after = read_settings(path)
    volume = read_sound_settings(after).volume
    expect(round(volume, 2) == round(settings.volume, 2), "volume was written otherwise")
    expect(read_bindings(after) == bindings, "keys were written otherwise")
    return settings, bindings


def sounds() -> list[bytes]:
    """Small recordings of every kind that is read."""
    found = []
    tone = (np.sin(np.arange(1600) / 5) * 0.3).astype(np.float32)
    stereo = np.column_stack([tone, -tone])
    kinds = (
        ("WAV", "PCM_16"), ("WAV", "PCM_U8"), ("WAV", "FLOAT"), ("WAV", "DOUBLE"),
        ("WAV", "ULAW"), ("WAVEX", "PCM_24"), ("FLAC", "PCM_16"), ("FLAC", "PCM_24"),
        ("OGG", "VORBIS"), ("AIFF", "PCM_16"), ("W64", "PCM_16"), ("RF64", "PCM_16"),
        ("WAV", "IMA_ADPCM"), ("CAF", "PCM_16"), ("AU", "PCM_16"),
    )  # fmt: skip
    for kind, width in kinds:
        for sound in (tone, stereo):
            file = io.BytesIO()
            soundfile.write(file, sound, 16_000, width, format=kind)
            found.append(file.getvalue())
    whole = found[0]
    for rate, channels, bits, size in (
        (0, 1, 16, 3200), (16_000, 0, 16, 3200), (16_000, 65_535, 16, 3200), (1, 1, 16, 3200),
        (2**31, 1, 16, 3200), (16_000, 1, 0, 3200), (16_000, 1, 64, 3200),
        (16_000, 1, 16, 2**32 - 1), (16_000, 1, 16, 2**31), (16_000, 2, 16, 2**31 - 2),
    ):  # fmt: skip
        head = struct.pack("<HHIIHH", 1, channels, rate, (rate * channels * 2) % 2**32,
                           (channels * 2) % 2**16, bits)  # fmt: skip
        found.append(whole[:20] + head + whole[36:40] + struct.pack("<I", size) + whole[44:])
    bad = np.array([0.1, np.nan, np.inf, -np.inf, 1e38, -1e38] * 300, np.float32)
    file = io.BytesIO()
    soundfile.write(file, bad, 16_000, "FLOAT", format="WAV")
    return [*found, file.getvalue(), b"", b"RIFF", bytes(44), b"fLaC" + bytes(60)]


def grammar_texts(world: World) -> dict[str, str]:
    """The pack's own grammars by file."""
    folder = world.pack.folder
    return {file.name: file.read_text("utf-8") for file in sorted(folder.glob("*.gram"))}


def grammar_target(world: World) -> Try:
    """One grammar file of the pack with mistakes, and a small one, built as a whole."""
    texts = grammar_texts(world)
    small = (
        "#JSGF V1.0;\ngrammar a;\npublic <x> = one [two] | (three | four) {slot = 5};\n"
        "<y> = /2/ <x> | /3.5/ six;\n"
    )

    def attempt(rng: random.Random) -> bool:
        if rng.random() < 0.85:
            given = {"a.gram": noisy_text(small, rng)}
        else:
            name = rng.choice(sorted(texts))
            given = {**texts, name: noisy_text(texts[name], rng)}
        world.given(given if len(given) == 1 else given[name])
        try:
            grammar = Grammar(given)
            for rule in list(grammar.rules)[:40]:
                automaton = grammar.automaton(rule)
                parser = grammar.parser(rule, None) if len(given) == 1 else None
                if parser is not None:
                    understand(parser, ["one", "two"])
                expect(automaton is not None, "no automaton")
        except CaptureError as error:
            expect(bool(error.message.strip()), "refused without a word")
            return False
        return True

    return attempt


def targets(world: World) -> dict[str, tuple[Try, int]]:
    """Every target with how often it is tried."""
    people, visits = world.stored()
    table = "\n".join(table_lines(people, visits))  # type: ignore[arg-type]
    document = "\n".join(document_lines(people, visits))  # type: ignore[arg-type]
    protocols = [
        file.read_text("utf-8") for file in sorted((ROOT / "capture/protocol/data").glob("*.toml"))
    ]
    settings = (
        '[sound]\nmicrophone = "Desk"\nmicrophone_host = "ALSA"\nvoice = "beep"\nvolume = 0.8\n'
        "pace = 1.1\necho_tail_s = 0.25\n\n"
        '[keys]\nconfirm = ["enter", "f13"]\nrepeat = "pagedown"\n'
    )
    rescue = world.folder / "foldcall-rescue-1.jsonl"
    visit = visits[0]
    head = {"format": "foldcall rescue", "version": 1, "store": "x", "people": people,
            "visit": {**visit, "journal": []}}  # fmt: skip
    RescueFile.begin(
        rescue,
        [head, *({"entry": each} for each in visit["journal"])],  # type: ignore[attr-defined]
    ).close()
    script = (ROOT / "demo_audio/visit.toml").read_text("utf-8")
    certainty = (world.pack.folder / "certainty.toml").read_text("utf-8")
    lexicon = "\n".join(world.pack.pronunciations().splitlines()[:60])
    (world.folder / "script").mkdir(exist_ok=True)

    def read_visit(path: Path) -> object:
        return read_script(path.parent)

    calls = Arguments(world.folder / "calls")

    def call(rng: random.Random) -> bool:
        try:
            return calls(rng)
        finally:
            world.last = calls.last

    return {
        "arguments": (call, 4_000),
        "phrases": (Phrases(world), 30_000),
        "keys": (Keys(world), 30_000),
        "csv": (text_target(world, [table], read_table, check_document), 6_000),
        "json": (text_target(world, [document], read_document, check_document), 6_000),
        "protocol": (
            text_target(
                world, protocols, lambda text: read_protocol(text, "p.toml"), check_protocol
            ),
            10_000,
        ),
        "certainty": (text_target(world, [certainty], parse_certainty, check_certainty), 6_000),
        "pronunciations": (text_target(world, [lexicon], parse_lexicon, nothing), 6_000),
        "jsgf": (grammar_target(world), 6_000),
        "settings": (
            file_target(
                world, "s.toml", [settings.encode()], settings_of, check_settings, noisy_file
            ),
            6_000,
        ),
        "sound": (file_target(world, "a.wav", sounds(), open_sound, check_sound), 12_000),
        "rescue": (
            file_target(world, "r.jsonl", [rescue.read_bytes()], read_rescue, nothing, noisy_file),
            3_000,
        ),
        "script": (
            file_target(
                world, "script/visit.toml", [script.encode()], read_visit, check_script, noisy_file
            ),
            4_000,
        ),
    }


@contextmanager
def within(seconds: float) -> Iterator[None]:
    """Stop what takes longer. Only in a main thread, and only on POSIX."""
    if not hasattr(signal, "setitimer"):
        yield
        return

    def late(*_: object) -> None:
        raise TooSlowError(f"longer than {seconds:g} s")

    before = signal.signal(signal.SIGALRM, late)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def run(names: Sequence[str], times: float, seed: int, tell: Callable[[str], None] = print) -> int:
    """Try each target so many times its usual number; how many inputs failed."""
    total = failed = 0
    with tempfile.TemporaryDirectory() as folder:
        world = World(Path(folder))
        for name, (attempt, usual) in targets(world).items():
            if names and name not in names:
                continue
            rng = random.Random(f"{seed} {name}")
            count = max(1, round(usual * times))
            taken, began_s, slowest_s = 0, time.monotonic(), 0.0
            for number in range(count):
                at_s = time.monotonic()
                try:
                    with within(LONGEST_CALL_S if name == "arguments" else LONGEST_S):
                        taken += attempt(rng)
                except Exception as error:
                    failed += 1
                    tell(f"{name} {number}: {type(error).__name__}: {error}")
                    tell(f"  of {repr(world.last)[-2000:]}")
                    if failed >= 5:
                        return failed
                slowest_s = max(slowest_s, time.monotonic() - at_s)
            total += count
            took_s = time.monotonic() - began_s
            tell(
                f"{count:7d}  {name:<14}  {taken:6d} taken  {took_s:5.0f} s,"
                f" the slowest {slowest_s:.2f} s"
            )
    tell(f"{total:7d}  inputs, {failed} failed")
    return failed


def main() -> int:
    """Fuzz from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", metavar="TARGET", nargs="*")
    parser.add_argument("--times", type=float, default=1.0, help="of the usual number of inputs")
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    return 1 if run(chosen.names, chosen.times, chosen.seed) else 0


if __name__ == "__main__":
    sys.exit(main())
