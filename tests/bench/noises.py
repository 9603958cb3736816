"""Noise to lay under calls, and sound that is no speech at all. All of it is computed, seeded."""

from collections.abc import Callable, Iterable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]
Noise = Callable[[int, np.random.Generator], Samples]
"""Gives that many samples at 16 kHz, of standard deviation 1."""

RATE_HZ = 16_000
SPEECH_LEVEL_DBFS = -26.0
"""A usual level of speech, as telephony has it (ITU-T P.56 and its recommendations)."""

QUIET_ROOM_DB = 40.0
"""Even a clean call has a room behind it: noise this far below the speech."""

BEFORE_S = 0.5
AFTER_S = 1.3


def pink(count: int, rng: np.random.Generator) -> Samples:
    """Noise of equal energy in each octave, like a fan."""
    spectrum = np.fft.rfft(rng.standard_normal(count))
    return _level(np.fft.irfft(spectrum / np.sqrt(np.maximum(np.arange(len(spectrum)), 1)), count))


def babble(voices: Sequence[Samples]) -> Noise:
    """Six people talking at once, of these sentences."""

    def make(count: int, rng: np.random.Generator) -> Samples:
        sound = np.zeros(count)
        for _ in range(6):
            line: list[Samples] = []
            while sum(map(len, line)) < 2 * count:
                line.append(voices[int(rng.integers(len(voices)))])
            joined = np.concatenate(line)
            start = int(rng.integers(len(joined) - count))
            piece = joined[start : start + count]
            sound += piece / max(float(piece.std()), 1e-6)
        return _level(sound)

    return make


def gym(count: int, rng: np.random.Generator) -> Samples:
    """Music with a beat, and weights set down now and then."""
    sound = _level(music(count, rng)).astype(float)
    for start in rng.integers(0, max(count - 1, 1), size=1 + count // (2 * RATE_HZ)):
        hit = impact(rng)[: count - start]
        sound[start : start + len(hit)] += 4 * hit
    return _level(sound)


KINDS = ("pink", "babble", "gym")
"""The noises that calls are heard in."""


def kinds(voices: Sequence[Samples]) -> Mapping[str, Noise]:
    """Each of `KINDS`; the babble is of these sentences."""
    return dict(zip(KINDS, (pink, babble(voices), gym), strict=True))


def music(count: int, rng: np.random.Generator) -> Samples:
    """Chords of five partials each that change twice a second, over a drum."""
    beat = RATE_HZ // 2
    sound = np.zeros(count)
    time_s = np.arange(beat) / RATE_HZ
    fade = np.exp(-3 * time_s)
    for start in range(0, count, beat):
        root_hz = 110 * 2 ** (int(rng.integers(0, 12)) / 12)
        for step in (0, rng.choice([3, 4]), 7, 12):
            for partial in range(1, 6):
                hz = root_hz * 2 ** (step / 12) * partial
                phase = rng.uniform(0, 2 * np.pi)
                wave = np.sin(2 * np.pi * hz * time_s + phase) * fade / partial
                sound[start : start + beat] += wave[: count - start]
        drum = rng.standard_normal(beat) * np.exp(-25 * time_s)
        drum += 3 * np.sin(2 * np.pi * 60 * time_s) * np.exp(-12 * time_s)
        sound[start : start + beat] += drum[: count - start]
    return _level(sound)


def impact(rng: np.random.Generator) -> Samples:
    """Something hard set down: a burst with a few ringing modes, 0.2 to 0.6 s."""
    time_s = np.arange(int(rng.uniform(0.2, 0.6) * RATE_HZ)) / RATE_HZ
    sound = rng.standard_normal(len(time_s)) * np.exp(-60 * time_s)
    for _ in range(5):
        decay = rng.uniform(8, 40)
        sound += np.sin(2 * np.pi * rng.uniform(150, 5000) * time_s) * np.exp(-decay * time_s) * 0.5
    return np.asarray(sound / np.abs(sound).max(), np.float32)


def breath(rng: np.random.Generator) -> Samples:
    """One breath close to the microphone: noise with three wide resonances, 0.25 to 1.3 s."""
    share = np.linspace(0, 1, int(rng.uniform(0.25, 1.3) * RATE_HZ))
    top = rng.uniform(0.2, 0.7)
    swell = np.minimum(share / top, (1 - share) / (1 - top)) ** rng.uniform(0.7, 2)
    middles = (rng.uniform(400, 900), rng.uniform(1100, 2000), rng.uniform(2300, 3500))
    band = (rng.uniform(100, 300), rng.uniform(4000, 7500))
    sound = _hiss(len(share), zip(middles, (250, 350, 500), strict=True), band, rng) * swell
    return np.asarray(sound / np.abs(sound).max(), np.float32)


def rustle(rng: np.random.Generator) -> Samples:
    """Cloth against the microphone: 20 to 120 crackles a second for 0.2 to 1 s."""
    count = int(rng.uniform(0.2, 1) * RATE_HZ)
    sound = np.zeros(count)
    for _ in range(max(1, int(rng.uniform(20, 120) * count / RATE_HZ))):
        length = int(rng.uniform(0.003, 0.04) * RATE_HZ)
        start = int(rng.integers(count - length))
        band = (rng.uniform(300, 1500), 7500.0)
        crackle = _hiss(length, [(rng.uniform(1500, 6000), 1500)], band, rng)
        crackle *= np.exp(-np.arange(length) / length * rng.uniform(2, 6))
        sound[start : start + length] += crackle / crackle.std() * rng.gamma(1.0)
    share = np.linspace(0, 1, count)
    sound *= np.minimum(1, np.minimum(share, 1 - share) * 6)
    return np.asarray(sound / np.abs(sound).max(), np.float32)


def _hiss(
    count: int,
    peaks: Iterable[tuple[float, float]],
    band_hz: tuple[float, float],
    rng: np.random.Generator,
) -> NDArray[np.floating]:
    """White noise through resonances (middle and width in Hz), cut to a band."""
    hertz = np.fft.rfftfreq(count, 1 / RATE_HZ)
    gain = 0.05 + sum(1 / (1 + ((hertz - middle) / width) ** 2) for middle, width in peaks)
    gain /= (1 + np.exp((band_hz[0] - hertz) / 60)) * (1 + np.exp((hertz - band_hz[1]) / 300))
    return np.fft.irfft(np.fft.rfft(rng.standard_normal(count)) * gain, count)


def tone(rng: np.random.Generator) -> Samples:
    """A beep of a machine: 0.1 to 0.8 s, perhaps with overtones, perhaps sliding."""
    count = int(rng.uniform(0.1, 0.8) * RATE_HZ)
    hz = rng.uniform(250, 3500) * np.linspace(1, rng.choice([1, 1, 0.7, 1.4]), count)
    phase = 2 * np.pi * np.cumsum(hz) / RATE_HZ
    sound = np.sin(phase)
    if rng.random() < 0.5:
        sound += 0.5 * np.sin(2 * phase) + 0.3 * np.sin(3 * phase)
    edge = np.minimum(1, np.minimum(np.arange(count), np.arange(count)[::-1]) / 160)
    return np.asarray(sound * edge / np.abs(sound).max(), np.float32)


def speech_level(samples: Samples) -> float:
    """Root mean square of the louder part of a phrase, frames of 10 ms down to -20 dB."""
    frames = samples[: len(samples) // 160 * 160].reshape(-1, 160).astype(float)
    energies = np.square(frames).mean(1)
    return float(np.sqrt(energies[energies > 0.01 * energies.max()].mean()))


def in_room(
    samples: Samples, noise: Noise | None, snr_db: float, rng: np.random.Generator
) -> bytes:
    """A call in noise (None: a quiet room), with the room heard before and after; 16 bits."""
    before, after = (np.zeros(int(s * RATE_HZ)) for s in (BEFORE_S, AFTER_S))
    sound = np.concatenate([before, samples / max(speech_level(samples), 1e-6), after])
    room = (noise or pink)(len(sound), rng)
    sound = sound + room * 10 ** (-(snr_db if noise else QUIET_ROOM_DB) / 20)
    return as_bytes(sound * 10 ** (SPEECH_LEVEL_DBFS / 20))


def as_bytes(sound: NDArray[np.floating]) -> bytes:
    """Samples of -1 to 1 as 16-bit sound."""
    return (sound * 32767).round().clip(-32768, 32767).astype("<i2").tobytes()


def streams(
    voices: dict[str, list[Samples]], seconds: float, rng: np.random.Generator
) -> dict[str, Samples]:
    """Sound without a call, by kind; a minute at a time in use.

    Half an hour (or `seconds`) of speech of each voice with pauses, beeps, impacts, music and
    noise, and for each half hour 150 s of breath and rustling cloth.
    """
    share = seconds / 1800
    found = {
        f"speech, {name}": _spread(lines, 240 * share, (0.4, 1.5), rng, 1.0)
        for name, lines in voices.items()
    }
    found["beeps"] = _spread([tone(rng) for _ in range(200)], 150 * share, (0.3, 1.2), rng, 1.5)
    found["impacts"] = _spread([impact(rng) for _ in range(200)], 150 * share, (0.3, 1.2), rng, 3)
    found["music"] = _quietly(music(int(150 * share * RATE_HZ), rng))
    lines = [line for each in voices.values() for line in each]
    found["pink and babble"] = _quietly(
        np.concatenate(
            [
                pink(int(75 * share * RATE_HZ), rng),
                babble(lines)(int(75 * share * RATE_HZ), rng),
            ]
        )
    )
    for name, make in (("breath", breath), ("rustle", rustle)):
        found[name] = _spread([make(rng) for _ in range(100)], 75 * share, (0.3, 1.2), rng, 1.0)
    return found


def _spread(
    pieces: Sequence[Samples],
    seconds: float,
    pause_s: tuple[float, float],
    rng: np.random.Generator,
    gain: float,
) -> Samples:
    """Pieces in turn with pauses, in a quiet room, at levels 12 dB apart."""
    sound: list[NDArray[np.floating]] = []
    filled, number = 0, 0
    while filled < seconds * RATE_HZ:
        piece = pieces[number % len(pieces)]
        number += 1
        loud = gain * 10 ** (rng.uniform(-9, 3) / 20) / max(speech_level(piece), 1e-6)
        sound += [piece * loud, np.zeros(int(rng.uniform(*pause_s) * RATE_HZ))]
        filled += len(sound[-1]) + len(piece)
    joined = np.concatenate(sound)
    room = pink(len(joined), rng) * 10 ** (-QUIET_ROOM_DB / 20)
    return _quietly(joined + room)


def _quietly(sound: NDArray[np.floating]) -> Samples:
    return np.asarray(sound * 10 ** (SPEECH_LEVEL_DBFS / 20), np.float32)


def _level(sound: NDArray[np.floating]) -> Samples:
    return np.asarray(sound / max(float(sound.std()), 1e-9), np.float32)
