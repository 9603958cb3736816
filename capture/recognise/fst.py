"""Writes a graph in OpenFst's binary form, so that the decoder can read it.

The layout is that of OpenFst's `FstHeader` and `VectorFst` (fst.h, vector-fst.h), type "vector",
arcs "standard", version 2, always little-endian: a header; then for each state its final weight
and its arcs. A weight is a cost, -ln(probability); an infinite final weight means: not final.
"""

import math
import struct
import sys
from array import array
from collections.abc import Mapping, Sequence
from itertools import accumulate
from typing import NamedTuple

_MAGIC = 2125659606
_VERSION = 2
_EXPANDED_AND_MUTABLE = 0x3
_HEADER_END = struct.Struct("<iiQqqq")
_STATE = struct.Struct("<fq")
_ARC_BYTES = 16


class FstArc(NamedTuple):
    """One arc: consumes label `input`, emits label `output` (0: nothing), costs `cost`."""

    source: int
    input: int
    output: int
    cost: float
    target: int


def fst_bytes(start: int, arcs: Sequence[FstArc], finals: Mapping[int, float]) -> bytes:
    """Serialise a graph; states are 0 to the largest number that occurs.

    `finals` gives the cost of ending in a state. ValueError for a negative state number.
    """
    ordered = sorted(arcs, key=_source)
    columns = tuple(zip(*ordered, strict=True)) if ordered else ((), (), (), (), ())
    sources, inputs, outputs, costs, targets = columns
    numbers = (start, *finals, *sources, *targets)
    if min(numbers) < 0:
        raise ValueError("a state has a negative number")
    count = 1 + max(numbers)
    body = _arc_bytes(inputs, outputs, costs, targets)
    per_state = [0] * count
    for source in sources:
        per_state[source] += 1
    ends = list(accumulate(per_state))
    pieces = [_header(start, count, len(ordered))]
    for state, (size, end) in enumerate(zip(per_state, ends, strict=True)):
        pieces.append(_STATE.pack(finals.get(state, math.inf), size))
        if size:
            pieces.append(body[(end - size) * _ARC_BYTES : end * _ARC_BYTES])
    return b"".join(pieces)


def _source(arc: FstArc) -> int:
    return arc[0]


def _arc_bytes(
    inputs: Sequence[int], outputs: Sequence[int], costs: Sequence[float], targets: Sequence[int]
) -> bytes:
    """All arcs after each other: input, output and target as int32, the cost as float32."""
    if array("i").itemsize != 4:
        raise NotImplementedError("this platform has no 32-bit int")
    rows = array("i", bytes(_ARC_BYTES * len(inputs)))
    rows[0::4] = array("i", inputs)
    rows[1::4] = array("i", outputs)
    rows[2::4] = array("i", array("f", costs).tobytes())
    rows[3::4] = array("i", targets)
    if sys.byteorder == "big":
        rows.byteswap()
    return rows.tobytes()


def _header(start: int, states: int, arcs: int) -> bytes:
    kinds = b"".join(struct.pack("<i", len(kind)) + kind for kind in (b"vector", b"standard"))
    end = _HEADER_END.pack(_VERSION, 0, _EXPANDED_AND_MUTABLE, start, states, arcs)
    return struct.pack("<i", _MAGIC) + kinds + end
