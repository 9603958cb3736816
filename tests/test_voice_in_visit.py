"""A kept voice check in a live visit: its line at the beginning, its thresholds in the journal."""

import io
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from prompt_sound import record

from capture.cli import main
from capture.pack import Pack
from capture.recognise.certainty import Certainty
from capture.settings_file import write_table
from capture.sound.devices import Device
from capture.sound.scripted import DESK, ScriptedSound
from capture.store import open_store
from capture.visit.call import HEARING
from capture.voice_kept import TABLE, KeptCheck, entries_of, mark_of
from capture.voice_verdict import Tally

LEAST = 0.9931
LAPEL = replace(DESK, number=5, name="Lapel", default_input=False)


@pytest.fixture
def fitted(pack: Pack) -> Certainty:
    """The pack's own doubt."""
    found = pack.certainty()
    assert found is not None
    return found


def kept(fitted: Certainty, microphone: str) -> KeptCheck:
    """A check in which something went wrong without a doubt."""
    return KeptCheck(
        date(2026, 5, 3), microphone, Tally(19, 0, 0, 1), mark_of(fitted), normal_from=LEAST
    )


def measured(
    monkeypatch: pytest.MonkeyPatch,
    folder: Path,
    check: KeptCheck,
    *options: str,
    plugged: tuple[Device, ...] = (),
) -> None:
    """`foldcall measure` in lines, with nothing typed."""
    settings = folder / "settings.toml"
    write_table(settings, TABLE, entries_of(check))
    monkeypatch.setenv("FOLDCALL_SETTINGS", str(settings))
    monkeypatch.setattr("sys.stdin", io.StringIO())
    monkeypatch.setattr("capture.measure.PortAudio", lambda: ScriptedSound(plugged=[*plugged]))
    code = main(
        [
            *("measure", "--plain", "--silent", "--client", "Ada Moss", "--assessor", "Bo Lind"),
            *("--sex", "female", "--age", "41", "--store", str(folder / "visits.db"), *options),
        ]
    )
    assert code == 0


def limits(folder: Path) -> set[tuple[float, float]]:
    """The thresholds for a reading and for a yes, of every spoken entry in the store."""
    with open_store(folder / "visits.db") as store:
        (visit,) = store.open_visits()
        facts = [fact for entry in store.entries(visit.id) for fact in entry.facts]
    told = [fact for fact in facts if fact["kind"] == HEARING]
    return {(fact["normal_from"], fact["sure_from"]) for fact in told}


def test_a_visit_is_judged_by_the_thresholds_of_the_room(
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    fitted: Certainty,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The line tells it, and each entry keeps the limits, so that a replay judges alike."""
    recording = record(tmp_path / "room.wav", ["no"])
    options = ("--from-wav", str(recording), "--fast")
    measured(monkeypatch, tmp_path, kept(fitted, "room.wav"), *options)
    shown = capsys.readouterr().out
    told = "Voice check of 3 May 2026: 1 of 20 silently wrong: use the keypad."
    assert f"{told} Doubtful below 99.31%." in shown
    assert limits(tmp_path) == {(LEAST, LEAST)}


def test_with_another_microphone_the_usual_thresholds_hold(
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    fitted: Certainty,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """And a line says that the check does not count."""
    recording = record(tmp_path / "hall.wav", ["no"])
    options = ("--from-wav", str(recording), "--fast")
    measured(monkeypatch, tmp_path, kept(fitted, "room.wav"), *options)
    assert "made with another microphone, 'room.wav'" in capsys.readouterr().out
    assert limits(tmp_path) == {(fitted.normal_from, fitted.sure_from)}


@pytest.mark.parametrize(
    ("plugged", "options", "told"),
    [
        ((DESK, LAPEL), (), "made with another microphone, 'Lapel'"),
        ((DESK, LAPEL), ("--microphone", "lap"), "Doubtful below 99.31%"),
        ((), ("--microphone", "lap"), "Doubtful below 99.31%"),
        ((DESK, LAPEL), ("--no-microphone",), ""),
    ],
    ids=["the system's own", "by a part of its name", "not plugged in yet", "keypad"],
)
def test_the_microphone_is_known_before_it_is_opened(
    plugged: tuple[Device, ...],
    options: tuple[str, ...],
    told: str,
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    fitted: Certainty,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Its whole name decides; where it is not there yet, the stricter thresholds hold."""
    check = kept(fitted, "Lapel")
    # Nobody types, and nobody speaks either: the session is over at once.
    monkeypatch.setattr("capture.company._no_more_sound", lambda _: True)
    measured(monkeypatch, tmp_path, check, *options, plugged=plugged)
    shown = capsys.readouterr().out
    assert told in shown
    assert ("oice check" in shown) == bool(told)
