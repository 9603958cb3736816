"""Arithmetic on sound: level, rate, pace. Samples are float32 between -1 and 1, one channel."""

import math

import numpy as np
import numpy.typing as npt

Samples = npt.NDArray[np.float32]

QUIETEST_DBFS = -100.0
"""What the level of digital silence is shown as."""

_FULL_SCALE = 32_768
_LARGEST = 32_767
_EDGE_S = 0.02
_WINDOW_S = 0.03
_SEARCH_S = 0.008


def to_bytes(samples: Samples, volume: float = 1.0) -> bytes:
    """16-bit little-endian sound; what is too loud is cut off."""
    scaled = np.rint(samples * np.float32(volume * _FULL_SCALE))
    return bytes(np.clip(scaled, -_FULL_SCALE, _LARGEST).astype("<i2").tobytes())


def from_bytes(sound: bytes) -> Samples:
    """Samples of 16-bit little-endian sound."""
    return np.frombuffer(sound, "<i2").astype(np.float32) / np.float32(_FULL_SCALE)


def levels_dbfs(sound: bytes) -> tuple[float, float]:
    """Peak and mean level (root mean square) of 16-bit sound, in decibels below full scale."""
    if not sound:
        return QUIETEST_DBFS, QUIETEST_DBFS
    values = from_bytes(sound)
    mean = math.sqrt(float(np.mean(values**2)))
    return _dbfs(float(np.abs(values).max())), _dbfs(mean)


def first_of(sound: bytes, channels: int) -> bytes:
    """The first channel of interleaved 16-bit sound."""
    if channels == 1:
        return sound
    return bytes(np.frombuffer(sound, "<i2")[::channels].tobytes())


def resampled(samples: Samples, from_hz: int, to_hz: int) -> Samples:
    """The same sound at another rate.

    Through the spectrum: exact below both half rates. Silence is added for the transform, so that
    the end does not run into the beginning.
    """
    if from_hz == to_hz or not len(samples):
        return samples
    common = math.gcd(from_hz, to_hz)
    up, down = to_hz // common, from_hz // common
    # A whole number of periods of both rates, with room for the ringing of the cut.
    padded = math.ceil((len(samples) + int(_EDGE_S * from_hz)) / down) * down
    spectrum = np.fft.rfft(samples, padded)
    made = np.fft.irfft(spectrum, padded // down * up) * (up / down)
    return made[: round(len(samples) * up / down)].astype(np.float32)


def paced(samples: Samples, rate_hz: int, pace: float) -> Samples:
    """The same speech `pace` times as fast, at its own pitch.

    Windows of 30 ms are laid closer together or farther apart, each moved by up to 8 ms to where
    it fits its neighbour best (the method known as WSOLA: Verhelst and Roelands 1993).
    """
    if abs(pace - 1) < 0.01:
        return samples
    size = int(_WINDOW_S * rate_hz) // 2 * 2
    hop, reach = size // 2, int(_SEARCH_S * rate_hz)
    window = np.hanning(size + 1)[:size].astype(np.float32)
    source = np.concatenate([np.zeros(reach, np.float32), samples, np.zeros(2 * size, np.float32)])
    count = max(1, math.ceil(len(samples) / pace / hop))
    made = np.zeros((count + 1) * hop + size, np.float32)
    natural = reach
    for index in range(count):
        wanted = reach + int(index * hop * pace)
        if wanted + size + reach > len(source):
            break
        start = wanted - reach
        target = source[natural : natural + size]
        if len(target) == size and index:
            field = source[start : wanted + reach + size]
            start += int(np.argmax(np.correlate(field, target, "valid")))
        else:
            start = wanted
        made[index * hop : index * hop + size] += window * source[start : start + size]
        natural = start + hop
    return made[: round(len(samples) / pace)]


def _dbfs(value: float) -> float:
    return QUIETEST_DBFS if value <= 0 else max(QUIETEST_DBFS, 20 * math.log10(value))
