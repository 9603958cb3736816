"""Going on from a model that ships: its folded layers made a network that can be trained.

The file holds affine layers into which the batch norms were folded. Here each gets a norm again,
with the mean and the spread that its values have in training sound, so that the network computes
what the file computes, and learns from there.
"""

from collections.abc import Sequence
from pathlib import Path

import torch
from torch import Tensor

from capture.training.model_file import affine_layers
from capture.training.network import LAYERS, Network

BATCHES = 8
"""Batches of training sound over which the values of a layer are measured."""

_LARGER = 2.0
"""Weights before a norm may have any size; this much larger than drawn ones, they learn evenly."""


def unfold(path: Path, network: Network, sounds: Sequence[Tensor]) -> None:
    """Make *network* compute what the model file does.

    *sounds* are batches of cepstra (batch, frames, 40) of training sound, `BATCHES` or so.
    ValueError if the file has other layers than the network.
    """
    layers = affine_layers(path.read_bytes())
    if len(layers) != len(network.affines) + 1:
        raise ValueError(f"{path.name} has {len(layers)} layers, not {len(network.affines) + 1}")
    device = sounds[0].device
    with torch.no_grad():
        frames = torch.cat([sound.flatten(0, 1) for sound in sounds])
        network.mean.copy_(frames.mean(0))
        network.spread.copy_(frames.std(0))
        hidden = [network.spliced(sound) for sound in sounds]
        for index, ((offsets, _), affine, norm) in enumerate(
            zip(LAYERS, network.affines, network.norms, strict=True)
        ):
            flat, bias = (torch.tensor(part, device=device) for part in layers[index])
            weight = flat.reshape(len(flat), len(offsets), -1).permute(0, 2, 1).contiguous()
            if weight.shape != affine.weight.shape:
                raise ValueError(f"layer {index} of {path.name} is {tuple(weight.shape)}")
            if index == 0:
                bias = bias + (weight * network.mean[:, None]).sum((1, 2))
                weight = weight * network.spread[:, None]
            scale = _LARGER * affine.weight.norm() / weight.norm()
            affine.weight.copy_(weight * scale)
            affine.bias.copy_(bias * scale)
            values = [affine(each) for each in hidden]
            pooled = torch.cat([each.transpose(1, 2).flatten(0, 1) for each in values])
            norm.running_mean.copy_(pooled.mean(0))
            norm.running_var.copy_(pooled.var(0))
            norm.weight.copy_((norm.running_var + norm.eps).sqrt() / scale)
            norm.bias.copy_(norm.running_mean / scale)
            hidden = [torch.relu(each / scale) for each in values]
        flat, bias = (torch.tensor(part, device=device) for part in layers[-1])
        network.output.weight.copy_(flat[:, :, None])
        network.output.bias.copy_(bias)
