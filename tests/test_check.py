"""`foldcall check`: one line for each thing, and a plain answer whether the voice can be used."""

import argparse
import struct
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from capture.check import add_command, run
from capture.pack import Pack, open_pack
from capture.settings_file import read_settings
from capture.sound.devices import ByName, Device, InputStream, Kind, OnBlock
from capture.sound.errors import SpeakerError
from capture.sound.scripted import BOX, DESK, ScriptedInput, ScriptedSound
from capture.sound.settings import SoundSettings, read_sound_settings
from capture.sound.voice import VoiceKind

ROOM = struct.pack("<2400h", *([300, -300] * 1200))
ZEROS = bytes(4800)


class LivingSound(ScriptedSound):
    """A scripted system whose microphone gives the same block again and again."""

    def __init__(self, block: bytes = ROOM, **told: object) -> None:
        super().__init__(**told)  # type: ignore[arg-type]
        self.block = block
        self.over = threading.Event()

    def open_input(
        self, device: Device, rate_hz: int, block_frames: int, on_block: OnBlock
    ) -> InputStream:
        """Open the microphone and let it live, much faster than time."""
        stream = super().open_input(device, rate_hz, block_frames, on_block)
        assert isinstance(stream, ScriptedInput)

        def live() -> None:
            while stream.active and not self.over.wait(0.001):
                stream.push(self.block)

        threading.Thread(target=live, daemon=True).start()
        return stream


@pytest.fixture
def sound() -> Iterator[LivingSound]:
    """A machine on which everything is there."""
    made = LivingSound()
    yield made
    made.over.set()


SETTINGS = SoundSettings()


def checked(
    system: ScriptedSound, tmp_path: Path, settings: SoundSettings | None = SETTINGS, **told: object
) -> tuple[bool, dict[str, str], str]:
    """Run the check: its answer, its lines by what they are about, and the last one."""
    lines: list[str] = []
    told.setdefault("store", tmp_path / "store.db")
    ready = run(lines.append, system=system, settings=settings, **told)  # type: ignore[arg-type]
    found: dict[str, str] = {}
    for line in lines:
        if line[:6].strip() in {"ok", "note", "FAILED"}:
            what = line.split()[1]
            found[what] = f"{found[what]}\n{line}" if what in found else line
    return ready, found, next(line for line in reversed(lines) if "remembered" not in line)


def test_where_everything_is_there_a_session_can_be_held(
    sound: LivingSound, tmp_path: Path
) -> None:
    """Each thing has a line, and the last line says that the voice can be used."""
    ready, lines, last = checked(sound, tmp_path)
    assert ready, lines
    assert list(lines) == [
        "microphone", "speaker", "echo", "language", "lexicon", "recogniser", "doubt", "voice",
        "store", "disk", "versions",
    ]  # fmt: skip
    assert not any(line.startswith("FAILED") for line in lines.values())
    assert "-41 dBFS" in lines["microphone"]
    assert "Desk speaker" in lines["speaker"]
    assert last == "A session with voice can be held."


@pytest.mark.parametrize(
    ("system", "failed", "told"),
    [
        (ScriptedSound(installed=False), "microphone", "libportaudio2"),
        (ScriptedSound(plugged=[BOX]), "microphone", "no microphone"),
        (LivingSound(ZEROS), "microphone", "permission"),
        (LivingSound(plugged=[DESK]), "speaker", "no speaker"),
        (
            LivingSound(open_errors={Kind.SPEAKER: SpeakerError("It is busy.", "Wait.")}),
            "speaker",
            "It is busy. Wait.",
        ),
    ],
    ids=["no library", "no microphone", "silent", "no speaker", "busy speaker"],
)
def test_without_sound_only_the_keypad_works(
    system: ScriptedSound, failed: str, told: str, tmp_path: Path
) -> None:
    """What is missing has a hint, everything else is still looked at, and the end is plain."""
    ready, lines, last = checked(system, tmp_path)
    assert not ready
    assert lines[failed].startswith("FAILED")
    assert told in lines[failed]
    assert lines["store"].startswith("ok")
    assert last.startswith("Only the keypad works")
    assert failed in last


def test_in_silence_no_speaker_is_needed(tmp_path: Path) -> None:
    """Who has set the voice to silent can hold a session without a speaker."""
    system = LivingSound(plugged=[DESK])
    ready, lines, _ = checked(system, tmp_path, SoundSettings(voice=VoiceKind.SILENT))
    assert ready
    assert "silent" in lines["speaker"]


@pytest.fixture
def poor_pack(pack: Pack, tmp_path: Path) -> Pack:
    """A language pack without model and prompts, and with two words that cannot be spoken."""
    folder = tmp_path / "en"
    folder.mkdir()
    for file in pack.folder.glob("*.gram"):
        (folder / file.name).write_bytes(file.read_bytes())
    lines = pack.pronunciations().splitlines(keepends=True)
    kept = [line for line in lines if line.split()[:1] not in (["thirteen"], ["thigh"])]
    (folder / "pronunciations.dict").write_text("".join(kept), encoding="utf-8")
    return open_pack(folder)


def test_words_that_cannot_be_heard_are_named(
    sound: LivingSound, poor_pack: Pack, tmp_path: Path
) -> None:
    """A word without a pronunciation would never be heard: each is named, and no voice promised."""
    ready, lines, _ = checked(sound, tmp_path, pack=poor_pack.folder)
    assert not ready
    assert (
        "sites.gram:17:17: pronunciations.dict has no pronunciation of 'thigh'."
        in (lines["lexicon"])
    )
    assert "of 'thirteen'" in lines["lexicon"]
    assert lines["recogniser"].startswith("FAILED")
    assert lines["voice"].startswith("FAILED")


def test_a_missing_model_is_told(sound: LivingSound, tmp_path: Path) -> None:
    """A model folder that is not there fails the recogniser alone."""
    ready, lines, last = checked(sound, tmp_path, model=tmp_path / "nowhere")
    assert not ready
    assert "nowhere" in lines["recogniser"]
    assert "recogniser" in last


def test_a_store_that_cannot_be_written_stops_everything(
    sound: LivingSound, tmp_path: Path
) -> None:
    """Without a store not even the keypad helps, and the last line says so."""
    ready, lines, last = checked(sound, tmp_path, store=tmp_path)
    assert not ready
    assert lines["store"].startswith("FAILED")
    assert last.startswith("No session")


@pytest.mark.parametrize(
    ("block", "hint"),
    [
        (struct.pack("<2400h", *([1, 0] * 1200)), "Very quiet"),
        (struct.pack("<2400h", *([32767, -32768] * 1200)), "Too loud"),
    ],
)
def test_a_level_that_is_wrong_is_a_note(block: bytes, hint: str, tmp_path: Path) -> None:
    """A microphone turned down or overdriven gets a hint; a session can still be tried."""
    ready, lines, _ = checked(LivingSound(block), tmp_path)
    assert ready
    assert lines["microphone"].startswith("note")
    assert hint in lines["microphone"]


def test_chosen_devices_are_remembered(tmp_path: Path) -> None:
    """With --remember the next start takes the same devices, by their names."""
    lapel = replace(DESK, number=5, name="Lapel", default_input=False)
    system = LivingSound(plugged=[DESK, BOX, lapel])
    path = tmp_path / "settings.toml"
    checked(system, tmp_path, microphone="lap", remember=path)
    settings = read_sound_settings(read_settings(path))
    assert settings.microphone == ByName("Lapel", "Scripted")
    assert settings.speaker == ByName("Desk speaker", "Scripted")


def test_the_command_ends_with_one_where_only_the_keypad_works(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A script can tell by the exit code whether a session with voice can be held."""
    monkeypatch.setenv("FOLDCALL_SETTINGS", str(tmp_path / "settings.toml"))
    parser = argparse.ArgumentParser()
    add_command(parser.add_subparsers())
    for system, code in ((ScriptedSound(plugged=[]), 1), (LivingSound(), 0)):
        monkeypatch.setattr("capture.check.PortAudio", lambda system=system: system)
        chosen = parser.parse_args(["check", "--store", str(tmp_path / "store.db")])
        assert chosen.command(chosen) == code
    assert "Only the keypad works" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[sound]\nvolume = 9\n", "'volume'"),
        ("[soud]\nvolume = 1\n", "Did you mean [sound]?"),
        ("[measure]\ntalk_s = 0\n", "'talk_s'"),
        ('[keys]\nconfrim = "f13"\n', "'confrim'"),
    ],
)
def test_a_broken_settings_file_does_not_stop_the_check(
    text: str, told: str, monkeypatch: pytest.MonkeyPatch, sound: LivingSound, tmp_path: Path
) -> None:
    """It is told with the rest, whichever table it is in, and the rest is looked at."""
    (tmp_path / "settings.toml").write_text(text)
    monkeypatch.setenv("FOLDCALL_SETTINGS", str(tmp_path / "settings.toml"))
    ready, lines, last = checked(sound, tmp_path, None)
    assert not ready
    assert told in lines["settings"]
    assert lines["microphone"].startswith("ok")
    assert "settings" in last
