"""Kills the program at every moment of a visit and looks at what is left.

    python tests/kills.py [--points N] [--sign-off] [--seed N] [--recorded FOLDER]

A visit is walked once without harm, and the store is copied after each call. From each copy a
process goes on and kills itself (SIGKILL) at one moment of the next call: before a key, before
the journal is asked, before each SQL statement of the transaction, after the commit, before each
line of the screen; or it is killed from outside at a random instant. Then the program is started
again. It must stand exactly before or exactly after the call, and after it if anything of its
outcome had been shown; it must ask again what waits for its yes; and the same person must come
to the same end as without the kill.

The voice is that of recorded utterances, decoded once by the real recogniser where a recording is
given. Prints how many kills there were of each kind. Exit code 1 at the first difference.
"""

import argparse
import itertools
import os
import pickle
import random
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from types import SimpleNamespace
from unittest.mock import patch

import numpy as np
import soundfile
from person import PosedEar, keys_for, phrase_for

from capture import company, demo
from capture.begin import Wish, open_visit
from capture.language.grammar import LISTENING
from capture.pack import Pack
from capture.protocol.protocol import SEVEN_SITES
from capture.recognise.port import Heard
from capture.recognise.scripted import spoken
from capture.rescue import RescuingJournal
from capture.resources import data_folder
from capture.road import Road
from capture.screen.keymap import USUAL
from capture.sound.recorded import WavSource
from capture.sound.settings import SoundSettings
from capture.sound.voice import VoiceKind
from capture.store import Store, open_store
from capture.units import Inches
from capture.visit.announcement import AskPreparation, AskReading
from capture.visit.course import question
from capture.visit.entry import Entry
from capture.visit.replay import replay
from capture.visit.state import Plan, Visit
from capture.wiring import Ear, default_pack, open_ear
from capture.wording.english import English
from capture.wording.help import TITLES
from capture.wording.numbers import NumberWords

WISH = Wish("Rowan Alderby", "Tobias Quill", sex="male", age_years=34)
TODAY, NOON = date(2026, 3, 2), "2026-03-02T12:00:00+01:00"
QUIET = company.Sound(None, SoundSettings(voice=VoiceKind.SILENT))
KILLED = -signal.SIGKILL
HEARD = ("heard", "keyed")
LONGEST_VISIT = 200

Say = Callable[[Visit, list[Heard]], Heard | list[str] | None]
"""What comes next: an utterance or keys. The list holds what was recorded and is not used yet."""


@dataclass
class Moments:
    """Counts the moments of a process, tells them through a pipe, and kills it at one of them."""

    pipe: int | None = None
    kill_at: int | None = None
    kinds: list[str] = field(default_factory=list)

    def __call__(self, kind: str) -> None:
        """One moment."""
        if self.pipe is not None:
            os.write(self.pipe, f"{kind}\n".encode())
        self.kinds.append(kind)
        if len(self.kinds) - 1 == self.kill_at:
            os.kill(os.getpid(), signal.SIGKILL)


@dataclass
class Sitting:
    """The program on one store, with all its parts but sound and screen; and its person."""

    pack: Pack
    numbers: NumberWords
    moments: Moments
    store: Store
    ear: PosedEar
    running: company.Company
    lines: list[str]

    @property
    def visit(self) -> Visit:
        """The visit as it stands."""
        return self.running.session.visit

    def take(self, given: Heard | list[str]) -> None:
        """One call, spoken or keyed."""
        session = self.running.session
        if isinstance(given, Heard):
            self.moments("call")
            self.ear.say(session, given)
            return
        for key in given:
            self.moments("key")
            session.strike(key)
            session.drain()

    def entries(self) -> list[Entry]:
        """The journal on the disk."""
        return self.store.entries(self.running.opened.row.id)


@contextmanager
def sitting(path: Path, pack: Pack, numbers: NumberWords, moments: Moments) -> Iterator[Sitting]:
    """Start the program on a store, as `foldcall measure` does."""
    lines: list[str] = []

    def show(line: str) -> None:
        moments("heard" if line[7:].startswith(HEARD) else "shown")
        lines.append(line)

    class Watched(RescuingJournal):
        def append(self, entry: Entry) -> None:
            moments("before the journal")
            super().append(entry)
            moments("after the commit")

    with open_store(path) as store:
        opened = open_visit(store, WISH, TODAY, NOON)
        store.db.conn.set_trace_callback(lambda sql: moments(f"SQL {sql.split()[0]}"))
        with (
            patch.object(company, "RescuingJournal", Watched),
            patch.object(company, "local_time", lambda: NOON),
            patch.object(company, "examples", lambda *_: {}),
            # Seconds between the calls: a key that comes at once after speech is not taken.
            patch.object(company, "time", SimpleNamespace(monotonic=itertools.count().__next__)),
        ):
            running = company.assemble(store, opened, pack, QUIET, USUAL, show)
        session, ear = running.session, PosedEar()
        session.turns.bounce_s, session.ear = 0.0, ear
        running.begin()
        with patch.object(company, "local_time", lambda: NOON):
            yield Sitting(pack, numbers, moments, store, ear, running, lines)
        running.close()


@dataclass(frozen=True)
class Course:
    """A visit walked without harm: the state, the store and the moments at each call."""

    name: str
    says: Say
    recorded: list[Heard | list[str]]
    visits: list[Visit]
    used: list[int]
    """How much of what was recorded is used up at each call."""
    kinds: list[list[str]]
    entries: list[Entry]
    folder: Path

    def store(self, turn: int) -> Path:
        """The store as it was before this call."""
        return self.folder / f"{self.name}_{turn}"


def _is_next(given: object, recorded: Sequence[object], at: int) -> bool:
    return at < len(recorded) and given is recorded[at]


def in_child(work: Callable[[], None]) -> int:
    """Do something in a process of its own; its exit code, or minus the signal that ended it."""
    number = os.fork()
    if number == 0:
        code = 1
        try:
            work()
            code = 0
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(number, 0)[1])


def walked(
    name: str, says: Say, recorded: list[Heard | list[str]], pack: Pack, folder: Path
) -> Course:
    """Walk a visit to its end in a process of its own, and keep each step of it."""
    kept = folder / f"{name}.pickle"

    def walk() -> None:
        moments = Moments()
        visits, used, kinds, at, calls = [], [], [], 0, 0
        live = folder / name
        live.mkdir()
        with sitting(live / "visits.db", pack, NumberWords(pack.grammar), moments) as desk:
            while True:
                if not visits or desk.visit != visits[-1]:
                    shutil.copytree(live, folder / f"{name}_{len(visits)}")
                    visits.append(desk.visit)
                    used.append(at)
                    kinds.append([])
                given = says(desk.visit, recorded[at:])
                calls += 1
                if given is None or calls > LONGEST_VISIT:
                    break
                at += _is_next(given, recorded, at)
                moments.kinds.clear()
                desk.take(given)
                kinds[-1] += moments.kinds
            assert desk.visit.signed_at is not None, desk.lines[-3:]
            entries = desk.entries()
        kept.write_bytes(pickle.dumps((visits, used, kinds, entries)))

    if in_child(walk):
        raise SystemExit(f"the {name} visit did not come to its end")
    visits, used, kinds, entries = pickle.loads(kept.read_bytes())
    return Course(name, says, recorded, visits, used, kinds, entries, folder)


def checked(course: Course, turn: int, shown: bool, path: Path, pack: Pack) -> None:
    """Start again after a kill in a call: everything is as promised, and the visit goes on."""
    if turn + 2 >= len(course.visits) and signed_off(course, path):
        return
    with sitting(path, pack, NumberWords(pack.grammar), Moments()) as desk:
        # Not before the call, not beyond the next one; and after it if its outcome was shown.
        possible = course.visits[turn + 1 : turn + 2] if shown else course.visits[turn : turn + 2]
        assert desk.visit in possible, f"another state after call {turn}"
        turn = course.visits.index(desk.visit)
        assert desk.store.check() == ()
        stored = desk.store.db.execute(
            "SELECT count(*), sum(value_mm) FROM confirmed_readings"
        ).fetchone()
        values = [each.value_tenths_mm / 10 for each in desk.visit.confirmed]
        assert stored[0] == len(values)
        assert abs((stored[1] or 0) - sum(values)) < 1e-6
        asked = English(desk.numbers, desk.visit.plan.protocol).say(question(desk.visit))
        assert any(asked in line for line in desk.lines), "not asked again"
        at = course.used[turn]
        while (given := course.says(desk.visit, course.recorded[at:])) is not None:
            at += _is_next(given, course.recorded, at)
            desk.take(given)
        assert desk.visit == course.visits[-1], "another end"
        assert desk.entries() == course.entries, "another journal"


def signed_off(course: Course, path: Path) -> bool:
    """Whether the visit is signed off in the store, and then that it is all there."""
    with open_store(path, create=False) as store:
        (row,) = store.visits()
        if store.open_visits():
            return False
        entries = store.entries(row.id)
        assert entries == course.entries, "another journal"
        assert replay(Plan.from_plain(row.plan), entries) == course.visits[-1], "another end"
        assert len(store.results(row.id)) == 1, "signed off without its result"
        assert store.check() == ()
    return True


def killed_at(course: Course, turn: int, moment: int, pack: Pack, folder: Path) -> None:
    """Kill the program at one moment of one call."""
    path = folder / "killed"
    shutil.rmtree(path, ignore_errors=True)
    shutil.copytree(course.store(turn), path)

    def work() -> None:
        moments = Moments()
        with sitting(path / "visits.db", pack, NumberWords(pack.grammar), moments) as desk:
            moments.kinds.clear()
            moments.kill_at = moment
            at = course.used[turn]
            while (given := course.says(desk.visit, course.recorded[at:])) is not None:
                at += _is_next(given, course.recorded, at)
                desk.take(given)

    assert in_child(work) == KILLED, (course.name, turn, moment)
    before = course.kinds[turn][: moment + 1]
    shown = "shown" in before[before.index("heard") :] if "heard" in before else False
    _restart(course, turn, shown, path, pack)


def killed_by_chance(course: Course, rng: random.Random, pack: Pack, folder: Path) -> bool:
    """Kill the program from outside at a random instant of what is left of a visit."""
    path, first = folder / "killed", rng.randrange(len(course.visits) - 1)
    shutil.rmtree(path, ignore_errors=True)
    shutil.copytree(course.store(first), path)
    out, into = os.pipe()
    number = os.fork()
    if number == 0:
        os.close(out)
        moments = Moments(into)
        with sitting(path / "visits.db", pack, NumberWords(pack.grammar), moments) as desk:
            at = course.used[first]
            os.write(into, b"begun\n")
            while (given := course.says(desk.visit, course.recorded[at:])) is not None:
                at += _is_next(given, course.recorded, at)
                desk.take(given)
        os._exit(0)
    os.close(into)
    with os.fdopen(out, "rb", buffering=0) as told:
        seen = b""
        while b"begun\n" not in seen:
            seen += told.read(4096)
        # A call takes a few milliseconds.
        time.sleep(rng.random() * 0.05 * min(4, len(course.visits) - first))
        os.kill(number, signal.SIGKILL)
        code = os.waitstatus_to_exitcode(os.waitpid(number, 0)[1])
        while more := told.read(65536):
            seen += more
    kinds = seen.partition(b"begun\n")[2].decode().splitlines()
    turn = first + kinds.count("after the commit")
    if turn >= len(course.visits):
        turn = len(course.visits) - 1
    # The commit may have been reached without being told.
    _restart(course, turn, False, path, pack)
    return code == KILLED


def _restart(course: Course, turn: int, shown: bool, path: Path, pack: Pack) -> None:
    if in_child(lambda: checked(course, turn, shown, path / "visits.db", pack)):
        raise SystemExit(f"the {course.name} visit was harmed by a kill in call {turn + 1}")


def recorded_calls(pack: Pack, folder: Path, scratch: Path) -> list[Heard | list[str]]:
    """The calls of the recorded visit as the real recogniser hears them, and its keys."""
    kept = scratch / "calls.pickle"

    def decode() -> None:
        calls: list[Heard | list[str]] = []

        class Noting(Road):
            def hear(self, heard: Heard, waited_s: float = 0.0) -> None:
                calls.append(heard)
                super().hear(heard, waited_s)

            def key(self, intent: object, keys: str) -> None:
                calls.append(keys.split())
                super().key(intent, keys)  # type: ignore[arg-type]

        with patch.object(demo, "Road", Noting):
            demo.run_demo(folder, pack, scratch / "demo.db", lambda _: None)
        kept.write_bytes(pickle.dumps(calls))

    if in_child(decode):
        raise SystemExit("the recorded visit cannot be heard")
    found: list[Heard | list[str]] = pickle.loads(kept.read_bytes())
    return found


SPOKEN_TURNS = (10, 11, 12, 13, 15, 16, 17, 18)
"""Turns of the recorded visit: four folds and a yes to each."""

GAP_S = 1.6
"""Long enough after a call for its end to be noticed."""


@dataclass(frozen=True)
class Speech:
    """Real sound through the real thread, gate and recogniser, on a visit at its first fold."""

    pack: Pack
    ear: Ear
    clips: Path
    folder: Path

    def begin(self) -> int:
        """Bring a visit by key to its first fold; how many calls that takes."""
        begun = self.folder / "begun"
        begun.mkdir()
        with sitting(
            begun / "visits.db", self.pack, NumberWords(self.pack.grammar), Moments()
        ) as desk:
            while not isinstance(question(desk.visit), AskReading):
                desk.take(keys_for(desk.visit) or [])
            return desk.visit.sequence

    def listen(self, store: Path, moments: Moments, before: int) -> Visit:
        """Start the program with what has not been said yet; the visit at the end of the sound."""
        with open_store(store) as opened_store:
            opened = open_visit(opened_store, WISH, TODAY, NOON)
            left = SPOKEN_TURNS[opened.visit.sequence - before :]
            if not left:
                return opened.visit
            sound = self.folder / f"speech_{len(left)}.wav"
            if not sound.exists():
                self._write(sound, left)
            with (
                patch.object(company, "open_ear", lambda *_: self.ear),
                patch.object(company, "examples", lambda *_: {}),
            ):
                heard = company.Sound(WavSource(sound, realtime=False), QUIET.settings)
                running = company.assemble(
                    opened_store,
                    opened,
                    self.pack,
                    heard,
                    USUAL,
                    lambda line: moments(line[7:].split()[0]),
                )
                company.run_lines(running, iter(()), patient=False)
            return running.session.visit

    def _write(self, path: Path, turns: Sequence[int]) -> None:
        parts, rate_hz = [], 16_000
        for turn in turns:
            sound, rate_hz = soundfile.read(self.clips / f"turn_{turn:02d}.flac")
            parts += [sound, np.tile(sound[: rate_hz // 5], round(GAP_S / 0.2))]
        soundfile.write(path, np.concatenate(parts), rate_hz, subtype="PCM_16")


def told(visit: Visit) -> list[tuple[object, ...]]:
    """What must be the same however the sound was cut: the readings and what became of them."""
    return [(each.target, each.value_tenths_mm, each.state) for each in visit.readings]


def speech_killed(speech: Speech, kills: int, rng: random.Random) -> int:
    """Kill a visit of real speech at random instants; how often it was killed before its end."""
    before, begun, count = speech.begin(), speech.folder / "begun", 0
    whole = speech.folder / "whole"
    shutil.copytree(begun, whole)
    kept = speech.folder / "whole.pickle"

    def walk() -> None:
        kept.write_bytes(pickle.dumps(speech.listen(whole / "visits.db", Moments(), before)))

    began_s = time.monotonic()
    if in_child(walk):
        raise SystemExit("the speech cannot be heard")
    took_s, end = time.monotonic() - began_s, pickle.loads(kept.read_bytes())
    assert len(end.confirmed) == len(SPOKEN_TURNS) // 2, told(end)
    for _ in range(kills):
        path = speech.folder / "killed"
        shutil.rmtree(path, ignore_errors=True)
        shutil.copytree(begun, path)
        out, into = os.pipe()
        number = os.fork()
        if number == 0:
            os.close(out)
            speech.listen(path / "visits.db", Moments(into), before)
            os._exit(0)
        os.close(into)
        time.sleep(rng.random() * took_s)
        os.kill(number, signal.SIGKILL)
        count += os.waitstatus_to_exitcode(os.waitpid(number, 0)[1]) == KILLED
        with os.fdopen(out, "rb") as pipe:
            saved = pipe.read().decode().splitlines().count("SAVED")

        def again(path: Path = path, saved: int = saved) -> None:
            with open_store(path / "visits.db") as store:
                found = open_visit(store, WISH, TODAY, NOON).visit
            assert saved <= len(found.confirmed) <= saved + 1, (saved, told(found))
            assert told(found)[:-1] == told(end)[: len(found.readings)][:-1]
            assert told(speech.listen(path / "visits.db", Moments(), before)) == told(end)

        if in_child(again):
            raise SystemExit("the visit by real speech was harmed by a kill")
    return count


def by_key(visit: Visit, _: list[Heard]) -> list[str] | None:
    """The person at the keypad."""
    return keys_for(visit)


def by_voice(numbers: NumberWords) -> Say:
    """The person who speaks, heard without a fault."""

    def says(visit: Visit, _: list[Heard]) -> Heard | None:
        phrase = phrase_for(visit, numbers)
        return None if phrase is None else spoken(phrase)

    return says


def as_recorded(visit: Visit, left: list[Heard]) -> Heard | list[str] | None:
    """The recorded calls in their order; what they leave open is ended by key."""
    if visit.signed_at is not None:
        return None
    settled = not isinstance(question(visit), AskPreparation)
    return left[0] if left and settled else keys_for(visit)


def worked_out(pack: Pack, numbers: NumberWords) -> None:
    """Have the grammar make once, before the processes part, what each of them would make anew."""
    sites = {site.id for site in SEVEN_SITES.sites}
    for rule in TITLES:
        pack.grammar.parser(LISTENING + rule, sites).slots(["yes"])
    numbers.plain(100), numbers.read_back(150), numbers.length(Inches(108))


def main() -> int:
    """Kill as often as was asked for, and print how often."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--points", type=int, help="moments a visit, spread evenly; default: all")
    parser.add_argument("--sign-off", action="store_true", help="only the moments of the last call")
    parser.add_argument("--random", type=int, default=60, help="random instants a visit")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--speech", type=int, default=0, help="kills of a visit by real speech")
    parser.add_argument("--recorded", type=Path, help="a recorded visit, such as demo_audio")
    chosen = parser.parse_args()
    pack, rng, count = default_pack(), random.Random(chosen.seed), Counter[str]()
    numbers = NumberWords(pack.grammar)
    worked_out(pack, numbers)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        courses = [walked("keypad", by_key, [], pack, folder)]
        courses.append(walked("voice", by_voice(numbers), [], pack, folder))
        if chosen.recorded is not None:
            calls = recorded_calls(pack, chosen.recorded, folder)
            courses.append(walked("recorded", as_recorded, calls, pack, folder))
        for course in courses:
            points = [(t, m) for t, kinds in enumerate(course.kinds) for m in range(len(kinds))]
            if chosen.sign_off:
                points = [point for point in points if point[0] == len(course.visits) - 2]
            if chosen.points is not None and chosen.points < len(points):
                points = sorted(rng.sample(points, chosen.points))
            for turn, moment in points:
                killed_at(course, turn, moment, pack, folder)
                count[f"{course.name}: {course.kinds[turn][moment]}"] += 1
            print(f"{len(points):5d}  moments of the {course.name} visit", flush=True)
            for _ in range(chosen.random):
                if killed_by_chance(course, rng, pack, folder):
                    count[f"{course.name}: random instant"] += 1
        if chosen.speech:
            clips = chosen.recorded or data_folder("demo_audio")
            rules = [rule for rule in pack.grammar.rules if rule.startswith(LISTENING)]
            ear = open_ear(pack, [each for each in rules if not each.endswith(".anything")])
            speech = Speech(pack, ear, clips, folder)
            count["real speech: random instant"] = speech_killed(speech, chosen.speech, rng)
    for kind, number in sorted(count.items()):
        print(f"{number:5d}  {kind}")
    print(f"{count.total()} kills, none harmed a visit")
    return 0


if __name__ == "__main__":
    sys.exit(main())
