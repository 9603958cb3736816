"""Where sound comes from: blocks, stamped, and how their source is."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from capture.sound.errors import DeviceError

BLOCK_S = 0.05
"""Length of a block: the end of a call is noticed at most so much later."""

_BYTES_PER_SAMPLE = 2


class MicState(StrEnum):
    """How the microphone is."""

    STARTING = "starting"
    """It is open, and no sound has come yet."""
    LISTENING = "listening"
    """Sound comes."""
    SILENT = "silent"
    """Only exact zeros come: permission is missing, or it is switched off. Not a quiet room."""
    DEAF = "deaf"
    """No sound comes: it was unplugged, or never opened. It is tried again by name."""
    ENDED = "ended"
    """The recorded file is over."""
    CLOSED = "closed"


@dataclass(frozen=True, slots=True)
class Block:
    """A short stretch of 16-bit mono sound.

    `captured_at_s` is when its first sample was captured, on the source's clock. `damaged`: sound
    was lost just before it, so that a call across it is doubtful. Levels are dB below full scale.
    """

    sound: bytes
    rate_hz: int
    captured_at_s: float
    damaged: bool
    peak_dbfs: float
    level_dbfs: float

    @property
    def duration_s(self) -> float:
        """Its length."""
        return len(self.sound) / (_BYTES_PER_SAMPLE * self.rate_hz)

    @property
    def ends_at_s(self) -> float:
        """When its last sample was captured."""
        return self.captured_at_s + self.duration_s


class Source(Protocol):
    """Where blocks come from. One thread calls `get`."""

    @property
    def name(self) -> str:
        """Its name for the screen."""
        ...

    @property
    def rate_hz(self) -> int:
        """Rate of the blocks; it may change when the device comes back."""
        ...

    @property
    def state(self) -> MicState:
        """How it is now."""
        ...

    @property
    def trouble(self) -> DeviceError | None:
        """Why no usable sound comes, with a hint; None while it does."""
        ...

    @property
    def overruns(self) -> int:
        """How often sound was lost."""
        ...

    def get(self, timeout_s: float) -> Block | None:
        """The next block, None if none came in time or the source has ended."""
        ...

    def now_s(self) -> float:
        """The clock of `captured_at_s`."""
        ...

    def close(self) -> None:
        """Let go of it."""
        ...
