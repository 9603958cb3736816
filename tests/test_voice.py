"""The voice: what is played, when the gate is closed, and that no failure is silent or hangs."""

import os
import stat
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from capture.errors import CaptureError
from capture.pack import Pack
from capture.protocol.plausibility import Doubt, DoubtKind
from capture.sound.clips import ClipBank, open_bank
from capture.sound.cues import Cue, cue_of, tone
from capture.sound.devices import Kind
from capture.sound.duplex import HalfDuplex
from capture.sound.errors import SpeakerError
from capture.sound.opening import open_voice
from capture.sound.player import Player
from capture.sound.samples import Samples, paced, resampled, to_bytes
from capture.sound.scripted import ScriptedSound
from capture.sound.settings import SoundSettings
from capture.sound.system_speech import SystemSpeech, find_system_speech
from capture.sound.voice import (
    FASTEST,
    SLOWEST,
    BankVoice,
    BeepVoice,
    SilentVoice,
    SystemVoice,
    Voice,
    VoiceKind,
)
from capture.visit.announcement import AllMeasured, AskTape, ReadBack, Refused, Saved, Why

RATE_HZ = 48_000
TEXT = "chest, fifteen: one five. Right?"
WAIT_S = 20.0


class Room:
    """A speaker in a test: what was played, what was reported, and the gate."""

    def __init__(self) -> None:
        self.system = ScriptedSound()
        self.duplex = HalfDuplex()
        self.reported: list[CaptureError] = []
        self.player = Player(self.system, self.duplex, self.reported.append)

    def finished(self) -> bytes:
        """What had been played when all was over."""
        assert self.player.wait(WAIT_S), "the voice did not end"
        return bytes(self.system.played)


@pytest.fixture
def room() -> Iterator[Room]:
    """A room with a scripted speaker."""
    made = Room()
    yield made
    made.player.close()


@pytest.fixture(scope="module")
def bank(pack: Pack) -> ClipBank:
    """The bank of the English pack."""
    return open_bank(pack.folder / "prompts")


def test_a_text_is_played_whole_at_the_speakers_rate(room: Room, bank: ClipBank) -> None:
    """What reaches the speaker is the bank's text, as long as `say` has told."""
    seconds = BankVoice(room.player, bank, room.reported.append).say(TEXT)
    expected = to_bytes(resampled(bank.say(TEXT), bank.rate_hz, RATE_HZ))
    assert room.finished() == expected
    assert len(expected) / 2 / RATE_HZ == pytest.approx(seconds, abs=0.001)
    assert room.reported == []


def test_the_volume_is_applied(room: Room, bank: ClipBank) -> None:
    """Half the volume is half the height of every sample."""
    room.player.volume = 0.5
    BankVoice(room.player, bank, room.reported.append).say(TEXT)
    played = np.frombuffer(room.finished(), "<i2")
    full = resampled(bank.say(TEXT), bank.rate_hz, RATE_HZ)
    assert np.abs(played - np.rint(full * 16_384)).max() <= 1


@pytest.mark.parametrize("pace", [SLOWEST, 1.1, FASTEST])
def test_the_pace_changes_the_length_that_is_told(room: Room, bank: ClipBank, pace: float) -> None:
    """A faster voice takes less time, and says how much; the pauses between digits stay."""
    usual = BankVoice(room.player, bank, room.reported.append).say(TEXT)
    room.finished()
    room.system.played.clear()
    told = BankVoice(room.player, bank, room.reported.append, pace).say(TEXT)
    pauses = sum(step.pause_s for step in bank.index.steps(TEXT)[:-1])
    assert told - pauses == pytest.approx((usual - pauses) / pace, rel=0.001)
    assert len(room.finished()) / 2 / RATE_HZ == pytest.approx(told, abs=0.001)


def test_the_gate_is_closed_from_the_call_to_the_end(room: Room, bank: ClipBank) -> None:
    """It closes before `say` returns, not when the sound begins, and opens after the tail."""
    going_on = threading.Event()
    room.system.on_write = lambda: going_on.wait(WAIT_S) or None
    voice = BankVoice(room.player, bank, room.reported.append)
    voice.say(TEXT)
    assert not room.duplex.open
    assert voice.speaking
    going_on.set()
    room.finished()
    assert not voice.speaking
    assert 0 < room.duplex.opens_in_s <= room.duplex.tail_s


def test_a_key_cuts_the_voice_off(room: Room, bank: ClipBank) -> None:
    """After `stop` no further sound is handed to the speaker, and the gate opens soon."""
    first, going_on = threading.Event(), threading.Event()

    def wait() -> None:
        first.set()
        going_on.wait(WAIT_S)

    room.system.on_write = wait
    voice = BankVoice(room.player, bank, room.reported.append)
    voice.say(TEXT)
    assert first.wait(WAIT_S)
    voice.stop()
    assert not voice.speaking
    going_on.set()
    assert len(room.finished()) / 2 / RATE_HZ < 0.1
    assert room.system.cuts == 1
    assert room.duplex.opens_in_s <= room.duplex.tail_s
    assert room.reported == []


def test_a_new_text_takes_the_place_of_the_old(room: Room, bank: ClipBank) -> None:
    """Two texts are never heard at once or one after the other: the newer one counts."""
    first, going_on = threading.Event(), threading.Event()

    def wait() -> None:
        first.set()
        going_on.wait(WAIT_S)

    room.system.on_write = wait
    voice = BankVoice(room.player, bank, room.reported.append)
    voice.say("chest, fifty: five zero. Right?")
    assert first.wait(WAIT_S)
    room.system.on_write = lambda: None
    voice.say(TEXT)
    going_on.set()
    expected = to_bytes(resampled(bank.say(TEXT), bank.rate_hz, RATE_HZ))
    assert room.finished().endswith(expected)
    assert len(room.system.played) < len(expected) + 0.1 * RATE_HZ


def test_a_text_that_lacks_a_word_is_reported_and_not_said_in_part(
    room: Room, bank: ClipBank
) -> None:
    """Half a read-back would be a wrong one: a tone sounds, and the person is told."""
    voice = BankVoice(room.player, bank, room.reported.append)
    voice.say("chest, fifteen elbowish. Right?", Cue.CONFIRM)
    assert room.finished() == to_bytes(tone(Cue.CONFIRM, RATE_HZ))
    assert "elbowish" in str(room.reported[0])


@pytest.mark.parametrize(
    "break_it",
    [
        lambda system: setattr(system, "write_error", SpeakerError("The speaker stopped.")),
        lambda system: setattr(system, "write_error", RuntimeError("driver")),
        lambda system: system.open_errors.update({Kind.SPEAKER: SpeakerError("It is busy.")}),
        lambda system: system.plugged.clear(),
        lambda system: setattr(system, "installed", False),
    ],
    ids=["stops", "driver error", "busy", "none", "no library"],
)
def test_a_speaker_that_fails_is_told_each_time_and_opens_the_gate(
    room: Room, bank: ClipBank, break_it: object
) -> None:
    """A read-back that nobody heard is known as such; the next one is tried again."""
    break_it(room.system)  # type: ignore[operator]
    voice = BankVoice(room.player, bank, room.reported.append)
    for count in (1, 2):
        voice.say(TEXT)
        room.finished()
        assert len(room.reported) == count
        assert room.duplex.opens_in_s <= room.duplex.tail_s
    assert not voice.speaking


def test_after_a_failure_the_speaker_is_opened_again(room: Room, bank: ClipBank) -> None:
    """A speaker that was plugged in again speaks, without a restart."""
    room.system.write_error = SpeakerError("The speaker stopped.")
    voice = BankVoice(room.player, bank, room.reported.append)
    voice.say(TEXT)
    room.finished()
    room.system.write_error = None
    voice.say(TEXT)
    assert len(room.finished()) > RATE_HZ
    assert len(room.system.outputs) == 2
    assert room.system.outputs[0].closed


def test_a_speaker_that_hangs_does_not_hang_the_program(bank: ClipBank) -> None:
    """A device that takes sound and never returns is left alone, and another stream speaks."""
    room = Room()
    clock = [0.0]
    room.duplex = HalfDuplex(lambda: clock[0])
    room.player = Player(room.system, room.duplex, room.reported.append, now=lambda: clock[0])
    hangs, free = threading.Event(), threading.Event()

    def hang() -> None:
        hangs.set()
        free.wait(WAIT_S)

    room.system.on_write = hang
    voice = BankVoice(room.player, bank, room.reported.append)
    seconds = voice.say(TEXT)
    assert hangs.wait(WAIT_S)
    clock[0] += seconds + 3.0
    assert room.duplex.open, "the gate opens by its time limit"
    assert not voice.speaking
    room.system.on_write = lambda: None
    voice.say(TEXT)
    room.finished()
    assert "does not answer" in str(room.reported[0])
    assert len(room.system.outputs) == 2
    free.set()
    voice.close()


def test_only_the_dwell_tone_leaves_the_gate_open(room: Room, bank: ClipBank) -> None:
    """The call that follows the dwell tone is heard whole; every other tone is kept out."""
    voice = BankVoice(room.player, bank, room.reported.append)
    assert voice.sound(Cue.DWELL) > 0
    assert room.duplex.open
    for cue in set(Cue) - {Cue.DWELL}:
        room.finished()
        voice.sound(cue)
        assert not room.duplex.open, cue


def test_a_tone_gives_way_to_speech(room: Room, bank: ClipBank) -> None:
    """A tone never cuts a read-back off, and none comes late."""
    voice = BankVoice(room.player, bank, room.reported.append)
    going_on = threading.Event()
    room.system.on_write = lambda: going_on.wait(WAIT_S) or None
    voice.say(TEXT)
    assert voice.sound(Cue.DWELL) == 0.0
    going_on.set()
    assert room.finished() == to_bytes(resampled(bank.say(TEXT), bank.rate_hz, RATE_HZ))


def test_a_tone_may_follow_the_text(room: Room, bank: ClipBank) -> None:
    """The tone that says "I listen" belongs to the read-back: the gate opens once, after both."""
    voice = BankVoice(room.player, bank, room.reported.append)
    seconds = voice.say(TEXT, Cue.CONFIRM, then=Cue.LISTENING)
    played = room.finished()
    assert played.endswith(to_bytes(tone(Cue.LISTENING, RATE_HZ)))
    assert len(played) / 2 / RATE_HZ == pytest.approx(seconds, abs=0.001)


def test_tones_are_soft_and_differ() -> None:
    """No tone is louder than speech, clicks, or is like another."""
    made = {cue: tone(cue, 24_000) for cue in Cue}
    for samples in made.values():
        assert 0.05 < np.abs(samples).max() <= 0.13
        assert np.abs(samples[[0, -1]]).max() < 0.001
        assert len(samples) < 0.6 * 24_000
    assert len({samples.tobytes() for samples in made.values()}) == len(Cue)


@pytest.mark.parametrize(
    ("announcement", "cue"),
    [
        (ReadBack("chest", 1, 150, ()), Cue.CONFIRM),
        (ReadBack("chest", 1, 150, (Doubt(DoubtKind.UNSURE),)), Cue.DOUBT),
        (Saved("chest", 150), Cue.SAVED),
        (Refused(Why.NOT_NOW), Cue.ERROR),
        (AskTape("chest"), Cue.NEXT),
        (AllMeasured(), Cue.TELL),
    ],
)
def test_each_kind_of_announcement_has_its_tone(announcement: object, cue: Cue) -> None:
    """Without speech, what is saved, what waits and what is doubtful sound different."""
    assert cue_of(announcement) is cue  # type: ignore[arg-type]


def test_beeps_stand_for_texts(room: Room) -> None:
    """The beeping voice plays the tone of the announcement and no words."""
    BeepVoice(room.player).say(TEXT, Cue.DOUBT)
    assert room.finished() == to_bytes(tone(Cue.DOUBT, RATE_HZ))


def test_the_silent_voice_takes_no_time() -> None:
    """In silence nothing is waited for and nothing is left out of the listening."""
    voice: Voice = SilentVoice()
    assert (voice.say(TEXT), voice.sound(Cue.DWELL), voice.speaking) == (0.0, 0.0, False)


def sine(hz: float, seconds: float, rate_hz: int) -> Samples:
    """A pure tone at half of full scale."""
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    return (0.5 * np.sin(2 * np.pi * hz * time_s)).astype(np.float32)


def loudest_hz(samples: Samples, rate_hz: int) -> float:
    """The frequency with the most energy."""
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples))))
    return float(np.argmax(spectrum)) * rate_hz / len(samples)


@pytest.mark.parametrize("rate_hz", [8_000, 16_000, 44_100, 48_000, 96_000])
def test_another_rate_is_the_same_sound(rate_hz: int) -> None:
    """A tone keeps its length, pitch and height at every rate of a speaker."""
    made = resampled(sine(440, 1.0, 24_000), 24_000, rate_hz)
    assert len(made) == rate_hz
    middle = slice(rate_hz // 10, -rate_hz // 10)
    expected = sine(440, 1.0, rate_hz)
    assert np.abs(made[middle] - expected[middle]).max() < 0.01


@pytest.mark.parametrize("pace", [0.7, 1.2, 1.5])
def test_another_pace_keeps_the_pitch(pace: float) -> None:
    """Speaking faster does not make the voice higher."""
    made = paced(sine(220, 2.0, 24_000), 24_000, pace)
    assert len(made) == round(48_000 / pace)
    assert loudest_hz(made[2_000:-4_000], 24_000) == pytest.approx(220, abs=3)
    assert np.abs(made[2_000:-4_000]).max() == pytest.approx(0.5, abs=0.08)


def program(folder: Path, body: str) -> SystemSpeech:
    """A speech program of the test's own, with a limit of one second."""
    file = folder / "speak.py"
    file.write_text(f"import sys, time\nfile, text = sys.argv[1], sys.stdin.read()\n{body}\n")
    return SystemSpeech("test", lambda wav, _: [sys.executable, str(file), str(wav)], limit_s=1.0)


SPEAKS = """
import wave
with wave.open(file, "wb") as out:
    out.setnchannels(1); out.setsampwidth(2); out.setframerate(22050)
    out.writeframes(bytes([0, 16]) * 2205 * len(text.split()))
"""


def test_the_systems_voice_is_played_like_any_other(room: Room, tmp_path: Path) -> None:
    """The child makes the sound, and the gate is closed for as long as it really is."""
    SystemVoice(room.player, program(tmp_path, SPEAKS)).say("one two; rm -rf $HOME `x`")
    assert len(room.finished()) / 2 / RATE_HZ == pytest.approx(0.6, abs=0.001)
    assert room.reported == []


@pytest.mark.parametrize(
    ("body", "told"),
    [
        ("sys.exit(3)", "code 3"),
        ("pass", "no sound file"),
        ("open(file, 'w').write('no sound')", "no sound file"),
        (SPEAKS.replace("bytes([0, 16])", "bytes(2)"), "only silence"),
        ("time.sleep(60)", "within 1 s"),
    ],
    ids=["fails", "nothing", "no sound", "silence", "hangs"],
)
def test_a_system_voice_that_fails_is_told(
    room: Room, tmp_path: Path, body: str, told: str
) -> None:
    """A success without sound is a failure, and a child that hangs is ended."""
    SystemVoice(room.player, program(tmp_path, body)).say("one")
    assert room.finished() == b""
    assert told in str(room.reported[0])


@pytest.mark.skipif(os.name != "posix", reason="makes a program with a file mode")
@pytest.mark.parametrize(
    ("platform", "name", "calls"),
    [("darwin", "say", "-f -"), ("linux", "espeak-ng", "--stdin"), ("linux", "espeak", "--stdin")],
)
def test_the_program_of_each_system_is_found(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, platform: str, name: str, calls: str
) -> None:
    """The text always goes in by the child's input, never by its command line."""
    file = tmp_path / name
    file.write_text("#!/bin/sh\n")
    file.chmod(file.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setenv("PATH", str(tmp_path))
    speech = find_system_speech(platform)
    assert speech.name == name
    assert " ".join(speech.arguments(Path("x.wav"), 165)).endswith(calls)


def test_a_machine_without_a_speech_program_says_so(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The line names a program that can be installed."""
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(SpeakerError, match="no speech program") as caught:
        find_system_speech("linux")
    assert "espeak-ng" in caught.value.hint


def test_say_does_not_wait_for_the_speaker(room: Room, bank: ClipBank) -> None:
    """The thread that steps the visit goes on while a slow device is still being opened."""
    going_on = threading.Event()
    opening = room.system.open_output

    def slow(*asked: object) -> object:
        going_on.wait(WAIT_S)
        return opening(*asked)  # type: ignore[arg-type]

    room.system.open_output = slow  # type: ignore[method-assign, assignment]
    voice = BankVoice(room.player, bank, room.reported.append)
    voice.say(TEXT)
    assert voice.speaking
    assert room.system.played == b""
    going_on.set()
    assert room.finished()


@pytest.mark.parametrize(
    ("kind", "made"),
    [
        (VoiceKind.BANK, BankVoice),
        (VoiceKind.BEEP, BeepVoice),
        (VoiceKind.SILENT, SilentVoice),
    ],
)
def test_the_settings_choose_the_voice(room: Room, pack: Pack, kind: VoiceKind, made: type) -> None:
    """The voice of the settings is ready without a device being opened."""
    voice = open_voice(
        SoundSettings(voice=kind),
        room.system,
        room.duplex,
        room.reported.append,
        pack.folder / "prompts",
    )
    assert type(voice) is made
    assert room.system.outputs == []
    assert room.reported == []


@pytest.mark.parametrize("kind", [VoiceKind.BANK, VoiceKind.SYSTEM])
def test_tones_take_the_place_of_a_voice_that_is_missing(
    room: Room, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, kind: VoiceKind
) -> None:
    """A missing bank or speech program is told, and the session has tones."""
    monkeypatch.setenv("PATH", str(tmp_path))
    settings = SoundSettings(voice=kind)
    voice = open_voice(settings, room.system, room.duplex, room.reported.append, tmp_path)
    assert type(voice) is BeepVoice
    assert len(room.reported) == 1
