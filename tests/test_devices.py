"""Choosing a device, and what is told when the sound library cannot give one."""

import sys
from types import SimpleNamespace

import pytest

from capture.errors import CaptureError
from capture.sound.__main__ import report
from capture.sound.devices import ByName, Device, Kind, Wanted, choose
from capture.sound.errors import MicrophoneError, NoSoundLibraryError, SpeakerError
from capture.sound.portaudio import PortAudio
from capture.sound.scripted import ScriptedSound

DEVICES = (
    Device(0, "Built-in", "ALSA", 48_000, 2, 2, default_output=True),
    Device(1, "USB Headset", "ALSA", 48_000, 1, 2),
    Device(2, "USB Headset", "JACK", 44_100, 1, 2, default_input=True),
    Device(3, "USB Headset Pro", "ALSA", 16_000, 1, 0),
    Device(4, "HDMI", "ALSA", 48_000, 0, 8),
)


@pytest.mark.parametrize(
    ("wanted", "number"),
    [
        (None, 2),
        (0, 0),
        ("3", 3),
        ("built", 0),
        ("USB HEADSET", 2),
        ("headset pro", 3),
        (ByName("USB Headset", "ALSA"), 1),
        (ByName("USB Headset", "gone"), 2),
    ],
    ids=["default", "number", "number as text", "part", "exact", "unique part", "host", "name"],
)
def test_a_microphone_is_found_by_number_name_or_memory(wanted: Wanted, number: int) -> None:
    """The whole name wins over a part, and the host that was remembered over another."""
    assert choose(DEVICES, wanted, Kind.MICROPHONE).number == number


@pytest.mark.parametrize(
    ("wanted", "told"),
    [
        (9, "number 9"),
        (4, "number 4"),
        ("HDMI", "named 'HDMI'"),
        ("usb", "Several"),
        ("", "named ''"),
        (ByName("USB"), "named 'USB'"),
    ],
    ids=["no such number", "only a speaker", "name of a speaker", "two", "empty", "part"],
)
def test_a_microphone_that_is_not_clear_is_asked_for(wanted: Wanted, told: str) -> None:
    """No device is guessed, and the hint lists what there is."""
    with pytest.raises(MicrophoneError, match=told) as caught:
        choose(DEVICES, wanted, Kind.MICROPHONE)
    assert "Headset" in caught.value.hint


def test_a_speaker_has_its_own_error() -> None:
    """A missing speaker is not told as a missing microphone."""
    with pytest.raises(SpeakerError, match="no speaker"):
        choose(DEVICES[3:4], None, Kind.SPEAKER)


def test_without_portaudio_there_is_one_clear_line(monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine without the library says what to install, and nothing crashes."""
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    lines: list[str] = []
    with pytest.raises(NoSoundLibraryError, match="PortAudio"):
        PortAudio().devices()
    assert not report(PortAudio(), lines.append)
    assert len(lines) == 1
    assert "libportaudio2" in lines[0]


class FailureError(Exception):
    """Stands for the library's own error."""


def library(error: Exception | None, rates: list[object]) -> SimpleNamespace:
    """As much of sounddevice as is needed to open a stream that fails."""

    def stream(**asked: object) -> object:
        rates.append((asked["channels"], asked["extra_settings"]))
        if error is not None:
            raise error
        return SimpleNamespace(
            start=lambda: None, active=True, close=lambda **_: None, abort=lambda **_: None
        )

    return SimpleNamespace(
        PortAudioError=FailureError,
        RawInputStream=stream,
        WasapiSettings=lambda **asked: asked,
        _terminate=lambda: rates.append("again"),
        _initialize=lambda: None,
    )


@pytest.mark.parametrize(
    ("code", "told"),
    [(-9985, "busy or gone"), (-9997, "rate of 48000 Hz"), (-9996, "is gone"), (-9999, "deep")],
)
def test_the_librarys_errors_become_ours(
    monkeypatch: pytest.MonkeyPatch, code: int, told: str
) -> None:
    """Each error of the library says in words what is wrong with which device, with a hint."""
    monkeypatch.setitem(sys.modules, "sounddevice", library(FailureError("deep", code), []))
    with pytest.raises(MicrophoneError, match=told) as caught:
        PortAudio().open_input(DEVICES[1], 48_000, 2_400, lambda *_: None)
    assert "'USB Headset'" in caught.value.message
    assert caught.value.hint


def test_on_windows_a_conversion_is_the_second_try(monkeypatch: pytest.MonkeyPatch) -> None:
    """The mixer's own rate comes first; only when it fails the system may convert."""
    tried: list[object] = []
    monkeypatch.setitem(sys.modules, "sounddevice", library(FailureError("x", -9997), tried))
    device = Device(0, "Headset", "Windows WASAPI", 48_000, 1, 0)
    with pytest.raises(CaptureError):
        PortAudio().open_input(device, 48_000, 2_400, lambda *_: None)
    assert tried == [(1, None), (1, {"auto_convert": True})]


def test_looking_again_waits_for_a_running_stream(monkeypatch: pytest.MonkeyPatch) -> None:
    """The list is made anew only while nothing records: a restart would end the recording."""
    done: list[object] = []
    monkeypatch.setitem(sys.modules, "sounddevice", library(None, done))
    system = PortAudio()
    stream = system.open_input(DEVICES[1], 48_000, 2_400, lambda *_: None)
    assert not system.look_again()
    stream.close()
    assert system.look_again()
    assert done[-1] == "again"


def test_the_report_names_devices_and_trouble() -> None:
    """The first lines of a report say what there is, also when nothing can be opened."""
    lines: list[str] = []
    assert not report(ScriptedSound(plugged=[DEVICES[4]]), lines.append)
    assert lines[0] == "microphones: none"
    assert "HDMI" in lines[1]
    assert "no microphone" in lines[2]
