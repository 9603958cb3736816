"""Altered copies of the corpus, made afresh for every batch on the training device.

Pace, pauses, room echo, tone colour, noise of many kinds, telephone bands, level, clipping and
16-bit rounding. All draws come from one seeded generator of the device.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import torch
from torch import Tensor

RATE_HZ = 16_000
TAPS = 8
ECHO_SECONDS = 0.4
SLOWEST, FASTEST = 0.85, 1.2
TELEPHONE_SHARE = 0.35
ECHO_SHARE = 0.45
WAIT_SHARE, WAIT_SECONDS = 0.35, 2.0
"""In this share of the batches up to so much of the room is heard before anybody speaks."""

HIDDEN_RUNS, HIDDEN_MOST = 2, 7
"""So many runs of up to so many neighbouring mel bands are hidden from an item."""

UNEVEN_FRAMES = 3.0
"""Frames by which a sound stands too early or too late where the pace is uneven."""

QUIET_DBFS, LOUD_DBFS = -50.0, -10.0
NOISES = (
    ("none", 1.0),
    ("coloured", 2.0),
    ("hum", 0.7),
    ("babble", 3.0),
    ("impacts", 0.8),
    ("music", 0.8),
    ("chords", 0.8),
    ("song", 0.6),
    ("gym", 1.5),
    ("beeps", 0.5),
    ("breath", 0.8),
    ("rustle", 1.2),
)
"""Kinds of noise with their weights."""


@dataclass(frozen=True, slots=True)
class Clip:
    """Where a phrase lies in the pool of all samples."""

    start: int
    length: int


class Augmenter:
    """Builds batches of altered sound from a pool of 16-bit samples."""

    def __init__(self, pool: Tensor, seed: int) -> None:
        """*pool* holds all speech as one int16 vector on the device."""
        self.pool = pool
        self.device = pool.device
        self.generator = torch.Generator(self.device)
        self.generator.manual_seed(seed)

    def uniform(self, low: float, high: float, *shape: int) -> Tensor:
        """Draw evenly between two bounds."""
        drawn = torch.rand(*shape, generator=self.generator, device=self.device)
        return low + (high - low) * drawn

    def draws(self, low: int, high: int, *shape: int) -> Tensor:
        """Draw whole numbers evenly, *high* left out."""
        return torch.randint(low, high, shape, generator=self.generator, device=self.device)

    def normal(self, *shape: int) -> Tensor:
        """Draw standard normal values."""
        return torch.randn(*shape, generator=self.generator, device=self.device)

    def chance(self, share: float, count: int) -> Tensor:
        """Draw yes or no for each of *count* items, as 0 or 1."""
        return (self.uniform(0, 1, count) < share).float()

    def hidden_bands(self, count: int, bands: int, share: float) -> Tensor:
        """Draw for *count* items which bands are hidden, in *share* of them some.

        A sound must then be known by more than one of its marks: other voices lack some of them.
        """
        band = torch.arange(bands, device=self.device)
        hidden = torch.zeros(count, bands, dtype=torch.bool, device=self.device)
        for _ in range(HIDDEN_RUNS):
            first = self.draws(0, bands, count, 1)
            hidden |= (band >= first) & (band < first + self.draws(0, HIDDEN_MOST + 1, count, 1))
        return hidden & self.chance(share, count).bool()[:, None]

    def uneven(self, cepstra: Tensor, share: float) -> Tensor:
        """Let the pace of *share* of the items change from quarter second to quarter second."""
        count, frames, _ = cepstra.shape
        knots = self.normal(count, 1, 2 + frames // 25) * UNEVEN_FRAMES
        knots = knots * self.chance(share, count)[:, None, None]
        moved = torch.nn.functional.interpolate(knots, frames, mode="linear", align_corners=True)
        place = torch.arange(frames, device=self.device) + moved[:, 0]
        place = place.clamp(0, frames - 1.001)
        first = place.floor().long()[:, :, None].expand_as(cepstra)
        part = (place - place.floor())[:, :, None]
        return cepstra.gather(1, first) * (1 - part) + cepstra.gather(1, first + 1) * part

    def batch(self, items: Sequence[Sequence[Clip]], clean: bool = False) -> Tensor:
        """Make one waveform (16-bit units) an item; an item is phrases that follow one another."""
        speech, active = self._laid_out(items, clean)
        count, samples = speech.shape
        if clean:
            return (speech * 32768).round().clamp(-32768, 32767)
        size = 1 << (samples + int(ECHO_SECONDS * RATE_HZ) - 1).bit_length()
        spectrum = torch.fft.rfft(speech, size) * self._colour(count, size)
        spectrum = spectrum * torch.fft.rfft(self._echo(count), size)
        speech = torch.fft.irfft(spectrum, size)[:, :samples]
        power = (speech.square() * active).sum(1) / active.sum(1).clamp_min(1)
        silent = power < 1e-9
        level = power.sqrt().clamp_min(1e-4)
        speech = speech / level[:, None]
        snr_db = self.uniform(8, 40, count)
        hard = self.chance(0.45, count).bool()
        snr_db = torch.where(hard, self.uniform(0, 14, count), snr_db)
        snr_db = torch.where(silent, self.uniform(-6, 20, count), snr_db)
        noise = self._noise(count, samples, snr_db)
        mixed = self._banded(speech + noise)
        gain_db = self.uniform(QUIET_DBFS, LOUD_DBFS, count)
        gain_db = torch.where(silent, gain_db - 6, gain_db)
        gain_db = gain_db + 12 * self.chance(0.04, count)
        mixed = mixed * (10 ** (gain_db / 20))[:, None]
        return (mixed * 32768).round().clamp(-32768, 32767)

    def _laid_out(self, items: Sequence[Sequence[Clip]], clean: bool) -> tuple[Tensor, Tensor]:
        """Place the phrases on the time line at a random pace; also mark where speech is."""
        count, most = len(items), max(1, *(len(item) for item in items))
        start = torch.zeros(count, most, dtype=torch.float64)
        length = torch.zeros(count, most, dtype=torch.float64)
        for row, item in enumerate(items):
            for column, clip in enumerate(item):
                start[row, column], length[row, column] = clip.start, clip.length
        start, length = start.to(self.device), length.to(self.device)
        one_pace = self.uniform(SLOWEST, FASTEST, count, 1)
        pace = (one_pace * self.uniform(0.97, 1.03, count, most)).double()
        pauses = self.uniform(0.02, 0.8, count, most + 1) * self.uniform(0.1, 1, count, most + 1)
        if self.chance(WAIT_SHARE, 1).item():
            pauses[:, 0] += self.uniform(0, WAIT_SECONDS, count)
        if clean:
            pace = torch.ones_like(pace)
            pauses = torch.full_like(pauses, 0.3)
        gap = pauses.double() * RATE_HZ
        spoken = torch.where(length > 0, (length - 1).clamp_min(0) / pace, 0)
        ends = (gap[:, :most] + spoken).cumsum(1)
        begins = (ends - spoken).floor()
        samples = int((ends[:, -1] + gap[:, -1]).max().item()) + 1
        # A length from a short list lets the device reuse its transform plans and memory.
        samples = math.ceil(samples / 8000) * 8000
        clock = torch.arange(samples, device=self.device, dtype=torch.float64)
        sound = torch.zeros(count, samples, device=self.device)
        active = torch.zeros(count, samples, device=self.device)
        for column in range(most):
            place = (clock - begins[:, column, None]) * pace[:, column, None]
            inside = (place >= 0) & (place < length[:, column, None] - 1)
            level = 10 ** (self.uniform(-3, 3, count, 1) * (0 if clean else 1) / 20)
            sound += (
                self._read(start[:, column, None], length[:, column, None], place) * inside * level
            )
            active += inside
        return sound, active

    def _read(self, start: Tensor, length: Tensor, place: Tensor) -> Tensor:
        """Interpolate the pool at fractional places with a windowed sinc."""
        whole = place.floor()
        part = (place - whole).float()
        value = torch.zeros_like(part)
        for tap in range(1 - TAPS // 2, TAPS // 2 + 1):
            at = whole + tap
            known = (at >= 0) & (at < length)
            index = (start + at).clamp(0, len(self.pool) - 1).long()
            distance = tap - part
            window = torch.cos(math.pi / 2 * distance / (TAPS / 2 + 0.01)).clamp_min(0).square()
            value += self.pool[index].float() * known * torch.sinc(distance) * window
        return value / 32768

    def _colour(self, count: int, size: int, spread_db: float = 5.0) -> Tensor:
        """Draw a smooth tone colour (gain by frequency) for each item."""
        bands = 9
        gains = self.normal(count, 1, bands) * spread_db * 0.6
        tilt = (
            torch.linspace(-1, 1, bands, device=self.device) * self.normal(count, 1, 1) * spread_db
        )
        hertz = torch.arange(size // 2 + 1, device=self.device) * (RATE_HZ / size)
        octave = torch.log2(hertz.clamp_min(60) / 60) / math.log2(8000 / 60) * (bands - 1)
        low = octave.floor().clamp(0, bands - 2).long()
        share = octave - low
        curve = gains + tilt
        level_db = curve[:, 0, low] * (1 - share) + curve[:, 0, low + 1] * share
        return 10 ** (level_db / 20)

    def _echo(self, count: int) -> Tensor:
        """Draw room responses: a direct sound and a decaying tail."""
        length = int(ECHO_SECONDS * RATE_HZ)
        seconds = torch.arange(length, device=self.device) / RATE_HZ
        decay = self.uniform(0.05, 0.6, count, 1)
        tail = self.normal(count, length) * 10 ** (-3 * seconds / decay)
        tail = tail * (seconds > self.uniform(0.001, 0.02, count, 1))
        tail = tail / tail.square().sum(1, keepdim=True).sqrt().clamp_min(1e-6)
        direct_to_tail_db = self.uniform(-2, 18, count, 1)
        tail = tail * 10 ** (-direct_to_tail_db / 20) * self.chance(ECHO_SHARE, count)[:, None]
        tail[:, 0] += 1
        return tail

    def _noise(self, count: int, samples: int, snr_db: Tensor) -> Tensor:
        """Draw noise of one kind an item, against speech of level 1."""
        names = [name for name, _ in NOISES]
        weights = torch.tensor([weight for _, weight in NOISES], device=self.device)
        kind = torch.multinomial(weights, count, replacement=True, generator=self.generator)
        makers = {
            "hum": self._hum,
            "babble": self._babble,
            "impacts": self._impacts,
            "music": self._tones,
            "chords": self._chords,
            "song": self._song,
            "gym": self._gym,
            "beeps": self._beeps,
            "breath": self.breath,
            "rustle": self.rustle,
        }
        noise = self._coloured(count, samples)
        for name, make in makers.items():
            rows = (kind == names.index(name)).nonzero()[:, 0]
            if len(rows):
                noise[rows] = make(len(rows), samples)
        level = noise.square().mean(1).sqrt().clamp_min(1e-6)
        noise = noise / level[:, None] * (10 ** (-snr_db / 20))[:, None]
        swell = self._swell(count, samples)
        floor_db = self.uniform(-70, -35, count)
        hiss = self.normal(count, samples) * (10 ** (floor_db / 20))[:, None]
        return (noise * swell + hiss) * (kind != names.index("none")).float()[:, None]

    def _coloured(self, count: int, samples: int) -> Tensor:
        """Noise from white over pink to brown."""
        spectrum = torch.fft.rfft(self.normal(count, samples))
        bins = torch.arange(spectrum.shape[1], device=self.device)
        hertz = (bins * (RATE_HZ / samples)).clamp_min(30) / 1000
        return torch.fft.irfft(spectrum * hertz ** -self.uniform(0, 1.1, count, 1), samples)

    def _swell(self, count: int, samples: int) -> Tensor:
        """Slow changes of the noise level, for four items in ten."""
        knots = (
            self.normal(count, 1, 2 + samples // 6000) * 5 * self.chance(0.4, count)[:, None, None]
        )
        curve = torch.nn.functional.interpolate(knots, samples, mode="linear", align_corners=True)
        return 10 ** (curve[:, 0] / 20)

    def _hum(self, count: int, samples: int) -> Tensor:
        """Mains hum and machine tones with their harmonics."""
        seconds = torch.arange(samples, device=self.device) / RATE_HZ
        mains = torch.where(self.chance(0.5, count) > 0, 50.0, 60.0)
        base = torch.where(self.chance(0.6, count) > 0, mains, self.uniform(70, 400, count))[
            :, None
        ]
        sound = 0.03 * self._coloured(count, samples)
        for harmonic in range(1, 9):
            phase = 2 * math.pi * (base * harmonic * seconds + self.uniform(0, 1, count, 1))
            sound = sound + torch.sin(phase) * self.uniform(0, 1, count, 1) / harmonic
        return sound

    def _babble(self, count: int, samples: int) -> Tensor:
        """Three to eight other places of the corpus at once, each at its own level and pace."""
        clock = torch.arange(samples, device=self.device, dtype=torch.float64)
        last = max(1, len(self.pool) - int(samples * FASTEST) - 2)
        people = self.draws(3, 9, count, 1)
        sound = torch.zeros(count, samples, device=self.device)
        for number in range(8):
            start = (self.uniform(0, 1, count, 1).double() * last).floor()
            place = start + clock * self.uniform(SLOWEST, FASTEST, count, 1).double()
            index = place.long().clamp_max(len(self.pool) - 2)
            part = (place - index).float()
            heard = self.pool[index].float() * (1 - part) + self.pool[index + 1].float() * part
            sound += heard * self.uniform(0.4, 1, count, 1) * (number < people)
        return sound / 32768

    def _gym(self, count: int, samples: int) -> Tensor:
        """Music with a beat, weights set down and a few people, all at once."""
        clock = torch.arange(samples, device=self.device) / RATE_HZ
        period = 60 / self.uniform(90, 150, count, 1)
        since = (clock + self.uniform(0, 1, count, 1)).remainder(1e9) % period
        thump = torch.sin(2 * math.pi * self.uniform(45, 90, count, 1) * since)
        beat = thump * torch.exp(-since / 0.08) + 0.3 * self._coloured(count, samples) * torch.exp(
            -((since + period / 2) % period) / 0.03
        )
        tune = (self._tones, self._chords, self._song)[int(self.uniform(0, 3, 1))]
        parts = (tune(count, samples), self._impacts(count, samples), beat)
        sound = torch.zeros(count, samples, device=self.device)
        for part in (*parts, self._babble(count, samples)):
            level = part.square().mean(1, keepdim=True).sqrt().clamp_min(1e-6)
            sound += part / level * self.uniform(0.1, 1, count, 1)
        return sound

    def breath(self, count: int, samples: int) -> Tensor:
        """Somebody breathing at the microphone: noise through three wide resonances, in and out."""
        clock = torch.arange(samples, device=self.device) / RATE_HZ
        turn = clock / self.uniform(1.2, 4, count, 1) + self.uniform(0, 1, count, 1)
        swell = torch.sin(2 * math.pi * turn).clamp_min(0) ** self.uniform(0.6, 2.5, count, 1)
        spectrum = torch.fft.rfft(self.normal(count, samples))
        hertz = torch.arange(spectrum.shape[1], device=self.device) * (RATE_HZ / samples)
        gain = 0.05
        for low, high, width in ((400, 900, 250), (1100, 2000, 350), (2300, 3500, 500)):
            peak = self.uniform(low, high, count, 1)
            gain = gain + 1 / (1 + ((hertz - peak) / width).square())
        return torch.fft.irfft(spectrum * gain, samples) * swell

    def rustle(self, count: int, samples: int) -> Tensor:
        """Cloth against the microphone: crackles in bursts, each with its own tone colour."""
        clock = torch.arange(samples, device=self.device) / RATE_HZ
        rate = 10 ** self.uniform(1.2, 2.2, count, 1)
        hits = (self.uniform(0, 1, count, samples) < rate / RATE_HZ) * self.normal(count, samples)
        decay = torch.fft.rfft(torch.exp(-clock / 10 ** self.uniform(-2.9, -1.7, count, 1)))
        crackle = torch.fft.irfft(torch.fft.rfft(hits.abs()) * decay, samples)
        bursts = self.normal(count, 1, 2 + samples // 5000)
        bursts = torch.nn.functional.interpolate(bursts, samples, mode="linear")[:, 0]
        spectrum = torch.fft.rfft(self.normal(count, samples))
        hertz = torch.arange(spectrum.shape[1], device=self.device) * (RATE_HZ / samples)
        bottom = self.uniform(150, 1500, count, 1)
        bright = (hertz.clamp_min(30) / 1000) ** self.uniform(-0.8, 0.4, count, 1)
        noise = torch.fft.irfft(spectrum * bright * torch.sigmoid((hertz - bottom) / 100), samples)
        return noise * crackle * (bursts + self.uniform(-0.3, 0.6, count, 1)).clamp(0, 1)

    def _beeps(self, count: int, samples: int) -> Tensor:
        """Timers and telephones: single tones, some gliding, some with an overtone."""
        clock = torch.arange(samples, device=self.device) / RATE_HZ
        sound = 0.02 * self._coloured(count, samples)
        for _ in range(3):
            since = clock - self.uniform(0, samples / RATE_HZ, count, 1)
            lasts = self.uniform(0.05, 0.6, count, 1)
            inside = ((since >= 0) & (since < lasts)).float()
            edge = (torch.minimum(since, lasts - since) / 0.004).clamp(0, 1)
            hertz = 10 ** self.uniform(2.3, 3.55, count, 1)
            glide = 1 + self.chance(0.3, count)[:, None] * self.uniform(-0.4, 0.4, count, 1) * since
            phase = 2 * math.pi * hertz * since * glide
            tone = torch.sin(phase) + self.uniform(0, 0.5, count, 1) * torch.sin(2 * phase)
            sound += tone * inside * edge * self.uniform(0.3, 1, count, 1)
        return sound

    def _impacts(self, count: int, samples: int) -> Tensor:
        """Knocks and clicks: short bursts that die away, over faint coloured noise."""
        sound = 0.05 * self._coloured(count, samples)
        clock = torch.arange(samples, device=self.device) / RATE_HZ
        for _ in range(4):
            since = clock - self.uniform(0, samples / RATE_HZ, count, 1)
            decay = 10 ** self.uniform(-2.6, -1.0, count, 1)
            envelope = torch.exp(-since.clamp_min(0) / decay) * (since >= 0)
            ring = torch.sin(2 * math.pi * self.uniform(80, 3000, count, 1) * since)
            burst = ring * self.uniform(0, 1, count, 1) + self._coloured(count, samples) * 0.7
            sound = sound + envelope * burst * self.uniform(0.2, 1, count, 1)
        return sound

    def _tones(self, count: int, samples: int) -> Tensor:
        """Something like music: two lines of notes with harmonics."""
        clock = torch.arange(samples, device=self.device) / RATE_HZ
        sound = 0.03 * self._coloured(count, samples)
        for _ in range(2):
            beat = self.uniform(0.12, 0.6, count, 1)
            step = (clock / beat).floor().long()
            notes = self.draws(-14, 22, count, int(step.max().item()) + 1)
            hertz = 220 * 2 ** (notes.gather(1, step).float() / 12)
            phase = 2 * math.pi * (hertz / RATE_HZ).double().cumsum(1).float()
            fade = torch.exp(-(clock - step * beat) / self.uniform(0.05, 0.6, count, 1))
            for harmonic in range(1, 5):
                sound = (
                    sound
                    + torch.sin(phase * harmonic) * fade * self.uniform(0, 1, count, 1) / harmonic
                )
        return sound

    def _chords(self, count: int, samples: int) -> Tensor:
        """Four notes struck together and left to ring, over a drum."""
        clock = torch.arange(samples, device=self.device) / RATE_HZ
        period = self.uniform(0.25, 1.2, count, 1)
        struck = (clock / period).floor().long()
        since = clock - struck * period
        steps = int(struck.max().item()) + 1
        root = self.draws(-16, 10, count, steps)
        ring = torch.exp(-since / 10 ** self.uniform(-1.0, 0.2, count, 1))
        sound = torch.zeros(count, samples, device=self.device)
        for low, high in ((0, 1), (3, 6), (7, 9), (10, 13)):
            note = (root + self.draws(low, high, count, steps)).gather(1, struck)
            phase = 2 * math.pi * (220 * 2 ** (note.float() / 12) / RATE_HZ).double().cumsum(1)
            phase = (phase % (2 * math.pi)).float()
            bright = self.uniform(0.5, 1.6, count, 1)
            for harmonic in range(1, 8):
                wave = torch.sin(harmonic * phase + self.uniform(0, 6.3, count, 1))
                sound += wave * ring * harmonic**-bright
        drum = torch.exp(-since / 0.04) * self._coloured(count, samples)
        thump = torch.sin(2 * math.pi * self.uniform(45, 80, count, 1) * since)
        kick = torch.exp(-since / 0.1) * thump
        return sound / 3 + (drum + 3 * kick) * self.uniform(0, 1, count, 1)

    def _song(self, count: int, samples: int) -> Tensor:
        """Somebody singing vowels: gliding notes with vibrato, three resonances that move."""
        clock = torch.arange(samples, device=self.device) / RATE_HZ
        period = self.uniform(0.2, 0.9, count, 1)
        sung = (clock / period).floor().long()
        steps = int(sung.max().item()) + 1
        octave = self.uniform(110, 300, count, 1)
        notes = self.draws(-5, 8, count, steps + 1).float()
        note, last = notes.gather(1, sung + 1), notes.gather(1, sung)
        glide = torch.exp(-(clock - sung * period) / self.uniform(0.01, 0.08, count, 1))
        note = note + (last - note) * glide
        shake = 0.3 * torch.sin(2 * math.pi * self.uniform(4, 7, count, 1) * clock)
        hertz = octave * 2 ** ((note + shake * self.uniform(0, 1, count, 1)) / 12)
        phase = (2 * math.pi * (hertz / RATE_HZ).double().cumsum(1) % (2 * math.pi)).float()
        sound = torch.zeros(count, samples, device=self.device)
        peaks = [
            self.uniform(low, high, count, steps).gather(1, sung)
            for low, high in ((280, 850), (800, 2400), (2300, 3300))
        ]
        for harmonic in range(1, 17):
            at = hertz * harmonic
            gain = sum(1 / (1 + ((at - peak) / 120).square()) for peak in peaks)
            sound += torch.sin(phase * harmonic) * (0.02 + gain) * (at < 4500) / harmonic**0.5
        voiced = (self.draws(0, 5, count, steps) > 0).gather(1, sung).float()
        beside = self._chords(count, samples) * self.uniform(0, 0.4, count, 1)
        return sound * voiced + beside

    def _banded(self, sound: Tensor) -> Tensor:
        """Cut some items to a telephone's or headset's band; roll others off gently."""
        count, samples = sound.shape
        hertz = torch.arange(samples // 2 + 1, device=self.device) * (RATE_HZ / samples)
        narrow = self.chance(TELEPHONE_SHARE, count)[:, None]
        top = torch.where(
            self.chance(0.5, count) > 0,
            self.uniform(3300, 3500, count),
            self.uniform(3700, 4000, count),
        )
        top = torch.where(narrow > 0, top[:, None], self.uniform(5500, 12000, count, 1))
        bottom = self.uniform(50, 320, count, 1) * self.chance(0.5, count)[:, None]
        gain = torch.sigmoid((top - hertz) / (0.01 * top)) * torch.sigmoid((hertz - bottom) / 25)
        return torch.fft.irfft(torch.fft.rfft(sound) * gain, samples)
