"""The trained layers in their two files: acoustic.npz and the final.mdl that ships."""

import json
import struct
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from capture.recognise.acoustic import STEPS, Layer, Network, read_network

Floats = NDArray[np.float32]
Offsets = Sequence[tuple[int, ...]]
_WEIGHTS, _BIASES = b"<LinearParams> CM2 ", b"<BiasParams> FV "


def affine_layers(content: bytes) -> list[tuple[Floats, Floats]]:
    """Give weights (out, in x offsets) and biases of each affine layer of an am/final.mdl."""
    layers = []
    at = content.find(_WEIGHTS)
    while at >= 0:
        at += len(_WEIGHTS)
        low, span, rows, columns = struct.unpack_from("<ffii", content, at)
        places = np.frombuffer(content, "<u2", rows * columns, at + 16).reshape(rows, columns)
        weight = (low + span * (places / np.float64(STEPS))).astype("<f4")
        at = content.index(_BIASES, at + 16 + places.nbytes) + len(_BIASES)
        (count,) = struct.unpack_from("<xi", content, at)
        layers.append((weight, np.frombuffer(content, "<f4", count, at + 5)))
        at = content.find(_WEIGHTS, at)
    return layers


def width_of(path: Path) -> int:
    """Give the units of a hidden layer of a model file."""
    return len(affine_layers(path.read_bytes())[0][1])


def read(path: Path, offsets: Offsets) -> Network:
    """Read an acoustic.npz, or a final.mdl whose layers look at frames of these offsets."""
    if path.suffix == ".npz":
        return read_network(path)
    parts = affine_layers(path.read_bytes())
    last = len(parts) - 1
    pairs = zip(offsets, parts, strict=True)
    return Network(
        tuple(Layer(each, *part, relu=index < last) for index, (each, part) in enumerate(pairs))
    )


def write(network: Network, path: Path, facts: dict[str, Any]) -> None:
    """Write acoustic.npz, the plain arrays that the model writer reads."""
    arrays: dict[str, Any] = {"count": np.array(len(network.layers))}
    for index, layer in enumerate(network.layers):
        arrays[f"offsets_{index}"] = np.array(layer.offsets, np.int64)
        arrays[f"weight_{index}"] = layer.weight
        arrays[f"bias_{index}"] = layer.bias
        arrays[f"relu_{index}"] = np.array(int(layer.relu))
    np.savez(path, meta=np.array(json.dumps(facts)), **arrays)
