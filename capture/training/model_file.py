"""Reading the layers of a model that ships back from its file."""

import struct
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
_WEIGHTS, _BIASES = b"<LinearParams> FM ", b"<BiasParams> FV "


def affine_layers(content: bytes) -> list[tuple[Floats, Floats]]:
    """Give weights (out, in x offsets) and biases of each affine layer of an am/final.mdl."""
    layers = []
    at = content.find(_WEIGHTS)
    while at >= 0:
        at += len(_WEIGHTS)
        rows, columns = struct.unpack_from("<xixi", content, at)
        weight = np.frombuffer(content, "<f4", rows * columns, at + 10).reshape(rows, columns)
        at = content.index(_BIASES, at + 10 + weight.nbytes) + len(_BIASES)
        (count,) = struct.unpack_from("<xi", content, at)
        layers.append((weight, np.frombuffer(content, "<f4", count, at + 5)))
        at = content.find(_WEIGHTS, at)
    return layers


def width_of(path: Path) -> int:
    """Give the units of a hidden layer of a model file."""
    return len(affine_layers(path.read_bytes())[0][1])
