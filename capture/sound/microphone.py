"""The microphone: blocks of sound, stamped, never holding up the device.

The sound thread only copies into a bounded queue. Everything else (level, channels, watching
whether the device still gives sound, opening it again) happens in the thread that calls `get`.
"""

import queue
import time
from collections.abc import Callable, Iterator

from capture.sound.devices import (
    ByName,
    Device,
    InputStream,
    Kind,
    SoundSystem,
    Wanted,
    choose,
)
from capture.sound.errors import DeviceError, MicrophoneError
from capture.sound.samples import first_of, levels_dbfs
from capture.sound.source import BLOCK_S, Block, MicState
from capture.sound.wav import LOWEST_RATE_HZ

QUEUED_S = 10.0
"""A listener that falls behind by this much loses sound, and is told so."""

DEAF_AFTER_S = 1.0
"""No block for so long: the device is gone, whatever it says."""

STARTS_WITHIN_S = 3.0
"""A headset by radio may take so long before its first block."""

SILENT_AFTER_S = 1.0
"""Exact zeros for so long come from no room: permission is missing, or a switch is off."""

RETRY_S = 2.0
_LOWEST_WHOLE_BAND_HZ = 16_000


class _Inbox:
    """Takes blocks from the sound thread. One for each opening of the device."""

    def __init__(self, now: Callable[[], float], size: int) -> None:
        self.blocks: queue.Queue[tuple[bytes, float, bool]] = queue.Queue(size)
        self.overruns = 0
        self._lost = False
        self._now = now

    def put(self, sound: bytes, age_s: float, overflowed: bool) -> None:
        """Called from the sound thread: copy (done), stamp, queue; never wait."""
        if overflowed:
            self.overruns += 1
        damaged = overflowed or self._lost
        try:
            self.blocks.put_nowait((sound, self._now() - age_s, damaged))
        except queue.Full:
            self.overruns += 1
            self._lost = True
        else:
            self._lost = False


class Microphone:
    """A microphone that may come and go.

    Made without touching the device. `open` opens it or raises; without `open`, and whenever the
    device is lost, `get` tries again every two seconds, by name.
    """

    def __init__(
        self,
        system: SoundSystem,
        wanted: Wanted = None,
        *,
        now: Callable[[], float] = time.monotonic,
        pause: Callable[[float], None] = time.sleep,
        block_s: float = BLOCK_S,
        queued_s: float = QUEUED_S,
    ) -> None:
        self._system = system
        self._wanted = wanted
        self._now = now
        self._pause = pause
        self._block_s = block_s
        self._queue_size = max(2, round(queued_s / block_s))
        self._inbox = _Inbox(now, self._queue_size)
        self._stream: InputStream | None = None
        self._device: Device | None = None
        self._lost_before = 0
        self._after_gap = False
        self._zeros_s = 0.0
        self._heard_since_open = False
        self._last_at_s = now()
        self._next_try_s = now()
        self._trouble: DeviceError | None = None
        self._state = MicState.DEAF
        self._closed = False

    @classmethod
    def opened(cls, system: SoundSystem, wanted: Wanted = None) -> "Microphone":
        """An open microphone. Raises DeviceError with a hint."""
        microphone = cls(system, wanted)
        microphone.open()
        return microphone

    def open(self) -> None:
        """Open the device now. Raises DeviceError with a hint."""
        device = choose(self._system.devices(), self._wanted, Kind.MICROPHONE)
        if device.rate_hz < LOWEST_RATE_HZ:
            raise MicrophoneError(
                f"The microphone '{device.name}' gives {device.rate_hz} samples a second; speech "
                f"needs {LOWEST_RATE_HZ} or more.",
                "Choose a higher rate in the system's sound settings, or another microphone.",
            )
        self._lost_before += self._inbox.overruns
        self._inbox = _Inbox(self._now, self._queue_size)
        frames = round(self._block_s * device.rate_hz)
        self._stream = self._system.open_input(device, device.rate_hz, frames, self._inbox.put)
        if isinstance(self._wanted, int | str | None):
            # Numbers shift and defaults change: from now on this device is meant.
            self._wanted = ByName(device.name, device.host)
        self._device = device
        self._zeros_s, self._heard_since_open = 0.0, False
        self._last_at_s = self._now()
        self._trouble = None
        self._state = MicState.STARTING

    @property
    def device(self) -> Device | None:
        """The device that is, or was last, open."""
        return self._device

    @property
    def wanted(self) -> Wanted:
        """Which device is meant; once one was open, that one by its whole name."""
        return self._wanted

    @property
    def name(self) -> str:
        """The device's name, or what is looked for."""
        if self._device is not None:
            return self._device.name
        return self._wanted.name if isinstance(self._wanted, ByName) else str(self._wanted or "")

    @property
    def rate_hz(self) -> int:
        """The device's own rate; 0 before it was ever open."""
        return 0 if self._device is None else self._device.rate_hz

    @property
    def narrow(self) -> bool:
        """Whether it gives less than the recogniser can use, as headsets by radio do."""
        return 0 < self.rate_hz < _LOWEST_WHOLE_BAND_HZ

    @property
    def state(self) -> MicState:
        """How it is, as of the last `get`."""
        return MicState.CLOSED if self._closed else self._state

    @property
    def trouble(self) -> DeviceError | None:
        """Why no usable sound comes, with a hint; None while it does."""
        return self._trouble

    @property
    def overruns(self) -> int:
        """How often sound was lost since the beginning."""
        return self._lost_before + self._inbox.overruns

    def now_s(self) -> float:
        """The clock of `captured_at_s`."""
        return self._now()

    def get(self, timeout_s: float) -> Block | None:
        """The next block, None if none came in time. Never raises for a device that is lost."""
        if self._closed:
            return None
        if self._stream is None:
            self._try_again(timeout_s)
            return None
        try:
            got = self._inbox.blocks.get(timeout=max(0.0, timeout_s))
        except queue.Empty:
            self._watch()
            return None
        return self._taken(*got)

    def __iter__(self) -> Iterator[Block | None]:
        """Blocks until it is closed; None about twice a second while none comes."""
        while not self._closed:
            yield self.get(0.5)

    def close(self) -> None:
        """Let go of the device for good. May be called from another thread than `get`."""
        self._closed = True
        self._drop_stream()

    def _taken(self, sound: bytes, at_s: float, damaged: bool) -> Block:
        self._last_at_s = self._now()
        if self._stream is not None:
            sound = first_of(sound, self._stream.channels)
        peak_dbfs, level_dbfs = levels_dbfs(sound)
        damaged, self._after_gap = damaged or self._after_gap, False
        block = Block(sound, self.rate_hz, at_s, damaged, peak_dbfs, level_dbfs)
        if any(sound):
            self._zeros_s, self._heard_since_open = 0.0, True
            self._state, self._trouble = MicState.LISTENING, None
            return block
        self._zeros_s += block.duration_s
        if self._zeros_s >= SILENT_AFTER_S and self._state is not MicState.SILENT:
            self._state, self._trouble = MicState.SILENT, self._silent()
        elif self._state is MicState.STARTING:
            self._state = MicState.LISTENING
        return block

    def _silent(self) -> MicrophoneError:
        if self._heard_since_open:
            return MicrophoneError(
                f"The microphone '{self.name}' has gone silent.", "Is its switch off?"
            )
        return MicrophoneError(
            f"The microphone '{self.name}' gives only silence: permission?",
            "Allow the terminal program to use the microphone in the system's privacy settings, "
            "and see that the microphone is not switched off.",
        )

    def _watch(self) -> None:
        if self._closed:
            return
        limit_s = STARTS_WITHIN_S if self._state is MicState.STARTING else DEAF_AFTER_S
        overdue = self._now() - self._last_at_s >= limit_s
        if overdue or self._stream is None or not self._stream.active:
            self._drop_stream()
            self._state = MicState.DEAF
            self._after_gap = True
            self._trouble = MicrophoneError(
                f"The microphone '{self.name}' gives no sound any more.",
                "Plug it in again: listening goes on by itself. The keypad works meanwhile.",
            )
            self._next_try_s = self._now()

    def _try_again(self, timeout_s: float) -> None:
        wait_s = self._next_try_s - self._now()
        if wait_s > 0:
            self._pause(min(wait_s, max(0.0, timeout_s)))
            return
        self._next_try_s = self._now() + RETRY_S
        try:
            self._system.look_again()
            self.open()
        except DeviceError as error:
            self._trouble = error
            self._state = MicState.DEAF
        if self._closed:
            self._drop_stream()

    def _drop_stream(self) -> None:
        stream, self._stream = self._stream, None
        if stream is not None:
            stream.close()
