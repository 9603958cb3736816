"""Lets recognisers hear the calls: in pieces, in several processes, each piece kept when done.

What was heard is kept in the cache folder under a digest of all that it depends on: the model, the
language pack, the recogniser's code and the benchmark's own. A run that was broken off goes on
where it was; after a change everything is heard anew. Thresholds are not part of it.
"""

import hashlib
import multiprocessing
import os
import pickle
import resource
import subprocess
import sys
import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import numpy as np

import capture
from capture.language.grammar import LISTENING
from capture.recognise.certainty import evidence_of
from capture.recognise.ending import CLOSED_S
from capture.visit.call import DECISIVE
from capture.wiring import default_pack, open_ear
from tests.bench import noises, sounds
from tests.bench.hearing import RATE_HZ, Hearer, Hearing, Judge, Ours, Sphinx
from tests.bench.trial import Heard, Stray, Trial

OURS, RIVAL = "foldcall", "pocketsphinx"
SNRS_DB = (20, 10, 5)
TRIM_S = 0.06
"""What the corpus keeps of the silence after a call."""

PIECE = 40
"""Calls in one piece of work."""

RIVAL_PIECE = 10
RIVAL_S_EACH = 8.0
RIVAL_BYTES = 2_000_000_000
"""A piece of the other recogniser may take so long and so much: it is known to run away."""

_LINES_OF_BABBLE = 20
_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class Setup:
    """Where the sounds are, which calls are heard, and how.

    Each call is heard in the quiet and under `noisy` conditions, at most one for each pair of
    noise and distance: with 3, at every distance, in each of the noises in turn. `blind`: the
    voices for the report alone, in the place of the others.
    """

    folder: Path
    calls: int
    seed: int
    noisy: int
    at_most: int = 10**6
    blind: bool = False


@dataclass(frozen=True, slots=True)
class Piece:
    """Some of the calls, by their number of all, for one recogniser."""

    setup: Setup
    name: str
    numbers: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Outcomes:
    """All that a recogniser heard, and how many calls were lost with it."""

    trials: tuple[Trial, ...]
    lost: int


def hearers(name: str) -> tuple[Hearer, Judge]:
    """The recogniser of that name and the judge."""
    pack = default_pack()
    judge = Judge(pack.grammar)
    if name == RIVAL:
        return Sphinx(pack.grammar, pack.pronunciations()), judge
    return Ours(open_ear(pack, [LISTENING + rule for rule in sounds.RULES])), judge


def conditions(setup: Setup, number: int) -> list[tuple[str, int | None]]:
    """Under which conditions one call is heard."""
    kinds = tuple(noises.KINDS)
    every = [
        (kinds[(number + turn + place) % len(kinds)], snr_db)
        for turn in range(len(kinds))
        for place, snr_db in enumerate(SNRS_DB)
    ]
    # With fewer than three, each call takes its turn among the distances too.
    first = number // len(kinds) % len(SNRS_DB) if setup.noisy < len(SNRS_DB) else 0
    turned = every[first : len(SNRS_DB)] + every[:first] + every[len(SNRS_DB) :]
    return [("clean", None), *turned[: setup.noisy]]


class _Worker:
    """One process's recogniser and sounds."""

    def __init__(self, setup: Setup, name: str) -> None:
        self._setup = setup
        self._hearer, self._judge = hearers(name)
        others = sounds.read_other(setup.folder, setup.seed)
        lines = [line for each in others.values() for line in each[:_LINES_OF_BABBLE]]
        self._noises = noises.kinds(lines)
        self._calls = chosen(setup)

    def hear(self, numbers: Sequence[int]) -> list[Trial]:
        """Each call under its conditions."""
        return [trial for number in numbers for trial in self._one(number)]

    def _one(self, number: int) -> Iterator[Trial]:
        of_voice, call = self._calls[number]
        meant = self._judge.meaning(call.rule, call.text.split())
        for kind, snr_db in conditions(self._setup, number):
            seed = zlib.crc32(f"{self._setup.seed} {number} {kind} {snr_db}".encode())
            rng = np.random.default_rng(seed)
            sound = noises.in_room(call.samples, self._noises.get(kind), snr_db or 0, rng)
            hearing = self._hearer.hear(call.rule, sound)
            ended_s = noises.BEFORE_S + len(call.samples) / RATE_HZ - TRIM_S
            answers = _answers(self._judge, call.rule, meant, hearing, ended_s)
            yield Trial(
                call.voice,
                of_voice,
                call.rule,
                call.text,
                kind,
                snr_db,
                answers,
                hearing.sound_s,
                hearing.busy_s,
                call.rested,
            )


_worker: dict[tuple[Setup, str], _Worker] = {}


def _work(setup: Setup, name: str) -> _Worker:
    if (setup, name) not in _worker:
        _worker[setup, name] = _Worker(setup, name)
    return _worker[setup, name]


def chosen(setup: Setup) -> dict[int, tuple[int, sounds.SpokenCall]]:
    """The calls that are heard by their number of all, each with its number of its voice."""
    if setup.blind:
        calls = sounds.read_blind(setup.folder, setup.seed)
    else:
        calls = sounds.read_calls(setup.folder, setup.calls, setup.seed)
        calls += sounds.read_rested(setup.folder, setup.calls, setup.seed)
    heard: dict[tuple[str, bool], int] = {}
    found = {}
    for number, call in enumerate(calls):
        which = (call.voice, call.rested)
        of_voice = heard[which] = heard.get(which, -1) + 1
        if of_voice < setup.at_most:
            found[number] = (of_voice, call)
    return found


def _answers(
    judge: Judge, rule: str, meant: object, hearing: Hearing, ended_s: float
) -> tuple[Heard, ...]:
    found = []
    for answer in judge.calls_in(rule, hearing):
        each = answer.utterance
        evidence = None
        if each.heard is not None:
            evidence = evidence_of(each.heard, lambda words: judge.meaning(rule, words))
        found.append(
            Heard(
                each.words,
                answer.meaning == meant,
                isinstance(answer.meaning, DECISIVE),
                evidence,
                each.at_s - ended_s,
                judge.needed_quiet_s(rule, each.words) or CLOSED_S,
                each.busy_s,
            )
        )
    return tuple(found)


def trials(setup: Setup, name: str, processes: int, tell: Callable[[str], None]) -> Outcomes:
    """Every call under its conditions."""
    size = RIVAL_PIECE if name == RIVAL else PIECE
    numbers = tuple(
        number for number, (_, call) in chosen(setup).items() if name == OURS or not call.rested
    )
    pieces = [Piece(setup, name, numbers[at : at + size]) for at in range(0, len(numbers), size)]
    kept = kept_folder(setup, name)
    found: list[Trial] = []
    lost = 0
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        work = _guarded_piece if name == RIVAL else _piece
        for done, (some, missing) in enumerate(
            pool.imap(_kept, [(work, each, kept) for each in pieces]), 1
        ):
            found += some
            lost += missing
            if done % 10 == 0 or done == len(pieces):
                tell(f"{name}: {done} of {len(pieces)} pieces heard")
    return Outcomes(tuple(found), lost)


_Done = tuple[list[Trial], int]


def _kept(task: tuple[Callable[[Piece], _Done], Piece, Path]) -> _Done:
    work, piece, folder = task
    file = folder / f"{piece.numbers[0]:05d}-{piece.numbers[-1]:05d}.pickle"
    return once(file, lambda: work(piece))


def once(file: Path, make: Callable[[], _T]) -> _T:
    """What the file holds; made and kept if there is none yet."""
    if file.exists():
        with file.open("rb") as stream:
            kept: _T = pickle.load(stream)
        return kept
    made = make()
    file.parent.mkdir(parents=True, exist_ok=True)
    aside = file.with_suffix(f".{os.getpid()}")
    aside.write_bytes(pickle.dumps(made))
    aside.replace(file)
    return made


def _piece(piece: Piece) -> _Done:
    return _work(piece.setup, piece.name).hear(piece.numbers), 0


def _guarded_piece(piece: Piece) -> _Done:
    """The same in a process that may neither run on nor eat all memory; else in halves."""
    found = _in_child(piece)
    if found is not None:
        return found, 0
    if len(piece.numbers) == 1:
        return [], 1
    half = len(piece.numbers) // 2
    parts = (piece.numbers[:half], piece.numbers[half:])
    results = [_guarded_piece(Piece(piece.setup, piece.name, part)) for part in parts]
    return [each for some, _ in results for each in some], sum(lost for _, lost in results)


def _in_child(piece: Piece) -> list[Trial] | None:
    found = _guarded(piece, 30.0 + RIVAL_S_EACH * len(piece.numbers))
    return found if isinstance(found, list) else None


def _guarded(task: Piece | str, limit_s: float) -> object:
    """What a process of its own makes of the task, None if it had to be ended."""
    command = [sys.executable, "-m", "tests.bench.running"]
    try:
        done = subprocess.run(
            command, input=pickle.dumps(task), capture_output=True, timeout=limit_s, check=False
        )
    except subprocess.TimeoutExpired:
        return None
    return None if done.returncode else pickle.loads(done.stdout)


def _child() -> None:
    """Hear a piece, or measure memory, as standard input says; the answer to standard output."""
    # Run as a program this module is __main__, but what was pickled names it in full.
    from tests.bench import running

    resource.setrlimit(resource.RLIMIT_AS, (RIVAL_BYTES, RIVAL_BYTES))
    task = pickle.loads(sys.stdin.buffer.read())
    if isinstance(task, running.Piece):
        made: object = running.hear_piece(task)
    else:
        made = running.peak_mb(task)
    sys.stdout.buffer.write(pickle.dumps(made))


def hear_piece(piece: Piece) -> list[Trial]:
    """What is heard of a piece, in this process."""
    return _Worker(piece.setup, piece.name).hear(piece.numbers)


def kept_folder(setup: Setup, name: str) -> Path:
    """Where the answers of a recogniser under a setup are kept."""
    told = repr((name, setup.calls, setup.seed, setup.noisy, setup.at_most, setup.blind))
    return setup.folder / f"heard-{name}-{_sum((told + digest()).encode())[:12]}"


def digest() -> str:
    """Of all files that what is heard depends on."""
    code = Path(capture.__file__).parent
    pack = default_pack().folder
    here = Path(__file__).parent
    files = [*code.glob("recognise/*.py"), *code.glob("language/*.py"), *pack.glob("*.gram")]
    files += [
        pack / "pronunciations.dict",
        pack / "decoys.dict",
        *(each for each in pack.glob("model/*/*")),
    ]
    files += [here / name for name in ("running.py", "sounds.py", "noises.py", "hearing.py")]
    return _sum("".join(_sum(each.read_bytes()) for each in sorted(files)).encode())


def _sum(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _strays(task: tuple[Setup, str, float]) -> list[Stray]:
    setup, rule, minutes = task

    def make() -> list[Stray]:
        hearer, judge = hearers(OURS)
        others = sounds.read_other(setup.folder, setup.seed)
        found = []
        rng = np.random.default_rng(setup.seed)
        for kind, sound in noises.streams(others, minutes * 60, rng).items():
            hearing = hearer.hear(rule, noises.as_bytes(sound))
            answers = _answers(judge, rule, None, hearing, 0.0)
            found.append(Stray(kind, rule, answers, hearing.sound_s, hearing.busy_s))
        return found

    return once(kept_folder(setup, f"other-{rule}-{minutes:g}") / "all.pickle", make)


def strays(setup: Setup, rules: Sequence[str], minutes: float, processes: int) -> list[Stray]:
    """Sound without a call, while each of the rules is listened for."""
    tasks = [(setup, rule, minutes) for rule in rules]
    with multiprocessing.get_context("spawn").Pool(min(processes, len(rules))) as pool:
        return [each for part in pool.imap(_strays, tasks) for each in part]


def peak_mb(name: str) -> float:
    """Memory that a recogniser adds to this process at most."""
    before = _peak_kb()
    hearer, _ = hearers(name)
    rng = np.random.default_rng(1)
    hearer.hear("reading_wanted", noises.as_bytes(0.05 * noises.pink(20 * RATE_HZ, rng)))
    return (_peak_kb() - before) / 1024


def _peak_kb() -> int:
    # What resource.getrusage tells was handed on by the parent process.
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return int(next(each.split()[1] for each in lines if each.startswith("VmHWM:")))


def memory_mb(name: str) -> float | None:
    """Peak memory that a recogniser adds to a process of its own: four rules, 20 s of noise.

    None if it ran away on them.
    """
    found = _guarded(name, 120.0)
    return found if isinstance(found, float) else None


if __name__ == "__main__":
    _child()
