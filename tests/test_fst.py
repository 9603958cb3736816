"""The bytes of a graph, read back by a reader of its own."""

import math
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture.recognise.fst import FstArc, fst_bytes


def read_back(data: bytes) -> tuple[int, dict[int, float], list[FstArc]]:
    """Start, finite final weights and arcs of a vector graph."""
    at = 0

    def take(form: str) -> tuple:
        nonlocal at
        values = struct.unpack_from("<" + form, data, at)
        at += struct.calcsize("<" + form)
        return values

    assert take("i") == (2125659606,)
    for kind in (b"vector", b"standard"):
        (length,) = take("i")
        assert take(f"{length}s") == (kind,)
    version, flags, _properties, start, states, promised = take("iiQqqq")
    assert (version, flags) == (2, 0)
    finals, arcs = {}, []
    for state in range(states):
        weight, count = take("fq")
        if weight != math.inf:
            finals[state] = weight
        for _ in range(count):
            label, output, cost, target = take("iifi")
            arcs.append(FstArc(state, label, output, cost, target))
    assert at == len(data)
    assert promised == len(arcs)
    return start, finals, arcs


def test_one_arc_by_hand() -> None:
    """The bytes of a graph of two states are those written out by hand."""
    made = fst_bytes(0, [FstArc(0, 7, 3, 0.5, 1)], {1: 0.25})
    by_hand = (
        bytes.fromhex("d6fdb27e")  # 2125659606, the mark of an OpenFst file
        + bytes.fromhex("06000000") + b"vector"
        + bytes.fromhex("08000000") + b"standard"
        + bytes.fromhex("02000000 00000000")  # version, flags
        + bytes.fromhex("0300000000000000")  # expanded, mutable
        + bytes.fromhex("0000000000000000 0200000000000000 0100000000000000")  # start, sizes
        + bytes.fromhex("0000807f 0100000000000000")  # state 0: infinity, one arc
        + bytes.fromhex("07000000 03000000 0000003f 01000000")
        + bytes.fromhex("0000803e 0000000000000000")  # state 1: 0.25, no arc
    )  # fmt: skip
    assert made == by_hand


_states = st.integers(0, 30)
_costs = st.floats(-50, 50, width=32)
_arcs = st.builds(FstArc, _states, st.integers(0, 400), st.integers(0, 90), _costs, _states)


@given(_states, st.lists(_arcs, max_size=40), st.dictionaries(_states, _costs))
def test_every_graph_reads_back(start: int, arcs: list[FstArc], finals: dict[int, float]) -> None:
    """Whatever is written comes back, arcs in the order of their states."""
    assert read_back(fst_bytes(start, arcs, finals)) == (
        start,
        finals,
        sorted(arcs, key=lambda arc: arc.source),
    )


def test_a_negative_state_is_refused() -> None:
    """A state number below zero is a mistake of the caller."""
    with pytest.raises(ValueError, match="negative"):
        fst_bytes(0, [FstArc(0, 1, 0, 0.0, -1)], {})
