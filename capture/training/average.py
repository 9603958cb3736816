"""The mean of networks that were trained on from one another.

Each knows something that the others lost: one the quiet, another the music. Their mean hears a
little of both, at the cost of one. It works only among relatives, whose units still do the same.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from capture.recognise.acoustic import Layer, Network
from capture.training.lexicon import SILENCE_PDF


def at_scale_of(network: Network, model: Network) -> Network:
    """Give the same network with each hidden unit's weights as large as those of *model*.

    A unit that is cut off at zero may be made larger if whoever hears it makes it smaller again.
    ValueError if the two have different layers, or a hidden one that is not cut off at zero.
    """
    if [_shape(layer) for layer in network.layers] != [_shape(layer) for layer in model.layers]:
        raise ValueError("networks of different shapes have no mean")
    if not all(layer.relu for layer in network.layers[:-1]):
        raise ValueError("a hidden layer is not cut off at zero")
    layers = list(network.layers)
    for index, other in enumerate(model.layers[:-1]):
        layer, heard = layers[index], layers[index + 1]
        scale = _sizes(other) / np.maximum(_sizes(layer), 1e-12)
        layers[index] = replace(
            layer, weight=layer.weight * scale[:, None], bias=layer.bias * scale
        )
        spliced = np.tile(scale, len(heard.offsets))
        layers[index + 1] = replace(heard, weight=heard.weight / spliced)
    return replace(network, layers=tuple(layers))


def mean(networks: Sequence[Network]) -> Network:
    """Give the mean of their weights, at the scale of the first."""
    scaled = [networks[0], *(at_scale_of(each, networks[0]) for each in networks[1:])]
    layers = tuple(
        replace(
            group[0],
            weight=np.mean([layer.weight for layer in group], 0, np.float64).astype("<f4"),
            bias=np.mean([layer.bias for layer in group], 0, np.float64).astype("<f4"),
        )
        for group in zip(*(each.layers for each in scaled), strict=True)
    )
    return replace(networks[0], layers=layers)


def preferring_silence(network: Network, bonus: float) -> Network:
    """Give the same network with the score of silence *bonus* higher, in each frame.

    Other people's talk is speech to a network that learned phones; scored a little more as
    silence, it is bent into fewer words of the grammar, and faint calls are asked for again.
    """
    *hidden, output = network.layers
    bias = output.bias.copy()
    bias[SILENCE_PDF] += bonus
    return replace(network, layers=(*hidden, replace(output, bias=bias)))


def _shape(layer: Layer) -> tuple[tuple[int, ...], tuple[int, ...], bool]:
    return layer.offsets, layer.weight.shape, layer.relu


def _sizes(layer: Layer) -> np.ndarray:
    return np.asarray(np.linalg.norm(layer.weight.astype(np.float64), axis=1))
