"""`foldcall measure`: opening a visit, and whole sessions with recorded sound and keys mixed."""

import os
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import soundfile

from capture.begin import Opened, Wish, open_visit
from capture.company import Company, Sound, assemble, examples, run_lines
from capture.composition.shown import Body
from capture.errors import CaptureError, MisuseError
from capture.measure import read_bindings, results_of
from capture.pack import Pack
from capture.resources import data_folder
from capture.screen.keymap import USUAL, Action
from capture.session import Session
from capture.settings_file import read_settings
from capture.sound.devices import Kind
from capture.sound.errors import MicrophoneError
from capture.sound.microphone import Microphone
from capture.sound.recorded import WavSource
from capture.sound.scripted import DESK, ScriptedSound
from capture.sound.settings import SoundSettings
from capture.sound.source import Block
from capture.sound.voice import VoiceKind
from capture.store import Store, open_store
from capture.visit.state import NotedRemark, Plan, Visit

TODAY = date(2026, 3, 2)
NOON = "2026-03-02T12:00:00+01:00"
ADA = Wish("Ada Moss", "Bo Lind", sex="female", age_years=41)
QUIET = SoundSettings(voice=VoiceKind.SILENT)
GAP_S = 1.6
"""Long enough after a call for its end to be noticed."""


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """An empty store."""
    with open_store(tmp_path / "visits.db") as opened:
        yield opened


def opened(store: Store, wish: Wish = ADA) -> Opened:
    """Open a visit on the day of the tests."""
    return open_visit(store, wish, TODAY, NOON)


def measured(store: Store, pack: Pack, lines: Sequence[str], wish: Wish = ADA) -> Visit:
    """A keypad session in line mode over these lines."""
    company = assemble(store, opened(store, wish), pack, Sound(None, QUIET), USUAL, lambda _: None)
    run_lines(company, iter(lines), patient=False)
    return company.session.visit


def recording(folder: Path, turns: Sequence[int]) -> Path:
    """Recorded calls of the demo with the tone of their room between them."""
    return scene(folder, turns)[0]


def scene(folder: Path, events: Sequence[int | str]) -> tuple[Path, list[tuple[float, list[str]]]]:
    """A recording of the demo's calls, and the keys between them with their times in it."""
    parts, keys, rate_hz, length = [], [], 16_000, 0
    for event in events:
        if isinstance(event, str):
            keys.append((length / rate_hz - GAP_S / 4, event.split()))
            continue
        sound, rate_hz = soundfile.read(data_folder("demo_audio") / f"turn_{event:02d}.flac")
        tone = sound[: rate_hz // 5]
        parts += [sound, np.tile(tone, round(GAP_S / 0.2))]
        length = sum(map(len, parts))
    path = folder / "calls.wav"
    soundfile.write(path, np.concatenate(parts), rate_hz, subtype="PCM_16")
    return path, keys


class HelperAtKeys(WavSource):
    """A recording during which a helper strikes keys, each lot at its time."""

    def __init__(self, path: Path, keys: list[tuple[float, list[str]]]) -> None:
        super().__init__(path, realtime=False)
        self.keys = keys
        self.company: Company | None = None

    def get(self, timeout_s: float) -> Block | None:
        """The next block, after the keys that are due."""
        while self.company is not None and self.keys and self.keys[0][0] <= self.now_s():
            session = self.company.session
            before = session.visit.sequence
            for key in self.keys.pop(0)[1]:
                session.strike(key)
            give_up = time.monotonic() + 10
            while session.visit.sequence == before and time.monotonic() < give_up:
                time.sleep(0.002)
        return super().get(timeout_s)


def test_a_new_client_needs_sex_and_age(store: Store) -> None:
    """What is missing is asked for by its option."""
    with pytest.raises(MisuseError, match="--sex"):
        opened(store, Wish("Ada Moss", "Bo"))
    with pytest.raises(MisuseError, match="--age"):
        opened(store, Wish("Ada Moss", "Bo", sex="female"))
    assert store.clients() == []


@pytest.mark.parametrize(
    ("born", "age_years"), [("1985-03-02", 41), ("1985-03-03", 40), ("2012-02-29", 14)]
)
def test_the_age_comes_from_the_birth_date(store: Store, born: str, age_years: int) -> None:
    """A birthday counts from its own day on."""
    wish = replace(ADA, age_years=None, birth_date=born)
    assert opened(store, wish).visit.plan.age_years == age_years


@pytest.mark.parametrize(
    "wish",
    [
        replace(ADA, age_years=3),
        replace(ADA, age_years=None, birth_date="2.3.1985"),
        replace(ADA, caliper_step_mm=0.25),
        replace(ADA, caliper_step_mm=0),
        replace(ADA, caliper_opening_mm=100.0),
        replace(ADA, protocol="nine_sites_and_a_half"),
    ],
    ids=["age", "date", "step", "no step", "opening", "protocol"],
)
def test_what_cannot_be_is_refused_before_anything_is_saved(store: Store, wish: Wish) -> None:
    """An error with a hint, and no half client in the store."""
    with pytest.raises(MisuseError) as caught:
        opened(store, wish)
    assert caught.value.hint
    assert store.clients() == []


def test_an_unfinished_visit_goes_on_as_it_was(store: Store, pack: Pack) -> None:
    """The same client again: the same visit, with the reading that waits for its yes."""
    first = measured(store, pack, ["", "", "", "", *(["6 3/4", ""] * 3), "8.4", "", "12.4"])
    again = opened(store, Wish("ada moss", "Bo Lind"))
    assert again.resumed
    assert again.visit == first
    assert again.visit.pending is not None
    assert again.visit.pending.value_tenths_mm == 124


def test_a_new_visit_can_be_asked_for(store: Store, pack: Pack) -> None:
    """--new leaves the unfinished one alone."""
    measured(store, pack, [""])
    begun = opened(store, replace(ADA, new=True))
    assert not begun.resumed
    assert begun.visit.sequence == 0
    assert len(store.open_visits()) == 2


def test_a_whole_visit_by_keypad(store: Store, pack: Pack) -> None:
    """Two circuits of seven sites, signed off; the result is saved with it."""
    folds = ["8", "11", "10", "14", "22", "11", "9"] * 2
    lines = ["", "", "", "", *(["6 3/4", ""] * 3)]
    lines += [line for fold in folds for line in (fold, "")]
    visit = measured(store, pack, [*lines, "sign off"])
    assert visit.signed_at is not None
    assert len(visit.confirmed) == 14
    (row,) = store.visits()
    assert store.open_visits() == []
    assert len(store.results(row.id)) == 1


@pytest.mark.parametrize("shown", [True, False], ids=["shown", "hidden"])
def test_the_end_goes_by_the_clients_choices(store: Store, pack: Pack, shown: bool) -> None:
    """The client's own equation, and neither on the screen nor in the store a hidden percent."""
    equation = "jackson_pollock_ward_1980_women_3"
    client = store.add_client("Ada Moss", "female", at=NOON, birth_date="1985-01-01")
    store.edit_client(client.id, at=NOON, equation=equation, show_fat_percent=shown)
    folds = ["8", "11", "10", "14", "22", "11", "9"] * 2
    lines = ["", "", "", "", *(["6 3/4", ""] * 3)]
    lines += [line for fold in folds for line in (fold, "")]
    company = assemble(store, opened(store), pack, Sound(None, QUIET), USUAL, lambda _: None)
    run_lines(company, iter([*lines, "sign off"]), patient=False)
    said = "\n".join(results_of(company))
    assert "sum of 7" in said
    assert ("Fat " in said) is shown
    assert ("Triceps, suprailiac, thigh, women (1980)" in said) is shown
    (row,) = store.visits()
    (result,) = store.results(row.id)
    assert ("fat" in result.result) is shown
    assert result.result["equation"]["id"] == equation


def test_weight_and_height_of_the_day_are_kept(store: Store, pack: Pack) -> None:
    """They stand in the plan of the visit, and the end tells the masses."""
    begun = opened(store, replace(ADA, body=Body(61.5, 168.0)))
    assert Plan.from_plain(begun.row.plan) == begun.visit.plan
    assert (begun.visit.plan.weight_kg, begun.visit.plan.height_cm) == (61.5, 168.0)
    assert Plan.from_plain({**begun.row.plan, "weight_kg": None}).weight_kg is None
    old = {name: value for name, value in begun.row.plan.items() if name != "weight_kg"}
    assert Plan.from_plain(old).weight_kg is None
    company = assemble(store, begun, pack, Sound(None, QUIET), USUAL, lambda _: None)
    folds = ["8", "11", "10", "14", "22", "11", "9"] * 2
    lines = ["", "", "", "", *(["6 3/4", ""] * 3)]
    lines += [line for fold in folds for line in (fold, "")]
    run_lines(company, iter([*lines, "sign off"]), patient=False)
    assert any(line.startswith("Fat-free mass ") for line in results_of(company))


def test_recorded_calls_and_keys_are_mixed(store: Store, pack: Pack, tmp_path: Path) -> None:
    """Real sound through the real recogniser, and a helper at the keypad in the same visit."""
    # Turns of the demo: granted, yes; three tape lengths; "chest eight point four", yes;
    # "eleven point two", yes. The helper's keys stand between them.
    path, keys = scene(
        tmp_path,
        [
            "enter",
            2,
            3,
            "enter",
            4,
            "enter",
            6,
            7,
            8,
            "c 1 9 enter",
            9,
            10,
            "8 . 6 enter",
            11,
            12,
            "enter",
        ],
    )
    source = HelperAtKeys(path, keys)
    begun = opened(store)
    company = assemble(store, begun, pack, Sound(source, QUIET), USUAL, lambda _: None)
    source.company = company
    run_lines(company, iter(()), patient=False)
    visit = company.session.visit
    assert [answer.granted for answer in visit.answers] == [True] * 3
    assert [str(mark.length) for mark in visit.marks] == ["6 3/4 in", "14 1/2 in", "19 in"]
    taken = [(each.value_tenths_mm, each.state.value) for each in visit.readings]
    assert taken == [(84, "replaced"), (86, "confirmed"), (112, "confirmed")]
    by = [entry.source.value for entry in store.entries(begun.row.id)]
    assert by.count("voice") == 10
    assert by.count("keypad") == 6


def test_a_missing_model_leaves_the_keypad(store: Store, pack: Pack, tmp_path: Path) -> None:
    """One line says why; the keys work."""
    source = WavSource(recording(tmp_path, [1]), realtime=False)
    told: list[str] = []
    sound = Sound(source, QUIET, model=tmp_path / "nothing")
    company = assemble(store, opened(store), pack, sound, USUAL, told.append)
    run_lines(company, iter(["", ""]), patient=False)
    assert len(company.session.visit.answers) == 1
    assert sum("Keypad only" in line for line in told) == 1


@pytest.mark.parametrize(
    ("broken", "words"),
    [("am/final.mdl", "final.mdl is damaged"), ("conf/model.conf", "lacks conf/model.conf")],
    ids=["damaged", "incomplete"],
)
def test_a_broken_model_leaves_the_keypad(
    store: Store, pack: Pack, tmp_path: Path, broken: str, words: str
) -> None:
    """The pack's own model, cut short or without a part: one line says what and what to do."""
    own = Pack(tmp_path / "pack", pack.grammar)
    shutil.copytree(pack.folder, own.folder)
    file = own.model / broken
    if file.suffix == ".mdl":
        file.write_bytes(file.read_bytes()[:100_000])
    else:
        file.unlink()
    source = WavSource(recording(tmp_path, [1]), realtime=False)
    told: list[str] = []
    company = assemble(store, opened(store), own, Sound(source, QUIET), USUAL, told.append)
    run_lines(company, iter(["", ""]), patient=False)
    assert len(company.session.visit.answers) == 1
    (line,) = [line for line in told if "Keypad only" in line]
    assert words in line
    assert "Restore the folder" in line


def test_another_program_in_the_same_visit_loses_nothing(store: Store, pack: Pack) -> None:
    """A second window that wrote an entry: this one saves nothing more, and says so."""
    begun = opened(store)
    told: list[str] = []
    mine = assemble(store, begun, pack, Sound(None, QUIET), USUAL, told.append)
    other = assemble(store, begun, pack, Sound(None, QUIET), USUAL, lambda _: None)
    run_lines(other, iter([""]), patient=False)
    run_lines(mine, iter(["", "-"]), patient=False)
    assert len(store.entries(begun.row.id)) == 1
    assert mine.session.visit.answers == ()
    assert any("NOT SAVED" in line for line in told)


def test_examples_of_what_may_be_said(pack: Pack) -> None:
    """Each state of a visit has some, and a reading is among them where one is wanted."""
    found = examples(pack.grammar, ["chest", "thigh"])
    assert {"permission", "tape_wanted", "reading_wanted", "readback", "closing"} <= set(found)
    assert any("point" in phrase for phrase in found["reading_wanted"])
    assert all(found.values())


def test_keys_of_the_settings_file(tmp_path: Path) -> None:
    """The table [keys] changes the keys; no file, no change."""
    path = tmp_path / "settings.toml"
    assert read_bindings(read_settings(path)) == USUAL
    path.write_text('[keys]\nconfirm = ["enter", "pagedown"]\n', encoding="utf-8")
    assert read_bindings(read_settings(path)).action("pagedown") is Action.CONFIRM


@pytest.mark.parametrize(
    "text", ["keys = 3\n", "[keys\n", '[keys]\nfly = "x"\n', "\xff"], ids=str.strip
)
def test_wrong_settings_name_their_file(tmp_path: Path, text: str) -> None:
    """The error says which file to mend."""
    path = tmp_path / "settings.toml"
    path.write_text(text, encoding="latin-1")
    with pytest.raises(CaptureError, match=r"settings\.toml"):
        read_bindings(read_settings(path))


def run_program(tmp_path: Path, *arguments: str) -> "subprocess.CompletedProcess[str]":
    """The program as it is installed, without a terminal."""
    return subprocess.run(
        [sys.executable, "-m", "capture", "measure", *arguments],
        check=False,
        capture_output=True,
        text=True,
        input="\n\n",
        env={**os.environ, "FOLDCALL_SETTINGS": str(tmp_path / "none.toml")},
        timeout=120,
    )


def test_without_a_terminal_the_line_mode_is_named(tmp_path: Path) -> None:
    """Called in a pipe the screen cannot be shown: exit code 2 and what to add."""
    done = run_program(tmp_path, "--client", "Ada", "--assessor", "Bo")
    assert done.returncode == 2
    assert "--plain" in done.stderr


def test_lists_are_told_in_lines(store: Store, pack: Pack) -> None:
    """Before touching, after a refusal, and where a key opens one: each choice with its number."""
    told: list[str] = []
    company = assemble(store, opened(store), pack, Sound(None, QUIET), USUAL, told.append)
    run_lines(company, iter(["ready", "no", "4", "", "h", "escape"]), patient=False)
    assert [each.option.value for each in company.session.visit.choices] == ["chaperone"]
    text = "\n".join(told)
    wanted = ("4 lotion", "4 chaperone", "2 fold horizontal")
    places = [text.index(each) for each in wanted]
    assert places == sorted(places)


def test_the_line_mode_needs_no_terminal(tmp_path: Path) -> None:
    """One line an event, for a screen reader or a pipe."""
    store = str(tmp_path / "visits.db")
    people = ("--client", "Ada", "--assessor", "Bo", "--sex", "female", "--age", "41")
    done = run_program(tmp_path, *people, "--store", store, "--plain", "--no-microphone")
    assert done.returncode == 0, done.stderr
    assert "moving clothing: granted." in done.stdout
    assert "\x1b" not in done.stdout
    assert "goes on at the next start" in done.stdout


def test_no_thread_is_left(store: Store, pack: Pack, tmp_path: Path) -> None:
    """A session that has ended hears nothing any more."""
    source = WavSource(recording(tmp_path, [1]), realtime=True)
    company = assemble(store, opened(store), pack, Sound(source, QUIET), USUAL, lambda _: None)
    company.begin()
    wait_for(company.session, lambda: bool(company.session.shown.recogniser))
    company.close()
    assert "hearing" not in {thread.name for thread in threading.enumerate()}


def test_a_microphone_that_is_plugged_in_later_is_listened_to(
    store: Store, pack: Pack, tmp_path: Path
) -> None:
    """No microphone at the start: one line, keypad; then it is there, without a restart."""
    system = ScriptedSound(plugged=[])
    told: list[str] = []
    sound = Sound(Microphone(system), QUIET)
    company = assemble(store, opened(store), pack, sound, USUAL, told.append)
    session = company.session
    company.begin()
    try:
        wait_for(session, lambda: any("no microphone" in line for line in told))
        session.type("ready")
        session.turns.bounce_s = 0.0
        session.type("")
        wait_for(session, lambda: len(session.visit.answers) == 1)
        system.plugged.append(DESK)
        assert system.opened.wait(20)
        calls, _ = soundfile.read(recording(tmp_path, [1]), dtype="int16")
        # The desk's microphone has three times the rate of the recording.
        block = np.repeat(calls, 3)
        for at in range(0, len(block), 2_400):
            system.inputs[0].push(block[at : at + 2_400].tobytes())
        wait_for(session, lambda: len(session.visit.answers) == 2)
    finally:
        company.close()
    assert any("is back" in line for line in told)


BUSY = MicrophoneError("The microphone 'Desk' is busy or gone.", "Close what holds it.")
DENIED = MicrophoneError("The microphone 'Desk' cannot be opened.", "Allow it in the settings.")


@pytest.mark.parametrize(
    ("system", "words"),
    [
        (ScriptedSound(installed=False), "no PortAudio library"),
        (ScriptedSound(plugged=[]), "no microphone"),
        (ScriptedSound(open_errors={Kind.MICROPHONE: BUSY}), "busy or gone"),
        (ScriptedSound(open_errors={Kind.MICROPHONE: DENIED}), "cannot be opened"),
    ],
    ids=["no sound library", "no microphone", "held by another program", "refused"],
)
def test_a_microphone_that_cannot_be_used_is_told_in_one_line(
    store: Store, pack: Pack, system: ScriptedSound, words: str
) -> None:
    """What is wrong and what to do, once; and the keypad goes on."""
    told: list[str] = []
    sound = Sound(Microphone(system), QUIET)
    company = assemble(store, opened(store), pack, sound, USUAL, told.append)
    company.session.turns.bounce_s = 0.0
    company.begin()
    try:
        wait_for(company.session, lambda: any(words in line for line in told))
        for line in ("ready", "", ""):
            company.session.type(line)
        wait_for(company.session, lambda: len(company.session.visit.answers) == 2)
    finally:
        company.close()
    (line,) = [line for line in told if words in line]
    assert "  !  " in line
    assert len(line.split(". ")) > 1


def wait_for(session: Session, holds: Callable[[], bool]) -> None:
    """Run the session until something holds."""
    give_up = time.monotonic() + 30
    while not holds():
        assert time.monotonic() < give_up
        session.wait(0.05)


def test_the_line_mode_tells_where_it_stands(store: Store, pack: Pack) -> None:
    """Typing "status" gives all that the screen would show, in sentences; a note is typed too."""
    told: list[str] = []
    company = assemble(store, opened(store), pack, Sound(None, QUIET), USUAL, told.append)
    lines = ["", "", "", "", *["7", ""] * 3, "8.4", "", "note dry skin, 2 cm", "11.2", "status"]
    run_lines(company, iter(lines), patient=False)
    asked = [line.partition("!")[2].strip() for line in told if "  !  " in line]
    assert "Now: midaxillary, first circuit. 11.2 CONFIRM?" in asked
    assert "chest: 8.4; value 8.4" in asked
    assert any(line.startswith("Done: 1 of 14") and "yes to each" in line for line in asked)
    assert any(line.startswith("Sound: KEYPAD ONLY") for line in asked)
    notes = [each.text for each in company.session.visit.done if isinstance(each, NotedRemark)]
    assert notes == ["dry skin, 2 cm"]
