"""A recorded file in the microphone's place."""

import time
from collections.abc import Callable
from pathlib import Path

from capture.sound.errors import DeviceError, MicrophoneError
from capture.sound.samples import levels_dbfs
from capture.sound.source import BLOCK_S, Block, MicState
from capture.sound.wav import SoundFile, open_sound

BEHIND_S = 1.0
"""A recording that is asked for its next block so much too late has stood still meanwhile."""


class WavSource:
    """A recorded file in the microphone's place.

    With `realtime` the blocks come at the pace of the recording, on the machine's clock. Where the
    machine stood still, so did the recording: else all that is left would lie before the present
    question, and nothing of it would be heard. Without it they come as fast as they are asked for,
    and the clock is the place in the recording: a voice and a gate that use `now_s` then keep step.
    SoundError for a file that cannot be used.
    """

    def __init__(
        self,
        path: Path,
        *,
        realtime: bool,
        now: Callable[[], float] = time.monotonic,
        pause: Callable[[float], None] = time.sleep,
        block_s: float = BLOCK_S,
    ) -> None:
        self._sound: SoundFile = open_sound(path)
        self._blocks = self._sound.blocks(block_s)
        self._block_s = block_s
        self._realtime = realtime
        self._now = now
        self._pause = pause
        self._began_s: float | None = None
        self._given_s = 0.0
        self._state = MicState.STARTING

    @property
    def name(self) -> str:
        """The file's name."""
        return self._sound.path.name

    @property
    def rate_hz(self) -> int:
        """The file's own rate."""
        return self._sound.rate_hz

    @property
    def state(self) -> MicState:
        """Whether the file is over."""
        return self._state

    @property
    def trouble(self) -> DeviceError | None:
        """A file that is cut off."""
        note = self._sound.note
        return MicrophoneError(note) if note and self._state is MicState.ENDED else None

    @property
    def overruns(self) -> int:
        """A file loses nothing."""
        return 0

    def now_s(self) -> float:
        """The machine's clock, or the place in the recording."""
        return self._now() if self._realtime else self._given_s

    def get(self, timeout_s: float) -> Block | None:
        """The next block. In real time it comes when its last sample would have been captured."""
        if self._state in {MicState.ENDED, MicState.CLOSED}:
            return None
        if self._realtime:
            if self._began_s is None:
                self._began_s = self._now()
            due_s = self._began_s + min(self._given_s + self._block_s, self._sound.duration_s)
            wait_s = due_s - self._now()
            if wait_s > timeout_s:
                self._pause(max(0.0, timeout_s))
                return None
            if wait_s > 0:
                self._pause(wait_s)
            behind_s = self._now() - due_s
            if behind_s > BEHIND_S:
                self._began_s += behind_s
        sound = next(self._blocks, None)
        if sound is None:
            self._state = MicState.ENDED
            return None
        self._state = MicState.LISTENING
        at_s = self._given_s + (self._began_s or 0.0)
        block = Block(sound, self.rate_hz, at_s, False, *levels_dbfs(sound))
        self._given_s += block.duration_s
        return block

    def close(self) -> None:
        """Let go of the file."""
        self._state = MicState.CLOSED
