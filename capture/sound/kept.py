"""The sound of a call, kept and played again: cut out of what was fed, and as FLAC in between."""

import io
import threading
from collections import deque
from dataclasses import dataclass

import numpy as np
import soundfile

from capture.errors import CaptureError
from capture.sound.devices import SoundSystem, Wanted
from capture.sound.duplex import HalfDuplex
from capture.sound.player import Player
from capture.sound.samples import Samples, from_bytes, resampled, to_bytes
from capture.sound.wav import SoundError

AROUND_S = 0.3
"""Kept before the first word and after the last: the recogniser's times are rough."""

LONGEST_S = 12.0
"""The longest call that is kept whole: no phrase of the grammar takes so long to say."""

SPEECH_HZ = 16_000
"""What a microphone gives beyond this holds nothing of speech that a listener needs."""

STARTS_WITHIN_S = 0.5
"""A speaker that cannot be used says so within this; then the person may go on."""

_BYTES_PER_SAMPLE = 2


@dataclass(frozen=True, slots=True)
class CallSound:
    """16-bit mono sound of one call."""

    sound: bytes
    rate_hz: int

    def as_flac(self) -> bytes:
        """The same as a FLAC file, at no more than the rate that speech needs."""
        file = io.BytesIO()
        sound, rate_hz = self.sound, self.rate_hz
        if rate_hz > SPEECH_HZ:
            sound = to_bytes(resampled(from_bytes(sound), rate_hz, SPEECH_HZ))
            rate_hz = SPEECH_HZ
        samples = np.frombuffer(sound, "<i2")
        soundfile.write(file, samples, rate_hz, format="FLAC", subtype="PCM_16")
        return file.getvalue()


class Trail:
    """What the recogniser was fed last, without a gap. One thread uses it."""

    def __init__(self) -> None:
        self._blocks: deque[bytes] = deque()
        self._length = 0
        self._rate_hz = 0

    def clear(self) -> None:
        """Forget all: what follows does not join on to it."""
        self._blocks.clear()
        self._length = 0

    def add(self, sound: bytes, rate_hz: int) -> None:
        """Add a block; what is too old to matter is forgotten."""
        if rate_hz != self._rate_hz:
            self.clear()
            self._rate_hz = rate_hz
        self._blocks.append(sound)
        self._length += len(sound)
        most = round((LONGEST_S + 2 * AROUND_S) * rate_hz) * _BYTES_PER_SAMPLE
        while self._length - len(self._blocks[0]) >= most:
            self._length -= len(self._blocks.popleft())

    def cut(self, before_end_s: float, length_s: float) -> CallSound | None:
        """What began so long before the end of the trail, with a margin; None if it is gone."""
        if not self._length:
            return None
        whole = b"".join(self._blocks)
        frames = len(whole) // _BYTES_PER_SAMPLE
        first = frames - round((before_end_s + AROUND_S) * self._rate_hz)
        last = frames - round((before_end_s - length_s - AROUND_S) * self._rate_hz)
        first, last = max(0, first), min(frames, last)
        if first >= last:
            return None
        cut = whole[first * _BYTES_PER_SAMPLE : last * _BYTES_PER_SAMPLE]
        return CallSound(cut, self._rate_hz)


def samples_of(flac: bytes) -> tuple[Samples, int]:
    """Samples and rate in Hz. Raises SoundError for a file that was cut short or damaged."""
    try:
        samples, rate_hz = soundfile.read(io.BytesIO(flac), dtype="float32")
    except (OSError, RuntimeError, soundfile.SoundFileError):
        samples, rate_hz = np.zeros(0, np.float32), 0
    if not len(samples) or samples.ndim != 1:
        raise SoundError(
            "The kept sound of this call is damaged.",
            "It may have been cut short when the program ended. The reading is not touched by it.",
        )
    return samples, int(rate_hz)


class CallPlayer:
    """Plays kept calls, one at a time. No device is opened before the first."""

    def __init__(self, system: SoundSystem, speaker: Wanted = None, volume: float = 1.0) -> None:
        self._troubles: deque[CaptureError] = deque()
        self._failed = threading.Event()
        self._player = Player(
            system, HalfDuplex(echo_tail_s=0.0), self._report, speaker, volume=volume
        )

    def play(self, flac: bytes) -> float:
        """Begin to play and return; the length in seconds.

        Raises SoundError for damaged sound and DeviceError where there is no speaker, within half
        a second.
        """
        samples, rate_hz = samples_of(flac)
        self._troubles.clear()
        length_s = len(samples) / rate_hz
        self._player.play(
            lambda speaker_hz: resampled(samples, rate_hz, speaker_hz), length_s, closes_gate=False
        )
        self._player.wait(STARTS_WITHIN_S)
        if self._troubles:
            raise self._troubles.popleft()
        return length_s

    def close(self) -> None:
        """Let what plays come to its end, then let go of the speaker."""
        self._player.wait(LONGEST_S)
        self._player.close()

    def _report(self, trouble: CaptureError) -> None:
        self._troubles.append(trouble)
