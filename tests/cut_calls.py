"""Recorded calls that are listened to only from their middle on, to see if one passes for another.

`python -m tests.cut_calls` cuts each recorded call at every twentieth of a second, in two ways:
a key changes the question (the sound before is known, and not used), or the program speaks until
then (nothing is known of the sound before). The rest goes through the hearing and the road of a
live visit. Printed is what comes of it, with the mark "begun early" and as if there were none.
"""

import sys
import tomllib
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from itertools import product
from pathlib import Path

import numpy as np
import soundfile

from capture.composition.forms import Sex
from capture.demo import read_script
from capture.hearing import Hearing, Order, Spoken, Told
from capture.language.grammar import LISTENING, understand
from capture.pack import Pack, open_pack
from capture.protocol.caliper import Caliper
from capture.protocol.protocol import SEVEN_SITES
from capture.recognise.port import Heard, Recogniser
from capture.resources import data_folder
from capture.road import Road
from capture.sound.duplex import HalfDuplex
from capture.sound.errors import DeviceError
from capture.sound.onset import ABOVE_FLOOR_DB
from capture.sound.samples import Samples, levels_dbfs, resampled, to_bytes
from capture.sound.source import BLOCK_S, Block, MicState
from capture.visit.announcement import Announcement, ReadBack
from capture.visit.call import Call
from capture.visit.entry import Entry
from capture.visit.state import Plan, Visit
from capture.wiring import certainty_of, open_ear

RATE_HZ = 16_000
ROOM_DBFS = -65.0
BEFORE_S, AFTER_S = 0.7, 1.0
"""Room tone around a call: the rest after it lets its end be noticed."""

NOON = "2026-03-02T12:00:00+01:00"
RULES = ("reading_wanted", "readback")
FOLDER = Path(__file__).parent


class Opens(StrEnum):
    """Why listening begins in the middle."""

    KEY = "key"
    """The question changed: sound of before it is not used."""
    VOICE = "voice"
    """The program spoke until then."""


class Came(StrEnum):
    """What came of a call that was cut."""

    RIGHT = "right"
    """What was said is read back or taken, or the part that is left means the same."""
    DOUBTFUL = "doubtful"
    AGAIN = "asked again"
    """Asked again, refused, or halted by a pause: no number counts."""
    NOTHING = "nothing"
    WRONG = "silently wrong"
    """Something else is read back without a doubt, or taken at once."""


def recordings() -> Iterator[tuple[str, Path]]:
    """Calls and their recordings: a person's numbers, the demo's calls, those of the trade."""
    found: dict[str, Path] = {}
    for file in sorted((FOLDER / "recordings" / "numbers").glob("*.flac")):
        found.setdefault(file.stem, file)
    demo = data_folder("demo_audio")
    told = tomllib.loads((demo / "visit.toml").read_text("utf-8"))["turn"]
    for turn, played in zip(told, read_script(demo).turns, strict=True):
        if played.clip is not None and not {"voice", "door_s"} & set(turn):
            found.setdefault(turn["says"], played.clip)
    for file in sorted((FOLDER / "trade_audio").glob("*.ogg")):
        found.setdefault(file.stem.replace("_", " "), file)
    yield from found.items()


def blocks_of(file: Path) -> list[Block]:
    """The recording with room tone around it, from time 0 on."""
    sound, rate_hz = soundfile.read(file, dtype="float32", always_2d=True)
    said: Samples = resampled(np.ascontiguousarray(sound[:, 0]), rate_hz, RATE_HZ)
    chance = np.random.default_rng(3)

    def tone(seconds: float) -> Samples:
        noise = chance.normal(0, 10 ** (ROOM_DBFS / 20), round(seconds * RATE_HZ))
        return noise.astype(np.float32)

    whole = np.concatenate([tone(BEFORE_S), said, tone(AFTER_S)])
    whole += tone(len(whole) / RATE_HZ)
    size = round(BLOCK_S * RATE_HZ)
    sounds = [to_bytes(whole[at : at + size]) for at in range(0, len(whole) - size + 1, size)]
    return [
        Block(each, RATE_HZ, n * BLOCK_S, False, *levels_dbfs(each))
        for n, each in enumerate(sounds)
    ]


@dataclass
class Played:
    """Blocks as a source."""

    blocks: Sequence[Block]
    given: int = 0
    state: MicState = MicState.STARTING
    name: str = "recording"
    rate_hz: int = RATE_HZ
    overruns: int = 0
    trouble: DeviceError | None = None

    def get(self, timeout_s: float) -> Block | None:  # noqa: ARG002
        """The next block."""
        if self.given == len(self.blocks):
            self.state = MicState.ENDED
            return None
        self.state = MicState.LISTENING
        self.given += 1
        return self.blocks[self.given - 1]

    def now_s(self) -> float:
        """Time of the blocks given."""
        return self.given * BLOCK_S

    def close(self) -> None:
        """Nothing to let go of."""


class Twice:
    """Hears the same sound any number of times for the work of one."""

    sample_rate_hz = RATE_HZ

    def __init__(self, recogniser: Recogniser) -> None:
        self._recogniser = recogniser
        self._found: list[Heard | None] = []
        self._at = 0

    def listener(self, rate_hz: int, rule: str) -> "Twice":  # noqa: ARG002
        """Itself, at the beginning of the sound."""
        self._at = 0
        return self

    def listen(self, context: str) -> None:
        """It has one context."""

    def reset(self) -> None:
        """It is fresh."""

    def feed(self, block: bytes) -> Heard | None:
        """What was found at this place, or is found now."""
        return self._next(lambda: self._recogniser.feed(block))

    def finish(self) -> Heard | None:
        """The end."""
        return self._next(self._recogniser.finish)

    def _next(self, find: Callable[[], Heard | None]) -> Heard | None:
        if self._at == len(self._found):
            self._found.append(find())
        self._at += 1
        return self._found[self._at - 1]


@dataclass
class Desk:
    """A visit that takes one call: what was announced, and the journal."""

    pack: Pack
    visit: Visit
    said_now: list[Announcement] = field(default_factory=list)
    journal: list[Entry] = field(default_factory=list)

    def append(self, entry: Entry) -> None:
        """Keep an entry."""
        self.journal.append(entry)

    def heard(self, call: Call) -> None:
        """A call came in."""

    def ignored(self, heard: object) -> None:
        """Other speech."""

    def said(self, announcement: Announcement, visit: Visit) -> None:  # noqa: ARG002
        """Keep what is announced."""
        self.said_now.append(announcement)

    def road(self) -> Road:
        """The road of a live visit, with the pack's certainty."""
        certainty = certainty_of(self.pack)
        return Road(self.visit, self.pack.grammar, self, self, lambda: NOON, certainty)


class Cutter:
    """Plays recordings from their middle on."""

    def __init__(self, pack: Pack) -> None:
        self.pack = pack
        self._sites = {site.id for site in SEVEN_SITES.sites}
        self._ear = open_ear(pack, [LISTENING + rule for rule in RULES], self._sites)
        self._visits = {"reading_wanted": self._measuring(), "readback": self._reading_back()}

    def _measuring(self) -> Visit:
        plan = Plan(SEVEN_SITES, Caliper("dial caliper", 2, 800), Sex.MALE, 34)
        return self._after(Visit(plan), ["yes"] * 3 + ["seven", "yes"] * 3)

    def _reading_back(self) -> Visit:
        return self._after(self._measuring(), ["chest eight point four"])

    def _after(self, visit: Visit, calls: Sequence[str]) -> Visit:
        desk = Desk(self.pack, visit)
        road = desk.road()
        for call in calls:
            parser = self.pack.grammar.parser(str(road.listening), self._sites)
            meant = understand(parser, call.split())
            road.key(meant, call)  # type: ignore[arg-type]
        return road.visit

    def heard(
        self, blocks: Sequence[Block], cut: int, rule: str
    ) -> Iterator[tuple[Opens, list[Spoken]]]:
        """What is heard of the blocks from number `cut` on, for each way of opening."""
        ear = Twice(self._ear.listener(RATE_HZ, LISTENING + rule))
        for opens in Opens:
            yield opens, self._heard(blocks, cut, rule, opens, ear)

    def _heard(
        self, blocks: Sequence[Block], cut: int, rule: str, opens: Opens, ear: Twice
    ) -> list[Spoken]:
        found: list[Spoken] = []
        duplex = HalfDuplex(lambda: 0.0, 0.0)
        if opens is Opens.VOICE:
            until_s = cut * BLOCK_S - 0.001
            clock = [-1.0]
            duplex = HalfDuplex(lambda: clock[0], 0.0)
            number = duplex.begins(until_s + 1)
            clock[0] = until_s
            duplex.ends(number)

        def post(told: Told) -> None:
            if isinstance(told, Spoken):
                found.append(told)
                told.answered.set()

        hearing = Hearing(Played(blocks), duplex, lambda: ("cut", ear), post)
        since_s = cut * BLOCK_S - 0.001 if opens is Opens.KEY else 0.0
        hearing.tell(Order(1, LISTENING + rule, since_s))
        hearing.run()
        return found

    def came(self, text: str, rule: str, found: Sequence[Spoken]) -> Came:
        """What comes of it in a visit, against what would come of the whole."""
        visit = self._visits[rule]
        desk = Desk(self.pack, visit)
        road = desk.road()
        for spoken in found:
            if road.listening == LISTENING + rule:
                road.hear(spoken.heard, begun_early=spoken.begun_early)
        if not desk.journal:
            return Came.NOTHING
        read = next((each for each in desk.said_now if isinstance(each, ReadBack)), None)
        kinds = {fact.get("kind") for entry in desk.journal for fact in entry.facts}
        if kinds & {"refused", "not_understood", "too_late"}:
            return Came.AGAIN
        after = road.visit
        if after.paused:
            return Came.AGAIN
        if visit.pending is not None and after.pending is None and not after.confirmed:
            # A "no" costs a repetition, never a number.
            return Came.AGAIN
        if after.pending != visit.pending and read is not None and read.doubts:
            return Came.DOUBTFUL
        whole = self._after(visit, [text])
        return Came.RIGHT if _effect(after) == _effect(whole) else Came.WRONG


def _effect(visit: Visit) -> tuple[object, ...]:
    """What counts and what waits, without how it came in."""
    values = [(each.target, each.value_tenths_mm, each.state) for each in visit.readings]
    return replace(visit, sequence=0, readings=()), values


def unmarked(found: Sequence[Spoken]) -> list[Spoken]:
    """The same as if nothing had been noticed."""
    return [replace(each, begun_early=False) for each in found]


def cuts_of(blocks: Sequence[Block]) -> range:
    """The numbers of the blocks after the first of the call, to its end."""
    loud = [n for n, each in enumerate(blocks) if each.level_dbfs > ROOM_DBFS + ABOVE_FLOOR_DB]
    return range(loud[0] + 1, loud[-1] + 1)


def main(tell: Callable[[str], None] = print) -> None:
    """Cut all recordings everywhere, and tell the counts."""
    cutter = Cutter(open_pack(data_folder("grammars") / "en"))
    counts: dict[tuple[Opens, str, bool], Counter[Came]] = {}
    for text, file in recordings():
        blocks = blocks_of(file)
        for rule, cut in product(RULES, cuts_of(blocks)):
            for opens, found in cutter.heard(blocks, cut, rule):
                for marked, each in ((False, unmarked(found)), (True, found)):
                    came = cutter.came(text, rule, each)
                    counts.setdefault((opens, rule, marked), Counter())[came] += 1
                    if marked and came is Came.WRONG:
                        said = ", ".join(one.heard.text for one in each)
                        tell(f"  {opens} {rule} {file.stem} at {cut * BLOCK_S:.2f} s: {said}")
    for (opens, rule, marked), found_counts in counts.items():
        told = ", ".join(f"{came} {found_counts[came]}" for came in Came)
        tell(f"{opens}, {rule}, {'with the mark' if marked else 'without it'}: {told}")


if __name__ == "__main__":
    sys.exit(main())
