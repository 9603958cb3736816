"""A sound system without devices: for tests, and for trying a session without a sound card.

What is played is kept, and can be looped back into the microphones as a room would.
"""

import threading
from collections.abc import Callable
from dataclasses import dataclass, field

from capture.sound.devices import Device, InputStream, Kind, OnBlock, OutputStream
from capture.sound.errors import DeviceError, NoSoundLibraryError

DESK = Device(0, "Desk microphone", "Scripted", 48_000, 1, 0, default_input=True)
BOX = Device(1, "Desk speaker", "Scripted", 48_000, 0, 2, default_output=True)


@dataclass
class ScriptedInput:
    """An open microphone; the script pushes its sound."""

    device: Device
    on_block: OnBlock
    block_frames: int
    channels: int = 1
    active: bool = True

    def push(self, sound: bytes, age_s: float = 0.0, overflowed: bool = False) -> None:
        """As the sound thread would call."""
        if self.active:
            self.on_block(sound, age_s, overflowed)

    def close(self) -> None:
        """Let go of the device."""
        self.active = False


@dataclass
class ScriptedOutput:
    """An open speaker that takes no time."""

    device: Device
    system: "ScriptedSound"
    latency_s: float = 0.02
    closed: bool = False

    def write(self, sound: bytes) -> None:
        """Keep the sound, or fail as the script says."""
        self.system.on_write()
        if self.system.write_error is not None:
            raise self.system.write_error
        self.system.played += sound

    def drain(self) -> None:
        """Nothing to wait for."""

    def cut(self) -> None:
        """Count the cut."""
        self.system.cuts += 1

    def close(self) -> None:
        """Let go of the device."""
        self.closed = True


@dataclass
class ScriptedSound:
    """The sound system of a test.

    `plugged` is what is there; the list that programs see changes only with `look_again`, as in
    PortAudio. `open_error` and `write_error` are raised where they apply; `on_write` is called
    before each write and may wait.
    """

    plugged: list[Device] = field(default_factory=lambda: [DESK, BOX])
    installed: bool = True
    open_errors: dict[Kind, DeviceError] = field(default_factory=dict)
    write_error: Exception | None = None
    on_write: Callable[[], None] = lambda: None
    inputs: list[ScriptedInput] = field(default_factory=list)
    outputs: list[ScriptedOutput] = field(default_factory=list)
    played: bytearray = field(default_factory=bytearray)
    cuts: int = 0
    looked: int = 0
    opened: threading.Event = field(default_factory=threading.Event)
    _listed: tuple[Device, ...] | None = None

    def devices(self) -> tuple[Device, ...]:
        """The list as of the last look."""
        if not self.installed:
            raise NoSoundLibraryError
        if self._listed is None:
            self._listed = tuple(self.plugged)
        return self._listed

    def look_again(self) -> bool:
        """Make a fresh list."""
        self.looked += 1
        self._listed = tuple(self.plugged)
        return True

    def open_input(
        self, device: Device, rate_hz: int, block_frames: int, on_block: OnBlock
    ) -> InputStream:
        """Open a microphone that is plugged in."""
        self._refuse(Kind.MICROPHONE, device, rate_hz)
        stream = ScriptedInput(device, on_block, block_frames)
        self.inputs.append(stream)
        self.opened.set()
        return stream

    def open_output(self, device: Device, rate_hz: int) -> OutputStream:
        """Open a speaker that is plugged in."""
        self._refuse(Kind.SPEAKER, device, rate_hz)
        stream = ScriptedOutput(device, self)
        self.outputs.append(stream)
        return stream

    def unplug(self, device: Device) -> None:
        """Take a device away: its streams just stop, as real ones do."""
        self.plugged.remove(device)
        for stream in self.inputs:
            if stream.device == device:
                stream.active = False

    def _refuse(self, kind: Kind, device: Device, rate_hz: int) -> None:
        if kind in self.open_errors:
            raise self.open_errors[kind]
        if device not in self.plugged or rate_hz != device.rate_hz:
            raise kind.error(f"The {kind} '{device.name}' is gone.", "Plug it in again.")
