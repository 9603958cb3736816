"""The network: a stack of affine layers over spliced frames, each with batch norm and ReLU."""

from pathlib import Path
from typing import Any

import numpy as np
import torch
from torch import Tensor, nn

from capture.recognise.acoustic import Layer
from capture.recognise.acoustic import Network as Layers
from capture.training.features import CEPSTRA
from capture.training.lexicon import PDF_COUNT
from capture.training.model_file import write

LAYERS = (
    ((-2, -1, 0, 1, 2), 1),
    ((-1, 0, 1), 3),
    ((-3, 0, 3), 1),
    ((-6, 0, 6), 1),
    ((-9, 0, 9), 1),
    ((-12, 0, 12), 1),
)
"""Offsets of each hidden layer in 10 ms frames, and by how much its output is thinned out."""

CONTEXT = sum(offsets[-1] for offsets, _ in LAYERS)
"""Frames that the network looks back and ahead: 33, so 0.33 s."""

SUBSAMPLING = 3


class Network(nn.Module):  # type: ignore[misc]
    """Cepstra (batch, frames, 40) to scores (batch, ceil(frames / 3), 40)."""

    mean: Tensor
    spread: Tensor

    def __init__(self, width: int) -> None:
        super().__init__()
        self.register_buffer("mean", torch.zeros(CEPSTRA))
        self.register_buffer("spread", torch.ones(CEPSTRA))
        self.affines = nn.ModuleList()
        self.norms = nn.ModuleList()
        inputs, rate = CEPSTRA, 1
        for offsets, thinning in LAYERS:
            dilation = (offsets[1] - offsets[0]) // rate
            self.affines.append(nn.Conv1d(inputs, width, len(offsets), thinning, dilation=dilation))
            self.norms.append(nn.BatchNorm1d(width))
            inputs, rate = width, rate * thinning
        self.dropout = nn.Dropout(0.0)  # the trainer says how much
        self.output = nn.Conv1d(width, PDF_COUNT, 1)

    def forward(self, cepstra: Tensor) -> Tensor:
        """Score the frames; the first and last are repeated as context, as the decoder does."""
        hidden = self.spliced(cepstra)
        for affine, norm in zip(self.affines, self.norms, strict=True):
            hidden = self.dropout(torch.relu(norm(affine(hidden))))
        return self.output(hidden).transpose(1, 2)

    def spliced(self, cepstra: Tensor) -> Tensor:
        """Normalise the frames and add what the network sees beyond them: (batch, 40, frames)."""
        frames = cepstra.shape[1]
        outputs = (frames + SUBSAMPLING - 1) // SUBSAMPLING
        last = SUBSAMPLING * (outputs - 1) + CONTEXT
        places = torch.arange(-CONTEXT, last + 1, device=cepstra.device).clamp(0, frames - 1)
        return ((cepstra - self.mean) / self.spread)[:, places].transpose(1, 2)

    def parameter_count(self) -> int:
        """Count the numbers that the exported network holds, about."""
        return sum(parameter.numel() for parameter in self.parameters())


def folded_layers(network: Network) -> list[tuple[tuple[int, ...], np.ndarray, np.ndarray, bool]]:
    """Give offsets, weights (out, in * offsets), biases and ReLU of each layer, norms folded in."""
    layers = []
    mean, spread = network.mean.double(), network.spread.double()
    for index, ((offsets, _), affine, norm) in enumerate(
        zip(LAYERS, network.affines, network.norms, strict=True)
    ):
        weight = affine.weight.detach().double()
        bias = affine.bias.detach().double()
        if index == 0:
            weight = weight / spread[:, None]
            bias = bias - (weight * mean[:, None]).sum((1, 2))
        gain = norm.weight.detach().double() / (norm.running_var.double() + norm.eps).sqrt()
        bias = (bias - norm.running_mean.double()) * gain + norm.bias.detach().double()
        weight = weight * gain[:, None, None]
        layers.append((offsets, _appended(weight), bias.float().cpu().numpy(), True))
    output = network.output
    layers.append(
        (
            (0,),
            _appended(output.weight.detach().double()),
            output.bias.detach().float().cpu().numpy(),
            False,
        )
    )
    return layers


def _appended(weight: Tensor) -> np.ndarray:
    """Order a convolution's weights the way that appended frames lie: frame by frame."""
    spliced = weight.permute(0, 2, 1).reshape(len(weight), -1)
    return np.asarray(spliced.float().cpu().numpy())


def exported(network: Network) -> Layers:
    """Give the layers that the model writer needs."""
    return Layers(tuple(Layer(*parts) for parts in folded_layers(network)))


def save_export(network: Network, path: Path, facts: dict[str, Any]) -> None:
    """Write the network as the plain arrays that the model writer reads."""
    write(exported(network), path, facts)


def score_with_export(arrays: Any, cepstra: np.ndarray) -> np.ndarray:
    """Score cepstra (frames, 40) with exported arrays alone: what the decoder must compute."""
    count = int(arrays["count"])
    steps = len(cepstra)
    outputs = np.arange(0, steps, SUBSAMPLING)
    places = np.clip(np.arange(-CONTEXT, steps + CONTEXT), 0, steps - 1)
    data, first = np.asarray(cepstra[places], np.float64), -CONTEXT
    for index in range(count):
        offsets = arrays[f"offsets_{index}"]
        low, high = int(offsets[0]), int(offsets[-1])
        length = len(data) - (high - low)
        spliced = np.concatenate(
            [data[offset - low : offset - low + length] for offset in offsets], 1
        )
        data = spliced @ arrays[f"weight_{index}"].T.astype(np.float64) + arrays[f"bias_{index}"]
        if arrays[f"relu_{index}"]:
            data = np.maximum(data, 0)
        first -= low
    return data[outputs - first]
