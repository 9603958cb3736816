"""Recorded sound, in blocks that a recogniser takes.

WAV, FLAC, OGG and whatever else libsndfile reads; any number of channels (mixed to one), any
sample width (turned into 16 bits), at the file's own rate. The whole file is looked through when
it is opened, block by block, so that a header is never believed: not its length, not its promise
that the rest can be read.
"""

import os
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
import numpy.typing as npt
import soundfile

from capture.errors import CaptureError

LOWEST_RATE_HZ = 8_000
HIGHEST_RATE_HZ = 384_000
"""Above this no recorder writes; such a header is damaged."""

MOST_CHANNELS = 32
_PIECE_FRAMES = 4_096
_BYTES_PER_SAMPLE = 2
_LARGEST_SAMPLE = 32_767
_FULL_SCALE = 32_768
_STREAMED_FROM = 0x3FFF_0000
"""A WAV data size from here on was written by a program that did not know the length."""

_KINDS_HINT = "Give a WAV, FLAC or OGG recording."


class SoundError(CaptureError):
    """A file that should hold sound does not, or not in a form that can be used."""


@dataclass(frozen=True, slots=True)
class SoundFile:
    """A readable recording: `frames` samples at `rate_hz`.

    `damaged`: there is less in the file than it promises; `note` then says how much. What is
    there can be used.
    """

    path: Path
    rate_hz: int
    frames: int
    damaged: bool
    note: str | None

    @property
    def duration_s(self) -> float:
        """Length of what can be read."""
        return self.frames / self.rate_hz

    def blocks(self, seconds: float = 0.1) -> Iterator[bytes]:
        """The sound as 16-bit little-endian mono blocks; the last may be shorter.

        SoundError when the file has gone since it was opened.
        """
        size = _BYTES_PER_SAMPLE * max(1, round(seconds * self.rate_hz))
        waiting = b""
        for samples in _mono(self.path):
            waiting += _sixteen_bit(samples)
            whole = len(waiting) - len(waiting) % size
            for at in range(0, whole, size):
                yield waiting[at : at + size]
            waiting = waiting[whole:]
        if waiting:
            yield waiting


def open_sound(path: Path) -> SoundFile:
    """Open a recording and look it through.

    SoundError when it is missing, not sound, empty, slower than 8 000 Hz, or holds values that
    are not numbers.
    """
    _check_regular(path)
    try:
        with soundfile.SoundFile(os.fspath(path)) as file:
            rate_hz, channels, promised = file.samplerate, file.channels, file.frames
    except (soundfile.SoundFileError, RuntimeError, TypeError, ValueError) as error:
        raise SoundError(f"{path.name} cannot be read as sound.", _KINDS_HINT) from error
    if rate_hz < LOWEST_RATE_HZ:
        raise SoundError(
            f"{path.name} has {rate_hz} samples a second; speech needs {LOWEST_RATE_HZ} or more.",
            "Record it again at 16 000 or more.",
        )
    if rate_hz > HIGHEST_RATE_HZ or channels > MOST_CHANNELS:
        raise SoundError(
            f"{path.name} claims {rate_hz} samples a second and {channels} channels.",
            f"Its header is damaged. {_KINDS_HINT}",
        )
    frames = 0
    for samples in _mono(path):
        if not np.isfinite(samples).all():
            raise SoundError(
                f"{path.name} holds values that are not numbers, near {frames / rate_hz:.1f} s.",
                "Export the recording again, as 16-bit WAV.",
            )
        frames += len(samples)
    if not frames:
        raise SoundError(f"{path.name} holds no sound.", _KINDS_HINT)
    note = _shortage(path, rate_hz, frames, promised)
    return SoundFile(path, rate_hz, frames, note is not None, note)


def _check_regular(path: Path) -> None:
    if path.is_dir():
        raise SoundError(f"{path.name or path} is a folder.", "Name one recording in it.")
    if not path.exists():
        raise SoundError(f"There is no file {path}.", "Check the name.")
    if not path.is_file():
        raise SoundError(f"{path.name} is not a file.", _KINDS_HINT)
    try:
        with path.open("rb") as file:
            empty = not file.read(1)
    except OSError as error:
        raise SoundError(f"{path.name} cannot be opened: {error.strerror}.", "") from error
    if empty:
        raise SoundError(f"{path.name} is empty.", _KINDS_HINT)


def _mono(path: Path) -> Iterator[npt.NDArray[np.float64]]:
    """The samples, channels averaged, a piece at a time; ends where reading ends.

    Pieces are always of the same length: how far a damaged file can be read depends on it.
    """
    try:
        file = soundfile.SoundFile(os.fspath(path))
    except (soundfile.SoundFileError, RuntimeError) as error:
        raise SoundError(f"{path.name} cannot be read any more.", _KINDS_HINT) from error
    with file:
        while True:
            try:
                samples = file.read(_PIECE_FRAMES, dtype="float32", always_2d=True)
            except (soundfile.SoundFileError, RuntimeError):
                # The rest is damaged; what came before has been handed out.
                return
            if not len(samples):
                return
            # Wider than the samples, so that absurd values do not overflow in the sum. What is
            # no number is told by whoever looks the file through, not by a warning.
            with np.errstate(invalid="ignore"):
                mixed = samples.mean(axis=1, dtype=np.float64)
            yield mixed


def _sixteen_bit(samples: npt.NDArray[np.float64]) -> bytes:
    scaled = np.rint(samples * _FULL_SCALE)
    return np.clip(scaled, -_FULL_SCALE, _LARGEST_SAMPLE).astype("<i2").tobytes()


def _shortage(path: Path, rate_hz: int, frames: int, promised: int) -> str | None:
    """What to tell when the file is shorter than its header says; None when it is whole."""
    whole_s: float | None = None
    if frames < promised:
        whole_s = promised / rate_hz
    with path.open("rb") as file:
        sizes = _wav_data_size(file)
    if sizes is not None:
        said, there = sizes
        if there < said < _STREAMED_FROM:
            whole_s = frames / rate_hz * said / max(1, there)
    if whole_s is None:
        return None
    return f"{path.name} is cut off: {frames / rate_hz:.1f} s of {whole_s:.1f} s are there."


def _wav_data_size(file: BinaryIO) -> tuple[int, int] | None:
    """Bytes of sound that a RIFF header promises, and bytes that follow; None for other files."""
    start = file.read(12)
    if start[:4] != b"RIFF" or start[8:] != b"WAVE":
        return None
    end = file.seek(0, os.SEEK_END)
    at = 12
    while at + 8 <= end:
        file.seek(at)
        name, size = struct.unpack("<4sI", file.read(8))
        if name == b"data":
            return size, end - at - 8
        at += 8 + size + size % 2
    return None
