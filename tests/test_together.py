"""A recorded call plays while a key is struck: the two never both apply.

Real sound through the real recogniser and the session of a live visit; the key falls at every
tenth of a second of the call and of the wait after it.
"""

import time
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import soundfile

from capture import company as company_module
from capture.begin import Opened, Wish, open_visit
from capture.company import Company, Sound, assemble, run_lines
from capture.language.grammar import LISTENING
from capture.pack import Pack
from capture.resources import data_folder
from capture.screen.keymap import USUAL
from capture.sound.recorded import WavSource
from capture.sound.settings import SoundSettings
from capture.sound.source import Block
from capture.sound.voice import VoiceKind
from capture.store import Store, open_store
from capture.visit.entry import Entry
from capture.wiring import Ear, open_ear

NOON = "2026-03-02T12:00:00+01:00"
WISH = Wish("Ada Moss", "Bo Lind", sex="male", age_years=41)
QUIET = SoundSettings(voice=VoiceKind.SILENT)
STEP_S, AFTER_S = 0.1, 1.5
BEFORE = ["", "", "", "", *(["6 3/4", ""] * 3), "8.4"]
"""Keys up to the read-back of 8.4 mm at the chest."""


@pytest.fixture(scope="module")
def ear(pack: Pack) -> Ear:
    """The real recogniser, loaded once for all visits."""
    rules = [rule for rule in pack.grammar.rules if rule.startswith(LISTENING)]
    sites = {"chest", "midaxillary", "triceps", "subscapular", "abdominal", "suprailiac", "thigh"}
    return open_ear(pack, rules, sites)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """An empty store."""
    with open_store(tmp_path / "visits.db") as opened:
        yield opened


class Meanwhile(WavSource):
    """A recording; at a moment of it somebody strikes a key."""

    def __init__(self, path: Path, key: str, at_s: float) -> None:
        super().__init__(path, realtime=False)
        self.key, self.at_s = key, at_s
        self.company: Company | None = None
        self.is_answer = False
        """The call had been taken for so long that its read-back could be seen."""

    def get(self, timeout_s: float) -> Block | None:
        """The next block; the key before it, once its time has come."""
        if self.company is not None and self.now_s() >= self.at_s:
            company, self.company = self.company, None
            turns = company.session.turns
            self.is_answer = turns.spoken > 0 and self.now_s() >= turns.no_key_before_s
            company.session.strike(self.key)
            give_up = time.monotonic() + 10
            while not company.session.idle and time.monotonic() < give_up:
                time.sleep(0.001)
        return super().get(timeout_s)


YES, NO_ONE_SIX = (data_folder("demo_audio") / f"turn_{n}.flac" for n in (11, 24))
"""The demo's assessor confirms, and corrects to sixteen."""


def begun(store: Store) -> Opened:
    """The visit where it was left."""
    return open_visit(store, WISH, date(2026, 3, 2), NOON)


def played(
    store: Store, pack: Pack, folder: Path, clip: Path, key: str, at_s: float
) -> tuple[list[Entry], bool]:
    """The journal entries after the read-back; the key is struck so late in the recording.

    And whether the key is an answer to what came of the call.
    """
    before = assemble(store, begun(store), pack, Sound(None, QUIET), USUAL, lambda _: None)
    run_lines(before, iter(BEFORE), patient=False)
    sound, rate_hz = soundfile.read(clip)
    tone = np.tile(sound[: rate_hz // 5], round(AFTER_S / 0.2) + 1)
    path = folder / "call.wav"
    soundfile.write(path, np.concatenate([sound, tone]), rate_hz, subtype="PCM_16")
    source = Meanwhile(path, key, at_s)
    opened = begun(store)
    company = assemble(store, opened, pack, Sound(source, QUIET), USUAL, lambda _: None)
    source.company = company
    run_lines(company, iter(()), patient=False)
    return list(store.entries(opened.row.id))[opened.visit.sequence :], source.is_answer


def states(entries: list[Entry]) -> list[tuple[str, int]]:
    """What became of which value, in tenths of a millimetre, in order."""
    return [(each.state.value, each.value_tenths_mm) for one in entries for each in one.readings]


CONFIRMED, DROPPED = [("confirmed", 84)], [("dropped", 84)]
CORRECTED = [("replaced", 84), ("heard", 160)]


def moments(clip: Path) -> list[float]:
    """Every tenth of a second of a recording and of the wait after it."""
    info = soundfile.info(clip)
    return [n * STEP_S for n in range(round((info.duration + AFTER_S - 0.2) / STEP_S))]


@pytest.fixture(autouse=True)
def loaded(ear: Ear, monkeypatch: pytest.MonkeyPatch) -> None:
    """The sessions of these tests share the recogniser, and show no example phrases."""
    monkeypatch.setattr(company_module, "_ear", lambda *_: ("shared", ear))
    monkeypatch.setattr(company_module, "examples", lambda *_: {})


@pytest.mark.parametrize("at_s", moments(NO_ONE_SIX))
def test_enter_during_a_correction(store: Store, pack: Pack, tmp_path: Path, at_s: float) -> None:
    """Either 8.4 counts, or sixteen waits for its yes; sixteen never counts by that Enter.

    What is left of a call that the key cut is read back as doubtful at most.
    """
    entries, is_answer = played(store, pack, tmp_path, NO_ONE_SIX, "enter", at_s)
    came = states(entries)
    assert came[: len(CORRECTED)] == CORRECTED or came[:1] == CONFIRMED
    rest = came[2:] if came[:2] == CORRECTED else came[1:]
    assert is_answer or ("confirmed", 160) not in rest
    for entry in entries:
        if came[:1] == CONFIRMED and any(each.state.value == "heard" for each in entry.readings):
            assert {fact["kind"] for fact in entry.facts} & {"begun_early", "doubt"}


@pytest.mark.parametrize("at_s", moments(YES))
def test_minus_during_a_yes(store: Store, pack: Pack, tmp_path: Path, at_s: float) -> None:
    """Either 8.4 counts or it is dropped: one of the two is taken, and nothing after it."""
    entries, _ = played(store, pack, tmp_path, YES, "-", at_s)
    assert states(entries) in (CONFIRMED, DROPPED)


def test_both_ways_happen(store: Store, pack: Pack, tmp_path: Path) -> None:
    """The key comes first at the beginning of the recording, the call at its end."""
    first, *_, last = moments(YES)
    early, _ = played(store, pack, tmp_path, YES, "-", first)
    assert [entry.source.value for entry in early if entry.readings] == ["keypad"]
    with open_store(tmp_path / "again.db") as again:
        late, _ = played(again, pack, tmp_path, YES, "-", last)
    assert [entry.source.value for entry in late if entry.readings] == ["voice"]
