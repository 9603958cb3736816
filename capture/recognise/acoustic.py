"""The acoustic model: from the trained arrays to the file that Kaldi reads.

`read_network(path)` reads acoustic.npz and checks it; `model_bytes(network)` is the content of
am/final.mdl in Kaldi's binary form: a transition model, a network of type nnet3, and priors.

The layout follows Kaldi's `HmmTopology::Write`, `TransitionModel::Write`, `Nnet::Write` and
`AmNnetSimple::Write`. A token is ASCII followed by a space; an int32 or float32 has its size in
bytes before it; a vector is ``FV``, its length and data; a matrix is ``FM``, rows, columns, data.
"""

import io
import json
import math
import struct
import zipfile
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from capture.errors import CaptureError
from capture.recognise.phones import PDF_COUNT, PHONE_COUNT, pdf_id

FEATURE_COUNT = 40
"""Cepstra in one frame of features; must equal ``--num-ceps`` in conf/mfcc.conf."""

Floats = npt.NDArray[np.float32]


class ModelError(CaptureError):
    """A model is missing, incomplete or not one that we can use."""


@dataclass(frozen=True, slots=True)
class Layer:
    """One affine layer: `weight` (out, in x offsets), `bias` (out), perhaps cut off at zero.

    `offsets` are frames of 10 ms before and after; their inputs are joined in this order.
    """

    offsets: tuple[int, ...]
    weight: Floats
    bias: Floats
    relu: bool


@dataclass(frozen=True, slots=True)
class Network:
    """The trained layers; the last gives one score per phone.

    With `priors` (probabilities of the phones in training) the scores are normalised and divided
    by them; without, they are used as they are. `meta` tells how it was trained.
    """

    layers: tuple[Layer, ...]
    priors: Floats | None = None
    meta: dict[str, object] = field(default_factory=dict)


def read_network(path: Path) -> Network:
    """Read acoustic.npz; ModelError when it is missing, damaged or of another shape."""
    hint = "Take the file as training wrote it."
    try:
        with path.open("rb") as file, np.load(file, allow_pickle=False) as arrays:
            network = _network(arrays)
    except FileNotFoundError:
        raise ModelError(f"There is no acoustic model at {path}.", "Train it first.") from None
    except KeyError as error:
        raise ModelError(f"{path.name} lacks an array: {error.args[0]}.", hint) from None
    except (OSError, ValueError, EOFError, zipfile.BadZipFile) as error:
        raise ModelError(f"{path.name} cannot be read: {error}.", hint) from None
    check_network(network, path.name)
    return network


def _network(arrays: "np.lib.npyio.NpzFile") -> Network:
    layers = tuple(
        Layer(
            tuple(int(offset) for offset in np.atleast_1d(arrays[f"offsets_{n}"])),
            np.asarray(arrays[f"weight_{n}"], "<f4"),
            np.asarray(arrays[f"bias_{n}"], "<f4"),
            bool(arrays[f"relu_{n}"]),
        )
        for n in range(int(arrays["count"]))
    )
    priors = np.asarray(arrays["priors"], "<f4") if "priors" in arrays else None
    meta = json.loads(str(arrays["meta"])) if "meta" in arrays else {}
    return Network(layers, priors, meta if isinstance(meta, dict) else {"note": meta})


def check_network(network: Network, name: str = "acoustic.npz") -> None:
    """Raise ModelError unless the layers fit each other, our features and our phones."""

    def refuse(why: str) -> ModelError:
        return ModelError(f"{name} does not fit: {why}.", "Take the file as training wrote it.")

    if not network.layers:
        raise refuse("it has no layers")
    width = FEATURE_COUNT
    for number, layer in enumerate(network.layers):
        expected = width * len(layer.offsets)
        if layer.weight.ndim != 2 or layer.weight.shape[1] != expected:
            raise refuse(f"layer {number} takes {layer.weight.shape}, not (any, {expected})")
        if layer.bias.shape != layer.weight.shape[:1]:
            raise refuse(f"layer {number} has {layer.bias.shape} biases")
        if list(layer.offsets) != sorted(set(layer.offsets)):
            raise refuse(f"the offsets of layer {number} are not in ascending order")
        if not (np.isfinite(layer.weight).all() and np.isfinite(layer.bias).all()):
            raise refuse(f"layer {number} has a weight that is not a number")
        width = layer.weight.shape[0]
    if width != PDF_COUNT:
        raise refuse(f"the last layer gives {width} scores, not {PDF_COUNT}")
    priors = network.priors
    if priors is not None and (priors.shape != (PDF_COUNT,) or not (priors > 0).all()):
        raise refuse(f"priors must be {PDF_COUNT} positive numbers")


def model_bytes(network: Network) -> bytes:
    """The content of am/final.mdl."""
    check_network(network, "the network")
    out = _Writer()
    _write_transitions(out)
    _write_nnet(out, network)
    # Context widths are written as 0: they are computed anew when the file is read.
    out.token("<LeftContext>").integer(0).token("<RightContext>").integer(0)
    out.token("<Priors>").vector(np.empty(0) if network.priors is None else network.priors)
    return out.content()


STEPS = 65_535
"""Steps from the least weight of a matrix to the greatest, as the file holds them."""

_LEAST_SPAN = 1e-30


class _Writer:
    """Kaldi's basic types, binary."""

    def __init__(self) -> None:
        self._out = io.BytesIO()
        self._out.write(b"\0B")

    def content(self) -> bytes:
        return self._out.getvalue()

    def text(self, text: str) -> "_Writer":
        self._out.write(text.encode("ascii"))
        return self

    def token(self, token: str) -> "_Writer":
        return self.text(token + " ")

    def integer(self, value: int) -> "_Writer":
        self._out.write(struct.pack("<bi", 4, value))
        return self

    def real(self, value: float) -> "_Writer":
        self._out.write(struct.pack("<bf", 4, value))
        return self

    def integers(self, values: list[int]) -> "_Writer":
        self._out.write(struct.pack(f"<bi{len(values)}i", 4, len(values), *values))
        return self

    def vector(self, values: npt.ArrayLike) -> "_Writer":
        data = np.ascontiguousarray(values, "<f4")
        self.token("FV").integer(data.shape[0])
        self._out.write(data.tobytes())
        return self

    def matrix(self, values: Floats) -> "_Writer":
        """Two bytes a number: its place between the least and the greatest of the matrix.

        Half the size of the numbers themselves; of scores up to 17 none moves by more than 0.02.
        """
        low, span = np.float32(values.min()), np.float32(np.ptp(values))
        places = (values.astype(np.float64) - low) / max(float(span), _LEAST_SPAN)
        self.token("CM2")
        self._out.write(struct.pack("<ffii", low, span, *values.shape))
        self._out.write(np.rint(places * STEPS).clip(0, STEPS).astype("<u2").tobytes())
        return self


def _write_transitions(out: _Writer) -> None:
    """One emitting state a phone, which it stays in or leaves with equal probability."""
    phones = list(range(1, PHONE_COUNT + 1))
    out.token("<TransitionModel>").token("<Topology>")
    out.integers(phones).integers([-1, *[0] * PHONE_COUNT]).integer(1)
    out.integer(2)
    out.integer(0).integer(2).integer(0).real(0.5).integer(1).real(0.5)
    out.integer(-1).integer(0)
    out.token("</Topology>").token("<Triples>").integer(PHONE_COUNT)
    for phone in phones:
        out.integer(phone).integer(0).integer(pdf_id(phone))
    out.token("</Triples>").token("<LogProbs>")
    out.vector([0.0, *[math.log(0.5)] * (2 * PHONE_COUNT)])
    out.token("</LogProbs>").token("</TransitionModel>")


def _write_nnet(out: _Writer, network: Network) -> None:
    wiring = [f"input-node name=input dim={FEATURE_COUNT}"]
    source = "input"

    def node(name: str, inputs: str) -> str:
        wiring.append(f"component-node name={name} component={name} input={inputs}")
        return name

    for number, layer in enumerate(network.layers):
        source = node(f"affine{number}", _joined(source, layer.offsets))
        if layer.relu:
            source = node(f"relu{number}", source)
    if network.priors is not None:
        source = node("logsoftmax", source)
    wiring.append(f"output-node name=output input={source} objective=linear")

    out.token("<Nnet3>").text("\n" + "\n".join(wiring) + "\n\n")
    out.token("<NumComponents>").integer(len(wiring) - 2)
    for number, layer in enumerate(network.layers):
        out.token("<ComponentName>").token(f"affine{number}").token("<FixedAffineComponent>")
        out.token("<LinearParams>").matrix(layer.weight)
        out.token("<BiasParams>").vector(layer.bias).token("</FixedAffineComponent>")
        if layer.relu:
            _write_nonlinearity(out, f"relu{number}", "RectifiedLinear", len(layer.bias))
    if network.priors is not None:
        _write_nonlinearity(out, "logsoftmax", "LogSoftmax", PDF_COUNT)
    out.token("</Nnet3>")


def _joined(source: str, offsets: tuple[int, ...]) -> str:
    parts = [source if offset == 0 else f"Offset({source}, {offset})" for offset in offsets]
    return parts[0] if len(parts) == 1 else f"Append({', '.join(parts)})"


def _write_nonlinearity(out: _Writer, name: str, kind: str, size: int) -> None:
    out.token("<ComponentName>").token(name).token(f"<{kind}Component>")
    out.token("<Dim>").integer(size)
    out.token("<ValueAvg>").vector([]).token("<DerivAvg>").vector([])
    out.token("<Count>").real(0.0).token(f"</{kind}Component>")
