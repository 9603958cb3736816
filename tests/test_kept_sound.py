"""The sound of calls is kept where the client agreed, played in review, and gone at sign-off."""

import os
import shutil
import stat
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from many_visits import people, visits
from prompt_toolkit.application import create_app_session
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.output import DummyOutput
from test_measure import ADA, NOON, QUIET, HelperAtKeys, opened, scene

from capture.begin import Opened, Wish
from capture.check import run as check
from capture.cli import main
from capture.company import Company, Sound, assemble, run_lines
from capture.errors import CaptureError, MisuseError
from capture.keeping import LEAST_FREE_BYTES, TOLD, Keeping
from capture.language.grammar import LISTENING
from capture.pack import Pack
from capture.review import answer
from capture.review_screen import run_screen
from capture.reviewing import Review
from capture.screen.keymap import USUAL
from capture.sound.errors import SpeakerError
from capture.sound.kept import AROUND_S, LONGEST_S, CallPlayer, CallSound, Trail, samples_of
from capture.sound.scripted import ScriptedSound
from capture.sound.wav import SoundError
from capture.store import Store, StoreError, open_store
from capture.store.sounds import sounds_of
from capture.wiring import open_ear

AGREED = replace(ADA, keep_sound=True)
EVENING = "2026-03-02T17:00:00+01:00"
RATE_HZ = 16_000
HUM = CallSound((np.sin(np.arange(RATE_HZ) / 9) * 9_000).astype("<i2").tobytes(), RATE_HZ)
# Turns of the demo: granted, yes; three tape lengths; "chest eight point four"; yes. Keys between.
TURNS = (2, 3, "enter", 4, "enter", 6, 7, 8, "c 1 9 enter", 9, 10, "8 . 6 enter")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """An empty store."""
    with open_store(tmp_path / "visits.db") as made:
        yield made


def spoken_visit(
    store: Store, pack: Pack, folder: Path, wish: Wish = AGREED
) -> tuple[Opened, Company, list[str]]:
    """A visit of recorded speech and keys, through the real recogniser; what it told."""
    begun = opened(store, wish)
    prepared = ["enter"] if begun.visit.plan.screening else []
    path, keys = scene(folder, [*prepared, *TURNS])
    source, told = HelperAtKeys(path, keys), list[str]()
    company = assemble(store, begun, pack, Sound(source, QUIET), USUAL, told.append)
    source.company = company
    run_lines(company, iter(()), patient=False)
    return begun, company, told


def begun_visit(store: Store, calls: int = 2) -> str:
    """A visit that agreed, with so many kept calls; its identifier."""
    visit_id = opened(store, AGREED).row.id
    store.sounds.begin(visit_id)
    for number in range(1, calls + 1):
        store.sounds.keep(visit_id, number, HUM.as_flac())
    return visit_id


def reviewed(store: Store, player: Callable[[bytes], float] | None = None) -> Review:
    """The only visit, opened by Una Berg."""
    review = Review(store, lambda: EVENING, by_name="Una Berg", player=player)
    review.open(1)
    return review


def test_a_spoken_call_can_be_heard_again_in_review(
    store: Store, pack: Pack, tmp_path: Path
) -> None:
    """What is played is the call: the recogniser hears the same words in it once more."""
    begun, company, told = spoken_visit(store, pack, tmp_path)
    spoken = {entry.sequence for entry in store.entries(begun.row.id) if entry.source == "voice"}
    assert store.sounds.kept(begun.row.id) == spoken
    assert len(spoken) >= 7
    assert any(TOLD in line for line in told)
    reading = company.session.visit.readings[0]
    system = ScriptedSound()
    player = CallPlayer(system)
    told_back = reviewed(store, player.play).play(reading.number)
    player.close()
    played = np.frombuffer(bytes(system.played), "<i2")
    kept, rate_hz = samples_of(store.sounds.of_entry(begun.row.id, reading.number) or b"")
    assert f"{len(kept) / rate_hz:.1f} s" in told_back
    assert len(played) == pytest.approx(3 * len(kept), abs=3)  # the desk's speaker has 48 kHz
    again = open_ear(pack, [LISTENING + "reading_wanted"]).listener(
        48_000, LISTENING + "reading_wanted"
    )
    blocks = [played[at : at + 9_600].tobytes() for at in range(0, len(played), 9_600)]
    found = [*(again.feed(block) for block in blocks), again.finish()]
    assert [heard.text for heard in found if heard is not None] == ["chest eight point four"]


def test_without_consent_nothing_is_kept(store: Store, pack: Pack, tmp_path: Path) -> None:
    """Off unless it was asked for: no folder, and the review says why there is no sound."""
    begun, company, told = spoken_visit(store, pack, tmp_path, ADA)
    assert not sounds_of(store.path).folder.exists()
    assert not any(TOLD in line for line in told)
    with pytest.raises(CaptureError, match="was not asked"):
        reviewed(store).play(company.session.visit.readings[0].number)
    assert "keep_sound" not in store.visit(begun.row.id).plan


def test_a_consent_is_of_one_visit_and_can_be_taken_back(store: Store) -> None:
    """It is in the visit's plan; --no-keep-sound removes all and ends it; it cannot begin late."""
    visit_id = begun_visit(store)
    assert store.visit(visit_id).plan["keep_sound"] is True
    assert any("the client agreed" in line for line in reviewed(store).lines())
    assert opened(store, replace(ADA, keep_sound=False)).resumed
    assert not store.sounds.wanted(visit_id)
    keeping = Keeping(store, opened(store, AGREED), lambda _: None)
    keeping.begin()
    keeping.keep(1, HUM)
    assert not sounds_of(store.path).folder.exists()
    begun = opened(store, Wish("Cy Dahl", "Bo Lind", sex="male", age_years=30))
    with pytest.raises(MisuseError, match="begun without the consent"):
        opened(store, Wish("Cy Dahl", "Bo Lind", keep_sound=True))
    assert "keep_sound" not in store.visit(begun.row.id).plan


@pytest.mark.skipif(os.name != "posix", reason="modes mean nothing on Windows")
def test_kept_sound_is_its_owners_and_names_nobody(store: Store) -> None:
    """Folders 0700, files 0600, under any umask; names are identifiers and numbers."""
    before = os.umask(0)
    try:
        visit_id = begun_visit(store)
    finally:
        os.umask(before)
    folder = sounds_of(store.path).folder
    found = sorted(folder.rglob("*"))
    assert [path.relative_to(folder).as_posix() for path in found] == [
        visit_id, f"{visit_id}/1.flac", f"{visit_id}/2.flac",
    ]  # fmt: skip
    assert {stat.S_IMODE(path.stat().st_mode) for path in (folder, found[0])} == {0o700}
    assert {stat.S_IMODE(path.stat().st_mode) for path in found[1:]} == {0o600}
    content = found[1].read_bytes()
    assert content.startswith(b"fLaC")
    assert b"Ada" not in content
    assert len(content) < len(HUM.sound)


def test_signing_off_by_name_removes_the_sound(store: Store) -> None:
    """Not before the yes; afterwards nothing is left, and nothing more is kept."""
    visit_id = begun_visit(store)
    review = reviewed(store)
    answer(review, "sign Una Berg")
    answer(review, "no")
    assert store.sounds.kept(visit_id) == {1, 2}
    answer(review, "sign Una Berg")
    assert "The kept sound of 2 calls was removed." in answer(review, "yes")[0]
    assert not sounds_of(store.path).folder.exists()
    with pytest.raises(OSError, match=r"."):
        store.sounds.keep(visit_id, 3, HUM.as_flac())


def test_a_reviewer_can_remove_the_sound_alone(store: Store) -> None:
    """The visit stays as it is."""
    visit_id = begun_visit(store)
    review = reviewed(store)
    assert answer(review, "no sound") == ["The sound of 2 calls was removed."]
    assert not store.sounds.wanted(visit_id)
    assert store.amendments(visit_id) == []


def test_erasing_a_person_removes_their_sound_and_no_others(store: Store) -> None:
    """Another client's kept calls stay."""
    mine = begun_visit(store)
    other = opened(store, Wish("Cy Dahl", "Bo Lind", sex="male", age_years=30, keep_sound=True))
    store.sounds.begin(other.row.id)
    store.sounds.keep(other.row.id, 1, HUM.as_flac())
    store.erase_client(store.visit(mine).client.id, at=EVENING)
    assert sorted(path.name for path in sounds_of(store.path).folder.iterdir()) == [other.row.id]


def test_a_sweep_removes_what_a_crash_left(store: Store) -> None:
    """Sound of unknown, signed and old visits goes; that of an open visit stays."""
    kept = begun_visit(store)
    signed = opened(store, replace(AGREED, new=True)).row.id
    unknown = "0" * 8 + "-0000-4000-8000-" + "0" * 12
    for visit_id in (signed, unknown):
        store.sounds.begin(visit_id)
        store.sounds.keep(visit_id, 1, HUM.as_flac())
    store.amend(signed, at=EVENING, by_name="Una Berg", reason="sign-off", kind="signed_off")
    folder = sounds_of(store.path).folder
    (folder / "notes of mine").mkdir()
    unfinished = folder / kept / "3.part"
    unfinished.write_bytes(b"fLaC")
    assert store.sweep_sounds(at=EVENING) == 2
    assert unfinished.exists()
    os.utime(unfinished, (1, 1))
    assert store.sweep_sounds(at=EVENING) == 0
    assert not unfinished.exists()
    assert store.sounds.kept(kept) == {1, 2}
    assert store.sweep_sounds(at="2026-03-16T11:00:00+01:00") == 0
    assert store.sweep_sounds(at="2026-03-16T13:00:00+01:00") == 1
    assert [path.name for path in folder.iterdir()] == ["notes of mine"]


def test_a_reading_never_depends_on_its_sound(
    store: Store, pack: Pack, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When sound cannot be written each call is saved all the same; one line says it, once."""

    def fails(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("capture.store.sounds.Sounds.keep", fails)
    begun, company, told = spoken_visit(store, pack, tmp_path)
    assert company.session.visit.readings[0].value_tenths_mm == 84
    assert len(store.entries(begun.row.id)) == company.session.visit.sequence
    assert sum("No more sound of this visit" in line for line in told) == 1


@pytest.mark.parametrize("fault", [StoreError("Gone.", "x"), RuntimeError("flac"), OSError("x")])
def test_a_fault_of_keeping_is_told_once(
    store: Store, monkeypatch: pytest.MonkeyPatch, fault: Exception
) -> None:
    """Nothing is raised into the session, whatever the fault."""
    told: list[str] = []
    keeping = Keeping(store, opened(store, AGREED), told.append)
    keeping.begin()

    def fails(_: CallSound) -> bytes:
        raise fault

    monkeypatch.setattr(CallSound, "as_flac", fails)
    keeping.keep(1, HUM)
    keeping.keep(2, HUM)
    assert [line[:23] for line in told] == [TOLD[:23], "No more sound of this v"]


def test_the_sound_is_written_after_the_entry(
    store: Store, pack: Pack, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No crash leaves the sound of an entry that the journal does not hold."""
    behind: list[int] = []

    def keep(_: object, visit_id: str, sequence: int, flac: bytes) -> None:
        assert flac
        behind.append(len(store.entries(visit_id)) - sequence)

    monkeypatch.setattr("capture.store.sounds.Sounds.keep", keep)
    spoken_visit(store, pack, tmp_path)
    assert len(behind) >= 7
    assert set(behind) == {0}


def test_a_nearly_full_disk_keeps_readings_only(store: Store) -> None:
    """With less room than a session needs no sound is written."""
    told: list[str] = []
    begun = opened(store, AGREED)
    keeping = Keeping(store, begun, told.append, lambda _: LEAST_FREE_BYTES - 1)
    keeping.begin()
    keeping.keep(1, HUM)
    keeping.keep(2, HUM)
    assert store.sounds.kept(begun.row.id) == frozenset()
    assert [line for line in told if "nearly full" in line] == told[1:]
    assert len(told) == 2


def test_the_check_counts_kept_sound(store: Store, tmp_path: Path) -> None:
    """The line of the disk says how much of it is sound."""
    begun_visit(store)
    told: list[str] = []
    check(told.append, system=ScriptedSound(installed=False), settings=QUIET, store=store.path)
    (disk,) = [line for line in told if "disk" in line]
    assert "kept sound of 1 visit" in disk
    assert sounds_of(tmp_path / "none.db").amount().calls == 0


@pytest.mark.parametrize(
    ("system", "said"),
    [
        (ScriptedSound(installed=False), "no PortAudio library"),
        (ScriptedSound(plugged=[]), "no speaker"),
        (ScriptedSound(write_error=SpeakerError("The speaker is gone.", "x")), "speaker is gone"),
    ],
    ids=["no library", "no speaker", "fails"],
)
def test_no_speaker_is_said_at_once(store: Store, system: ScriptedSound, said: str) -> None:
    """One clear line; the review goes on, and the next call is tried anew."""
    begun_visit(store)
    player = CallPlayer(system)
    for _ in range(2):
        with pytest.raises(CaptureError, match=said) as caught:
            player.play(HUM.as_flac())
        assert caught.value.hint
    player.close()


@pytest.mark.parametrize("damage", ["empty", "cut short", "zeros", "no sound"])
def test_damaged_sound_is_said(damage: str) -> None:
    """A file that a power failure cut short is told as that, not as an end of the program."""
    whole = HUM.as_flac()
    given = {
        "empty": b"",
        "cut short": whole[:40],
        "zeros": bytes(4_000),
        "no sound": CallSound(b"", RATE_HZ).as_flac(),
    }[damage]
    with pytest.raises(SoundError, match="damaged"):
        samples_of(given)


def test_a_microphone_of_a_high_rate_needs_no_more_room() -> None:
    """At 48 kHz the file holds what it holds at 16, and lasts as long."""
    wide = (np.sin(np.arange(3 * RATE_HZ) / 27) * 9_000).astype("<i2").tobytes()
    flac = CallSound(wide, 3 * RATE_HZ).as_flac()
    samples, rate_hz = samples_of(flac)
    assert (rate_hz, len(samples)) == (RATE_HZ, RATE_HZ)
    narrow, _ = samples_of(HUM.as_flac())
    assert float(np.abs(samples - narrow)[200:-200].max()) < 0.01


def test_a_long_call_does_not_stop_the_next(store: Store) -> None:
    """A second press cuts the first off: the screen is not held up."""
    wait = threading.Event()
    system = ScriptedSound(on_write=lambda: wait.wait(0.05) and None)
    player = CallPlayer(system)
    length_s = player.play(HUM.as_flac())
    assert length_s == pytest.approx(1.0)
    assert player.play(HUM.as_flac()) == length_s
    wait.set()
    player.close()
    assert system.cuts <= 1
    assert store.sounds.amount().calls == 0


def test_a_trail_cuts_a_call_out_of_what_was_fed() -> None:
    """With a margin on both sides, no farther back than it was cleared, and bounded."""
    trail = Trail()
    assert trail.cut(1.0, 0.5) is None
    block = np.arange(1_600, dtype="<i2").tobytes()
    for _ in range(30):
        trail.add(block, RATE_HZ)
    cut = trail.cut(2.0, 1.0)
    assert cut is not None
    assert len(cut.sound) / 2 / RATE_HZ == pytest.approx(1.0 + 2 * AROUND_S)
    everything = trail.cut(60.0, 60.0)
    assert everything is not None
    assert len(everything.sound) / 2 / RATE_HZ == pytest.approx(3.0)
    for _ in range(300):
        trail.add(block, RATE_HZ)
    long = trail.cut(60.0, 60.0)
    assert long is not None
    assert len(long.sound) / 2 / RATE_HZ <= LONGEST_S + 2 * AROUND_S + 0.1
    trail.clear()
    trail.add(block, RATE_HZ)
    rest = trail.cut(1.0, 1.0)
    assert rest is not None
    assert rest.sound == block


def test_exports_and_backups_hold_no_sound(store: Store, tmp_path: Path) -> None:
    """A backup is the store alone; the file is not larger for the sound beside it."""
    begun_visit(store, calls=20)
    held = tmp_path / "backup.db"
    store.backup(held)
    assert b"fLaC" not in held.read_bytes()
    assert b"fLaC" not in store.path.read_bytes()
    assert not sounds_of(held).folder.exists()


def test_sound_is_exported_only_when_asked(store: Store, tmp_path: Path) -> None:
    """The person may have it: by visit and journal entry, and only with --sound."""
    visit_id = begun_visit(store)
    other = store.add_client("A. Moss", "female", at=NOON)
    store.link_clients(other.id, store.find_client("Ada Moss").id, at=NOON)
    begin = ["clients", "export", "--store", str(store.path), "Ada Moss"]
    assert main([*begin, str(tmp_path / "mine.json")]) == 0
    folder = tmp_path / "sound"
    assert not folder.exists()
    assert main([*begin, str(tmp_path / "more.json"), "--sound", str(folder)]) == 0
    found = sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*.flac"))
    assert found == [f"{visit_id}/1.flac", f"{visit_id}/2.flac"]
    assert (folder / found[0]).read_bytes() == HUM.as_flac()
    if os.name == "posix":
        assert stat.S_IMODE((folder / found[0]).stat().st_mode) == 0o600
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert main([*begin, str(tmp_path / "third.json"), "--sound", str(folder)]) == 1


def test_a_spoken_note_can_be_played(store: Store) -> None:
    """Any entry whose sound is kept can be, also one that is no reading."""
    begun_visit(store, calls=1)
    played: list[bytes] = []
    review = reviewed(store, lambda flac: float(bool(played.append(flac))) + 1.0)
    assert review.play(1) == "Entry 1: 1.0 s of sound."
    assert played == [HUM.as_flac()]
    with pytest.raises(CaptureError, match="no reading 2"):
        review.play(2)


def test_a_spoken_note_is_played_from_the_screen(store: Store) -> None:
    """The note has a line of its own below the readings; the cursor goes there."""
    (plain,) = visits(1)
    last = plain["journal"][-1]
    number = last["sequence"] + 1
    fact = {"kind": "remark", "text": "", "site": "thigh", "circuit": 2}
    plain["journal"].append({**last, "sequence": number, "facts": [fact], "readings": []})
    store.join(people(1), [plain], named="the test", refuse_conflicts=True)
    store.sounds.begin(plain["id"])
    store.sounds.keep(plain["id"], number, HUM.as_flac())
    played: list[bytes] = []
    review = reviewed(store, lambda flac: float(len(played) + bool(played.append(flac))))
    text = "\n".join(review.lines())
    assert f"{number:>5} NOTE" in text
    assert "thigh 2: spoken; its sound only, if it was kept; its sound is kept" in text
    with create_pipe_input() as pipe:
        pipe.send_text("\x1b[Bp" * 40 + "q")
        with create_app_session(input=pipe, output=DummyOutput()):
            run_screen(review, pipe, DummyOutput())
    assert played == [HUM.as_flac()]


def test_a_copied_store_has_no_sound(store: Store, tmp_path: Path) -> None:
    """The review of a copy says that none is kept."""
    begun_visit(store)
    store.close()
    with open_store(shutil.copy(store.path, tmp_path / "copy.db")) as copy:
        review = Review(copy, lambda: NOON)
        assert len(review.rows) == 1
        assert copy.sounds.amount().calls == 0
