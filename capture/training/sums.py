"""Sums over all paths of small state graphs: the two halves of the training objective.

A graph is a dense matrix of transition weights between states, a weight for starting and one for
ending in each state, and the pdf of each state. The sum over all paths of the product of
transition weights and exp(score) is computed forwards; the same sum backwards gives each state's
share of each frame, which is the gradient. Both run in scaled double precision, a frame at a time
for a whole batch.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from capture.training.lexicon import PDF_COUNT, PDF_OF, SILENCE_PDF, Lexicon

STAY = 0.5
"""The weight of a state's self-loop; the decoder's transition model holds the same."""

PAUSE_SHARE = 0.25
"""Share of word boundaries at which the phone model expects silence."""

EDGE_PAUSE_SHARE = 0.7
_TINY = 1e-300


@dataclass(frozen=True, slots=True)
class Graphs:
    """A batch of graphs, or one graph for a whole batch (first dimension 1)."""

    moves: Tensor  # (batch, state, next state), float64
    starts: Tensor  # (batch, state)
    ends: Tensor  # (batch, state)
    pdfs: Tensor  # (batch, state), int64; padding states have no arcs


@dataclass(frozen=True, slots=True)
class PhoneModel:
    """Weights of one phone (or silence) after another: the denominator graph, a phone bigram."""

    starts: NDArray[np.float64]
    follows: NDArray[np.float64]


def phone_model(texts: Sequence[str], lexicon: Lexicon) -> PhoneModel:
    """Count the phone pairs of *texts*; every pair keeps a small weight."""
    counts = np.full((PDF_COUNT, PDF_COUNT), 0.5)
    starts = np.full(PDF_COUNT, 0.5)
    for text in texts:
        words = text.split()
        for position, word in enumerate(words):
            share = 1 / len(lexicon[word])
            for phones in lexicon[word]:
                pdfs = [PDF_OF[phone] for phone in phones]
                for first, second in pairwise(pdfs):
                    counts[first, second] += share
                counts[SILENCE_PDF, pdfs[0]] += share * PAUSE_SHARE
                counts[pdfs[-1], SILENCE_PDF] += share * PAUSE_SHARE
                if position == 0:
                    starts[pdfs[0]] += share * (1 - EDGE_PAUSE_SHARE)
                    starts[SILENCE_PDF] += share * EDGE_PAUSE_SHARE
                else:
                    before = lexicon[words[position - 1]]
                    for earlier in before:
                        pair = PDF_OF[earlier[-1]], pdfs[0]
                        counts[pair] += share / len(before) * (1 - PAUSE_SHARE)
    counts[SILENCE_PDF, SILENCE_PDF] = 0.5
    return PhoneModel(starts / starts.sum(), counts / counts.sum(1, keepdims=True))


def denominator(model: PhoneModel, device: torch.device) -> Graphs:
    """Give the graph of all phone sequences."""
    moves = (1 - STAY) * model.follows + STAY * np.eye(PDF_COUNT)
    return Graphs(
        torch.from_numpy(moves)[None].to(device),
        torch.from_numpy(model.starts)[None].to(device),
        torch.ones(1, PDF_COUNT, dtype=torch.float64, device=device),
        torch.arange(PDF_COUNT, device=device)[None],
    )


@dataclass(frozen=True, slots=True)
class TextGraph:
    """The states of one transcript: pdfs, arcs (from, to, weight), starts and ends."""

    pdfs: list[int]
    arcs: list[tuple[int, int, float]]
    starts: list[tuple[int, float]]
    ends: list[int]


def text_graph(text: str, lexicon: Lexicon, model: PhoneModel) -> TextGraph:
    """Lay out all pronunciations of *text* with optional silence between and around the words."""
    pdfs: list[int] = []
    arcs: list[tuple[int, int, float]] = []
    starts: list[tuple[int, float]] = []
    exits: list[int] = []
    at_start = True

    def add(pdf: int, befores: Sequence[int], from_start: bool) -> int:
        state = len(pdfs)
        pdfs.append(pdf)
        arcs.append((state, state, STAY))
        for before in befores:
            arcs.append((before, state, (1 - STAY) * float(model.follows[pdfs[before], pdf])))
        if from_start:
            starts.append((state, float(model.starts[pdf])))
        return state

    for word in text.split():
        silence = add(SILENCE_PDF, exits, at_start)
        before = [*exits, silence]
        exits = []
        for phones in lexicon[word]:
            state = add(PDF_OF[phones[0]], before, at_start)
            for phone in phones[1:]:
                state = add(PDF_OF[phone], [state], from_start=False)
            exits.append(state)
        at_start = False
    silence = add(SILENCE_PDF, exits, at_start)
    return TextGraph(pdfs, arcs, starts, [*exits, silence])


def numerators(graphs: Sequence[TextGraph], device: torch.device) -> Graphs:
    """Pad the graphs of several transcripts to one batch."""
    size = max(len(graph.pdfs) for graph in graphs)
    moves = np.zeros((len(graphs), size, size))
    starts = np.zeros((len(graphs), size))
    ends = np.zeros((len(graphs), size))
    pdfs = np.zeros((len(graphs), size), np.int64)
    for item, graph in enumerate(graphs):
        pdfs[item, : len(graph.pdfs)] = graph.pdfs
        source, target, weight = zip(*graph.arcs, strict=True)
        moves[item, source, target] = weight
        for state, start in graph.starts:
            starts[item, state] = start
        ends[item, graph.ends] = 1
    tensors = (torch.from_numpy(part).to(device) for part in (moves, starts, ends, pdfs))
    return Graphs(*tensors)


def path_sums(scores: Tensor, graphs: Graphs) -> tuple[Tensor, Tensor]:
    """Sum over all paths.

    *scores* is (batch, frames, pdfs). Returns the logarithm of the sum for each item, and each
    pdf's share of each frame, which is the derivative of that logarithm with respect to the
    scores.
    """
    batch, frames, _ = scores.shape
    pdfs = graphs.pdfs.expand(batch, -1)
    state_scores = scores.double().gather(2, pdfs[:, None].expand(-1, frames, -1))
    top = state_scores.amax(2, keepdim=True)
    likelihoods = (state_scores - top).exp()
    moves = graphs.moves
    shared = len(moves) == 1

    def step(vector: Tensor, matrix: Tensor) -> Tensor:
        return vector @ matrix[0] if shared else torch.bmm(vector[:, None], matrix)[:, 0]

    forward = graphs.starts * likelihoods[:, 0]
    forwards, scales = [], []
    for frame in range(frames):
        if frame:
            forward = step(forward, moves) * likelihoods[:, frame]
        scale = forward.sum(1, keepdim=True).clamp_min(_TINY)
        forward = forward / scale
        forwards.append(forward)
        scales.append(scale)
    ending = (forward * graphs.ends).sum(1).clamp_min(_TINY)
    total = ending.log() + torch.cat(scales, 1).log().sum(1) + top.sum((1, 2))

    back_moves = moves.transpose(1, 2).contiguous()
    backward = (graphs.ends / ending[:, None]).expand(batch, -1)
    backwards = [backward]
    for frame in range(frames - 1, 0, -1):
        backward = step(backward * likelihoods[:, frame] / scales[frame], back_moves)
        backwards.append(backward)
    shares = torch.stack(forwards, 1) * torch.stack(backwards[::-1], 1)
    pdf_shares = torch.zeros(scores.shape, dtype=torch.float64, device=scores.device)
    pdf_shares.scatter_add_(2, pdfs[:, None].expand(-1, frames, -1), shares)
    return total, pdf_shares


class _PathSum(torch.autograd.Function):  # type: ignore[misc]
    """``path_sums`` as a differentiable function."""

    @staticmethod
    def forward(context, _scores, total, shares):  # type: ignore[no-untyped-def]
        context.save_for_backward(shares)
        return total

    @staticmethod
    def backward(context, gradient):  # type: ignore[no-untyped-def]
        (shares,) = context.saved_tensors
        return (gradient[:, None, None] * shares).float(), None, None


def differentiable_sum(scores: Tensor, graphs: Graphs) -> tuple[Tensor, Tensor]:
    """Give the logarithm of the path sum with its gradient attached, and the pdf shares."""
    with torch.no_grad():
        total, shares = path_sums(scores.detach(), graphs)
    return _PathSum.apply(scores, total, shares), shares.float()
