"""The line mode ends where nothing can be typed or said any more."""

import threading
from datetime import date
from pathlib import Path

import pytest

from capture.begin import Wish, open_visit
from capture.company import Sound, assemble, run_lines
from capture.pack import Pack
from capture.screen.keymap import USUAL
from capture.sound.microphone import Microphone
from capture.sound.scripted import ScriptedSound
from capture.sound.settings import SoundSettings
from capture.sound.voice import VoiceKind
from capture.store import open_store

NOON = "2026-03-02T12:00:00+01:00"
ADA = Wish("Ada Moss", "Bo Lind", sex="female", age_years=41)
QUIET = SoundSettings(voice=VoiceKind.SILENT)
TOO_LONG_S = 300


@pytest.mark.parametrize(
    "system",
    [ScriptedSound(installed=False), ScriptedSound(plugged=[])],
    ids=["no sound library", "no microphone"],
)
def test_a_pipe_that_is_over_ends_a_visit_without_a_microphone(
    tmp_path: Path, pack: Pack, system: ScriptedSound
) -> None:
    """It waits for nobody; the visit is open, and goes on at the next start."""
    with open_store(tmp_path / "visits.db") as store:
        opened = open_visit(store, ADA, date(2026, 3, 2), NOON)
        sound = Sound(Microphone(system), QUIET)
        company = assemble(store, opened, pack, sound, USUAL, lambda _: None)
        late = threading.Timer(TOO_LONG_S, setattr, (company.session, "over", True))
        late.start()
        run_lines(company, iter(["ready", "granted"]), patient=False)
        late.cancel()
        assert not company.session.over
        assert [answer.granted for answer in company.session.visit.answers] == [True]
        assert company.session.visit.signed_at is None
