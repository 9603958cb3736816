"""Sound devices: what there is, which one is meant, and what a device must be able to do.

The ports here have one real body (`portaudio`) and a fake one in the tests.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from capture.sound.errors import KEYPAD_HINT, DeviceError, MicrophoneError, SpeakerError


class Kind(StrEnum):
    """What a device is wanted for."""

    MICROPHONE = "microphone"
    SPEAKER = "speaker"

    @property
    def error(self) -> type[DeviceError]:
        """The error that tells of such a device."""
        return MicrophoneError if self is Kind.MICROPHONE else SpeakerError


@dataclass(frozen=True, slots=True)
class Device:
    """One device as the sound library lists it.

    `number` is its place in the list of today: it shifts when something is plugged in. `host` is
    the system's way to it, such as "ALSA" or "Windows WASAPI". Channels are 0 where the device
    cannot record or play.
    """

    number: int
    name: str
    host: str
    rate_hz: int
    inputs: int
    outputs: int
    default_input: bool = False
    default_output: bool = False

    def channels(self, kind: Kind) -> int:
        """How many channels it has for this purpose."""
        return self.inputs if kind is Kind.MICROPHONE else self.outputs

    def is_default(self, kind: Kind) -> bool:
        """Whether the system would take this one."""
        return self.default_input if kind is Kind.MICROPHONE else self.default_output


@dataclass(frozen=True, slots=True)
class ByName:
    """A device that was chosen before: its whole name, and its host where one is known."""

    name: str
    host: str = ""


Wanted = int | str | ByName | None
"""A number of the list, a name or part of it, a remembered choice; None: the system's own."""


class InputStream(Protocol):
    """A microphone that is open."""

    @property
    def active(self) -> bool:
        """Whether it still runs."""
        ...

    @property
    def channels(self) -> int:
        """Channels in each block, interleaved."""
        ...

    def close(self) -> None:
        """Let go of the device. Never raises."""
        ...


class OutputStream(Protocol):
    """A speaker that is open. One thread uses it."""

    @property
    def closed(self) -> bool:
        """Whether it was closed under its user."""
        ...

    @property
    def latency_s(self) -> float:
        """From a sample handed over to the sample heard, as the library tells it."""
        ...

    def write(self, sound: bytes) -> None:
        """Play 16-bit mono sound; returns when it is handed over, SpeakerError when it fails."""
        ...

    def drain(self) -> None:
        """Wait until all has been played; SpeakerError when it fails."""
        ...

    def cut(self) -> None:
        """Be silent at once."""
        ...

    def close(self) -> None:
        """Let go of the device. Never raises."""
        ...


OnBlock = Callable[[bytes, float, bool], None]
"""Called from the sound thread with bytes, age in seconds of the first sample, and whether sound
was lost before it. It must only copy and return."""


class SoundSystem(Protocol):
    """The sound library of the machine. Raises only DeviceError."""

    def devices(self) -> tuple[Device, ...]:
        """All devices as they were when the library was started or looked again."""
        ...

    def look_again(self) -> bool:
        """Make a fresh list; False when something is playing or recording just now."""
        ...

    def open_input(
        self, device: Device, rate_hz: int, block_frames: int, on_block: OnBlock
    ) -> InputStream:
        """Start recording 16-bit sound."""
        ...

    def open_output(self, device: Device, rate_hz: int) -> OutputStream:
        """Open a speaker for 16-bit mono sound."""
        ...


def choose(devices: Sequence[Device], wanted: Wanted, kind: Kind) -> Device:
    """The device that is meant.

    A name means the device that has it; otherwise the only one that has it as a part, whatever
    the case of its letters. Where several hosts offer the same name the system's default comes
    first, then the first of the list. Raises MicrophoneError or SpeakerError.
    """
    usable = [device for device in devices if device.channels(kind)]
    if not usable and not isinstance(wanted, ByName):
        raise kind.error(f"There is no {kind} on this machine.", f"Plug one in. {KEYPAD_HINT}")
    if wanted is None:
        return _default(usable, kind) or usable[0]
    if isinstance(wanted, str) and wanted.strip().isdecimal():
        wanted = int(wanted)
    if isinstance(wanted, int):
        found = [device for device in usable if device.number == wanted]
        told = f"number {wanted}"
    elif isinstance(wanted, ByName):
        named = [device for device in usable if device.name == wanted.name]
        found = [device for device in named if device.host == wanted.host] or named
        told = f"named '{wanted.name}'"
    else:
        found = _by_text(usable, wanted.strip().casefold())
        told = f"named '{wanted.strip()}'"
    if not found:
        hint = f"There is: {listed(usable)}." if usable else f"Plug it in. {KEYPAD_HINT}"
        raise kind.error(f"There is no {kind} {told} now.", hint)
    if len({device.name for device in found}) > 1:
        raise kind.error(
            f"Several devices are {told} in part.", f"Say more of the name: {listed(found)}."
        )
    return _default(found, kind) or found[0]


def listed(devices: Sequence[Device]) -> str:
    """Devices for a hint, each with its number."""
    return ", ".join(f"{device.number} '{device.name}' ({device.host})" for device in devices)


def _by_text(usable: Sequence[Device], text: str) -> list[Device]:
    exact = [device for device in usable if device.name.casefold() == text]
    return exact or [device for device in usable if text and text in device.name.casefold()]


def _default(usable: Sequence[Device], kind: Kind) -> Device | None:
    return next((device for device in usable if device.is_default(kind)), None)
