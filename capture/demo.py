"""`foldcall demo`: a recorded visit through the real recogniser, machine and store."""

import re
import time
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from capture import __version__
from capture.composition.forms import Sex
from capture.composition.results import VisitResult
from capture.errors import CaptureError
from capture.language.grammar import LISTENING
from capture.pack import Pack
from capture.protocol.caliper import Caliper
from capture.protocol.protocol import SEVEN_SITES
from capture.recognise.port import Heard
from capture.recognise.vosk_ import VoskRecogniser
from capture.report.summary import summary_lines, visit_result_of
from capture.road import Road
from capture.screen.keymap import USUAL
from capture.screen.keypad import Entry, press
from capture.screen.plain import PlainScreen
from capture.sound.wav import open_sound
from capture.store import Store
from capture.unlock import open_unlocked
from capture.visit.announcement import AllMeasured, Announcement
from capture.visit.call import Call
from capture.visit.state import Plan, Visit
from capture.wiring import Ear, StoredJournal, Write, certainty_of, local_time, open_ear
from capture.wording.english import English
from capture.wording.numbers import NumberWords

BLOCK_S = 0.1
AFTER_CLIP_S = 2.0
"""How long the program listens on after a clip before the next turn."""

ROOM_TONE_S = 0.2
"""Silence is made from the clip's own beginning: digital silence occurs in no room."""

SPEAKING_S_PER_WORD = 0.3
"""How long the read-back would take to speak; the demo waits so long and does not listen."""

CLIP_NAME = re.compile("[a-z0-9_]+", re.ASCII)
"""A clip lies in the recording's folder and nowhere else."""

RULES = (
    "preparation",
    "permission",
    "tape_wanted",
    "tape_readback",
    "reading_wanted",
    "readback",
    "closing",
    "paused",
)


@dataclass(frozen=True, slots=True)
class Turn:
    """One thing that happens: a clip is played, or keys are struck."""

    clip: Path | None
    keys: tuple[str, ...]
    when: str | None
    """The turn happens only while this listening rule is active; None: always."""


@dataclass(frozen=True, slots=True)
class DemoScript:
    """The recorded visit: who, with which caliper, and the turns in order."""

    client: str
    assessor: str
    plan: Plan
    turns: tuple[Turn, ...]


def read_script(folder: Path) -> DemoScript:
    """Read `visit.toml` and find its clips. Raises CaptureError for what is wrong or missing."""
    file = folder / "visit.toml"
    try:
        told: dict[str, Any] = tomllib.loads(file.read_text(encoding="utf-8"))
        caliper = Caliper(
            _text(told, "caliper"),
            _whole(told, "caliper_step_tenths_mm", 1, 100),
            _whole(told, "caliper_opening_tenths_mm", 101, 999),
        )
        plan = Plan(
            SEVEN_SITES,
            caliper,
            Sex(told["sex"]),
            _whole(told, "age_years", 5, 110),
            screening=told.get("screening") is True,
        )
        turns = tuple(_turns(folder, told["turn"]))
        return DemoScript(_text(told, "client"), _text(told, "assessor"), plan, turns)
    except (OSError, UnicodeDecodeError) as error:
        raise CaptureError(f"{file} cannot be read.", "Name a folder with a visit.toml.") from error
    except (KeyError, ValueError, TypeError, RecursionError) as error:
        raise CaptureError(f"{file} is not a recorded visit: {error}.", "Mend the file.") from error


def _text(told: dict[str, Any], key: str) -> str:
    value = told[key]
    if not isinstance(value, str) or not value.strip():
        raise TypeError(f"{key} is no text")
    return value


def _whole(told: dict[str, Any], key: str, lowest: int, highest: int) -> int:
    value = told[key]
    if type(value) is not int or not lowest <= value <= highest:
        raise ValueError(f"{key} is no whole number from {lowest} to {highest}")
    return value


def _turns(folder: Path, told: Any) -> Iterator[Turn]:
    unnamed = 0
    for number, turn in enumerate(told, 1):
        if not isinstance(turn, dict):
            raise TypeError(f"turn {number} is no table")
        if "clip" in turn:
            clip = _text(turn, "clip")
            if not CLIP_NAME.fullmatch(clip):
                raise ValueError(f"turn {number} names a clip otherwise than by letters, digits, _")
        else:
            unnamed += 1
            clip = f"turn_{unnamed:02d}"
        yield _turn(folder / f"{clip}.flac", number, turn)


def _turn(clip: Path, number: int, told: dict[str, Any]) -> Turn:
    when = told.get("when")
    if when not in {None, *RULES}:
        raise ValueError(f"turn {number} names the state {when!r}, which is none")
    if "keys" not in told:
        return Turn(clip, (), when)
    keys: list[str] = []
    for group in _text(told, "keys").split():
        # "22.8" is four keys, "enter" is one.
        keys.extend([group] if group.isalpha() else group)
    return Turn(None, tuple(keys), when)


@dataclass(slots=True)
class _Pace:
    """Keeps the demo in step with its own clock: seconds of the recorded visit.

    `speed` is how many times faster than real time, None as fast as it goes.
    """

    speed: float | None
    clock_s: float = 0.0
    started: float = field(default_factory=time.monotonic)

    def pass_s(self, seconds: float) -> None:
        """Let so much of the visit's time go by."""
        self.clock_s += seconds
        if self.speed is not None:
            ahead = self.clock_s / self.speed - (time.monotonic() - self.started)
            if ahead > 0:
                time.sleep(ahead)


@dataclass(slots=True)
class _Telling:
    """The demo's audience: shows everything, and remembers how long the voice would speak."""

    screen: PlainScreen
    wording: English
    write: Write
    speaking_s: float = 0.0

    def heard(self, call: Call) -> None:
        self.screen.heard(call)

    def ignored(self, heard: Heard) -> None:
        self.screen.ignored(heard)

    def said(self, announcement: Announcement, visit: Visit) -> None:
        self.screen.said(announcement, visit)
        self.speaking_s += SPEAKING_S_PER_WORD * len(self.wording.say(announcement).split())
        if isinstance(announcement, AllMeasured):
            for line in ("", *summary_lines(visit, visit_result_of(visit)), ""):
                self.write(line)


@dataclass(frozen=True, slots=True)
class DemoEnd:
    """How the demo ended: the visit, its place in the store, and what it came to."""

    visit: Visit
    visit_id: str
    store: Path
    result: VisitResult
    recording_s: float
    took_s: float


def run_demo(
    folder: Path,
    pack: Pack,
    store_path: Path,
    write: Write,
    speed: float | None = None,
    model: Path | None = None,
) -> DemoEnd:
    """Play the recorded visit in `folder` into the store at `store_path`.

    `write` takes the lines that are shown; `speed` is how many times faster than real time, None
    as fast as it goes. Raises CaptureError for a folder, model or store that cannot be used.
    """
    script = read_script(folder)
    sites = {site.id for site in script.plan.protocol.sites}
    ear = open_ear(pack, [LISTENING + rule for rule in RULES], sites, model)
    wording = English(NumberWords(pack.grammar), script.plan.protocol)
    pace = _Pace(speed)
    screen = PlainScreen(write, wording, lambda: pace.clock_s)
    telling = _Telling(screen, wording, write)
    with open_unlocked(store_path) as store:
        visit_id = _begin(store, script)
        road = Road(
            Visit(script.plan),
            pack.grammar,
            StoredJournal(store, visit_id),
            telling,
            local_time,
            certainty_of(pack, model),
        )
        write(f"Client {script.client}, assessor {script.assessor}. {script.plan.protocol.title}.")
        road.open()
        player = _Player(ear, road, pace, telling)
        for turn in script.turns:
            player.play(turn)
        result = visit_result_of(road.visit)
    took_s = time.monotonic() - pace.started
    return DemoEnd(road.visit, visit_id, store_path, result, pace.clock_s, took_s)


def _begin(store: Store, script: DemoScript) -> str:
    """Begin a visit in the store, for the same invented people each time."""
    at = local_time()
    client = store.find_client(script.client) or store.add_client(
        script.client, sex=script.plan.sex.value, at=at, note="invented, from the demo"
    )
    assessor = store.find_assessor(script.assessor) or store.add_assessor(script.assessor, at=at)
    visit = store.begin_visit(
        client.id, assessor.id, at=at, plan=script.plan.to_plain(), program_version=__version__
    )
    return visit.id


@dataclass(slots=True)
class _Player:
    """Plays turns to the road: sound through the recogniser, keys through the keypad."""

    ear: Ear
    road: Road
    pace: _Pace
    telling: _Telling
    recogniser: VoskRecogniser | None = None

    def play(self, turn: Turn) -> None:
        if turn.when is not None and self.road.listening != LISTENING + turn.when:
            return
        self._let_speak()
        if turn.clip is None:
            self._strike(turn.keys)
        else:
            self._listen_to(turn.clip)

    def _let_speak(self) -> None:
        """While the program speaks it does not listen, and forgets what it half heard."""
        self.pace.pass_s(self.telling.speaking_s)
        self.telling.speaking_s = 0.0
        if self.recogniser is not None:
            self.recogniser.reset()

    def _strike(self, keys: tuple[str, ...]) -> None:
        entry, struck = Entry(), list[str]()
        for key in keys:
            struck.append(key)
            pressed = press(entry, key, USUAL, self.road.visit)
            entry = pressed.entry
            if pressed.intent is not None:
                self.road.key(pressed.intent, " ".join(struck))
                struck.clear()
        self.pace.pass_s(0.3 * len(keys))

    def _listen_to(self, clip: Path) -> None:
        sound = open_sound(clip)
        rule = self.road.listening
        if rule is None:
            return
        if self.recogniser is None or self.recogniser.sample_rate_hz != sound.rate_hz:
            self.recogniser = self.ear.listener(sound.rate_hz, rule)
        self.recogniser.listen(rule)
        waited_s, taken = 0.0, False
        for block, is_clip in _with_silence(list(sound.blocks(BLOCK_S))):
            heard = self.recogniser.feed(block)
            self.pace.pass_s(BLOCK_S)
            waited_s = 0.0 if is_clip else waited_s + BLOCK_S
            if heard is not None:
                self.road.hear(heard)
                taken = True
            if (taken and not is_clip) or waited_s >= AFTER_CLIP_S:
                return


def _with_silence(blocks: list[bytes]) -> Iterator[tuple[bytes, bool]]:
    """The clip's blocks, then its room tone without end; each with whether it is of the clip."""
    for block in blocks:
        yield block, True
    tone = blocks[: max(1, round(ROOM_TONE_S / BLOCK_S))]
    while True:
        for block in tone:
            yield block, False
