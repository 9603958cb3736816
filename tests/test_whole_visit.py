"""A whole visit with all that the trade knows: spoken to the recogniser, keyed, and the same.

A caution, a refusal, a withdrawn permission, a horizontal midaxillary, a thigh through cloth, a
third at two sites. The clips in `trade_audio` are made by `trade_sound.py`.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from capture.begin import Wish, open_visit
from capture.company import Company, Sound, assemble, run_lines
from capture.language.intents import Caution, Option
from capture.pack import Pack
from capture.screen.keymap import USUAL
from capture.sound.recorded import WavSource
from capture.sound.settings import SoundSettings
from capture.sound.voice import VoiceKind
from capture.store import Store, open_store
from capture.visit.entry import Source
from capture.visit.replay import replay
from capture.visit.setups import carried_from
from capture.visit.state import Plan, Visit

NOON = "2026-03-02T12:00:00+01:00"
ROWAN = Wish("Rowan Alderby", "Tobias Quill", sex="male", age_years=34)
QUIET = SoundSettings(voice=VoiceKind.SILENT)
GAP_S = 1.6
"""Long enough after a call for its end to be noticed."""

YES = ("yes", "enter")


def read(phrase: str, keys: str) -> list[tuple[str, str]]:
    """A value that is called, or keyed, and its yes."""
    return [(phrase, f"{keys} enter"), YES]


CALLS: list[tuple[str, str]] = [
    # Before touching: a reason for care, then all is ready.
    ("caution lotion", "4"),
    ("ready", "enter"),
    # Clothing is refused; with fewer sites it is given, as the rest is.
    ("refused", "-"),
    ("fewer sites", "1"),
    *[("granted", "enter")] * 3,
    *read("nine inches", "9"),
    *read("fourteen and a half inches", "1 4 space 1 / 2"),
    *read("nineteen and five eighths inches", "1 9 space 5 / 8"),
    # First circuit: the midaxillary fold lies level, and touch is withdrawn for a while.
    *read("eight point four", "8 . 4"),
    ("fold horizontal", "h 2"),
    YES,
    *read("eleven", "1 1"),
    *read("ten point six", "1 0 . 6"),
    ("fourteen point two", "1 4 . 2 enter"),
    ("stop touch", "x 3"),
    ("other assessor", "5"),
    ("granted", "enter"),
    *read("fourteen point two", "1 4 . 2"),
    *read("twenty two", "2 2"),
    *read("eleven", "1 1"),
    ("cloth one point five", "h 7 1 . 5 enter"),
    YES,
    *read("eighteen", "1 8"),
    # Second circuit: two sites differ by more than the protocol allows.
    *read("eight", "8"),
    *read("fifteen", "1 5"),
    *read("thirteen point eight", "1 3 . 8"),
    *read("fourteen", "1 4"),
    *read("twenty two", "2 2"),
    *read("eleven", "1 1"),
    *read("eighteen point four", "1 8 . 4"),
    # The thirds.
    *read("twelve", "1 2"),
    *read("eleven point two", "1 1 . 2"),
    ("sign off", "o"),
]
"""What is said, and what is struck for the same."""


def clip_of(phrase: str) -> Path:
    """The recording of a phrase."""
    return Path(__file__).parent / "trade_audio" / f"{phrase.replace(' ', '_')}.ogg"


def begun(store: Store, pack: Pack, sound: Sound) -> Company:
    """A session at the beginning of the visit."""
    opened = open_visit(store, ROWAN, date(2026, 3, 2), NOON)
    return assemble(store, opened, pack, sound, USUAL, lambda _: None)


def spoken(store: Store, pack: Pack, folder: Path, phrases: Sequence[str]) -> Company:
    """The visit as the recogniser hears it in one recording."""
    parts = []
    rate_hz = 16_000
    for phrase in phrases:
        sound, rate_hz = soundfile.read(clip_of(phrase), dtype="float32")
        parts += [sound, np.tile(sound[: rate_hz // 5], round(GAP_S / 0.2))]
    path = folder / "visit.wav"
    soundfile.write(path, np.concatenate(parts), rate_hz, subtype="PCM_16")
    company = begun(store, pack, Sound(WavSource(path, realtime=False), QUIET))
    run_lines(company, iter(()), patient=False)
    return company


def keyed(store: Store, pack: Pack, keys: Sequence[str]) -> Company:
    """The visit as it is struck, key by key."""
    company = begun(store, pack, Sound(None, QUIET))
    company.session.turns.bounce_s = 0.0
    company.begin()
    for struck in keys:
        for key in struck.split():
            company.session.strike(key)
            company.session.drain()
    company.close()
    return company


def record(visit: Visit) -> list[object]:
    """What came of a visit: who said it how, when, and how surely is left out."""
    untimed = [
        replace(each, **{name: value for name, value in LEFT_OUT.items() if hasattr(each, name)})
        for each in visit.done
    ]
    readings = [replace(each, source=Source.KEYPAD, doubts=()) for each in visit.readings]
    return [readings, untimed, carried_from(visit)]


LEFT_OUT: dict[str, Any] = {"at": "", "doubts": ()}


def test_spoken_and_keyed_end_in_the_same_record(pack: Pack, tmp_path: Path) -> None:
    """The real recogniser and real keys lead to the same readings, setup, choices and answers."""
    phrases = [phrase for phrase, _ in CALLS]
    with open_store(tmp_path / "voice.db") as store:
        company = spoken(store, pack, tmp_path, phrases)
        heard = store.entries(company.opened.row.id)
        by_voice = checked(company, store, Source.VOICE)
    with open_store(tmp_path / "keys.db") as store:
        company = keyed(store, pack, [keys for _, keys in CALLS])
        by_keys = checked(company, store, Source.KEYPAD)
    assert [each.words for each in heard] == phrases
    assert record(by_voice) == record(by_keys)


def checked(company: Company, store: Store, source: Source) -> Visit:
    """The visit, with all that was to come of it, as the store has it."""
    visit, row = company.session.visit, company.opened.row
    entries = store.entries(row.id)
    assert [each.words for each in entries if each.source is not source] == []
    assert len(entries) == len(CALLS)
    assert visit.signed_at is not None
    assert replay(Plan.from_plain(row.plan), entries) == visit
    assert visit.cautions == (Caution.LOTION,)
    assert [each.option for each in visit.choices] == [Option.FEWER_SITES, Option.OTHER_ASSESSOR]
    assert [(each.permission.value, each.granted) for each in visit.answers] == [
        ("clothing", False), ("clothing", True), ("marks", True), ("touch", True),
        ("touch", False), ("touch", True),
    ]  # fmt: skip
    assert visit.trials("midaxillary") == (110, 150, 120)
    assert visit.trials("triceps") == (106, 138, 112)
    # Two layers of 1.5 mm are taken off.
    assert visit.trials("thigh") == (150, 154)
    assert visit.is_estimate("thigh")
    setup = carried_from(visit).site("midaxillary")
    assert setup is not None
    assert setup.fold.value == "horizontal"
    return visit
