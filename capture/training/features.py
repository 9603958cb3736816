"""Kaldi's MFCC in torch, so that sound can be altered on the graphics card while training.

Equal to kaldi-native-fbank with dither 0 to within 0.001: frames of 25 ms every 10 ms,
mean removed, pre-emphasis 0.97, the "povey" window, a 512 point transform, power, 40 triangular mel
filters from 40 to 7600 Hz, logarithm, orthonormal cosine transform, lifter 22.
"""

import math
from collections.abc import Sequence

import numpy as np
import torch
from torch import Tensor

RATE_HZ = 16_000
FRAME = 400
HOP = 160
TRANSFORM = 512
CEPSTRA = 40
LOW_HZ = 40.0
HIGH_HZ = 7600.0
LIFTER = 22
KNOTS_HZ = (0.0, 500.0, 1100.0, 1900.0, 2900.0, 4500.0, 8000.0)
FLOOR = float(np.finfo(np.float32).eps)


def _mel(hz: float) -> float:
    return 1127.0 * math.log(1.0 + hz / 700.0)


def mel_filters(warp: float = 1.0) -> Tensor:
    """Give the mel filters (256 x 40); *warp* stretches a speaker's frequencies by that factor."""
    return _filters(torch.full((TRANSFORM // 2,), warp, dtype=torch.float64))


def bent_filters(stretch: Sequence[float]) -> Tensor:
    """Give the mel filters (256 x 40) with a stretch of its own at each of `KNOTS_HZ`.

    Two mouths differ in more than their length, so that a speaker's resonances lie elsewhere
    against one another. Between the knots the stretch changes evenly by mel.
    """
    mels = np.array([_mel(index * RATE_HZ / TRANSFORM) for index in range(TRANSFORM // 2)])
    warp = np.interp(mels, [_mel(hertz) for hertz in KNOTS_HZ], stretch)
    return _filters(torch.from_numpy(warp))


def _filters(warp: Tensor) -> Tensor:
    low, high = _mel(LOW_HZ), _mel(HIGH_HZ)
    step = (high - low) / (CEPSTRA + 1)
    hertz = torch.arange(TRANSFORM // 2, dtype=torch.float64) * RATE_HZ / TRANSFORM * warp
    mel = 1127.0 * torch.log1p(hertz / 700.0)
    centre = low + step * torch.arange(1, CEPSTRA + 1, dtype=torch.float64)
    return (1 - (mel[:, None] - centre).abs() / step).clamp_min(0).float()


def cosine_transform() -> Tensor:
    """Give the lifted cosine transform (40 x 40) from log mel energies to cepstra."""
    band = torch.arange(CEPSTRA, dtype=torch.float64)
    order = band[:, None]
    matrix = math.sqrt(2 / CEPSTRA) * torch.cos(math.pi / CEPSTRA * (band + 0.5) * order)
    matrix[0] = math.sqrt(1 / CEPSTRA)
    lift = 1 + 0.5 * LIFTER * torch.sin(math.pi * band / LIFTER)
    return (matrix * lift[:, None]).T.float()


class Mfcc(torch.nn.Module):  # type: ignore[misc]
    """Turn samples in 16-bit units (batch, samples) into cepstra (batch, frames, 40)."""

    window: Tensor
    filters: Tensor
    cosines: Tensor

    def __init__(self, warps: tuple[float, ...] = (1.0,), bent: Sequence[Tensor] = ()) -> None:
        super().__init__()
        hann = 0.5 - 0.5 * torch.cos(
            2 * math.pi * torch.arange(FRAME, dtype=torch.float64) / (FRAME - 1)
        )
        self.register_buffer("window", hann.pow(0.85).float())
        self.register_buffer("filters", torch.stack([*map(mel_filters, warps), *bent]))
        self.register_buffer("cosines", cosine_transform())

    def forward(
        self, samples: Tensor, warp: Tensor | None = None, hidden: Tensor | None = None
    ) -> Tensor:
        """Compute the cepstra; *warp* picks a filter set for each item of the batch.

        *hidden* (batch, 40) marks mel bands that tell nothing: they stay at their mean.
        """
        frames = samples.unfold(1, FRAME, HOP)
        frames = frames - frames.mean(2, keepdim=True)
        before = torch.cat([frames[:, :, :1], frames[:, :, :-1]], 2)
        frames = (frames - 0.97 * before) * self.window
        spectrum = torch.fft.rfft(frames, TRANSFORM)[:, :, :-1]
        power = spectrum.real.square() + spectrum.imag.square()
        filters = self.filters[:1] if warp is None else self.filters[warp]
        energies = torch.matmul(power, filters).clamp_min(FLOOR).log()
        if hidden is not None:
            energies = torch.where(hidden[:, None], energies.mean(1, keepdim=True), energies)
        return energies @ self.cosines
