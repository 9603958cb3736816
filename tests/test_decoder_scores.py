"""The decoder's scores against an independent computation from the samples on.

A difference between the features or the network as trained and as decoded is never an error
message, only worse hearing. Here the features (Kaldi's MFCC by its published definition), the
network and the best path are computed anew in numpy, and must give the decoder's own score.
"""

import json
import math
import re
from pathlib import Path

import numpy as np
import pytest

from capture.recognise.acoustic import Network, read_network
from capture.recognise.automaton import WordArc, WordAutomaton
from capture.recognise.graph import GraphOptions, build_graph
from capture.recognise.lexicon import parse_lexicon
from capture.recognise.model_folder import write_model_folder
from capture.recognise.phones import PHONES
from capture.recognise.vosk_ import StrictModels

RATE_HZ, FRAME, HOP, TRANSFORM, COUNT = 16_000, 400, 160, 512, 40
LIFTER = 22


def mfcc(samples: np.ndarray) -> np.ndarray:
    """Cepstra of each 10 ms: no dither, mean removed, pre-emphasis 0.97, "povey" window."""
    starts = range(0, len(samples) - FRAME + 1, HOP)
    frames = np.array([samples[at : at + FRAME] for at in starts], float)
    frames -= frames.mean(axis=1, keepdims=True)
    frames -= 0.97 * np.hstack([frames[:, :1], frames[:, :-1]])
    frames *= (0.5 - 0.5 * np.cos(2 * np.pi * np.arange(FRAME) / (FRAME - 1))) ** 0.85
    power = np.abs(np.fft.rfft(frames, TRANSFORM)) ** 2

    def mel(hz: np.ndarray | float) -> np.ndarray:
        return 1127 * np.log(1 + np.asarray(hz) / 700)

    edges = np.linspace(mel(40), mel(7600), COUNT + 2)
    bins = mel(np.arange(TRANSFORM // 2) * RATE_HZ / TRANSFORM)[:, None]
    step = edges[1] - edges[0]
    rising, falling = (bins - edges[None, :-2]) / step, (edges[None, 2:] - bins) / step
    energies = np.log(power[:, :-1] @ np.clip(np.minimum(rising, falling), 0, None))
    order, band = np.arange(COUNT)[:, None], np.arange(COUNT)[None, :]
    cosines = np.sqrt(2 / COUNT) * np.cos(np.pi / COUNT * (band + 0.5) * order)
    cosines[0] = np.sqrt(1 / COUNT)
    return energies @ cosines.T * (1 + LIFTER / 2 * np.sin(np.pi * order[:, 0] / LIFTER))


def phone_scores(network: Network, features: np.ndarray) -> np.ndarray:
    """Scores of each third frame; beyond the ends, the first and last frame are repeated."""
    reach = sum(max(map(abs, layer.offsets)) for layer in network.layers)
    at = np.clip(np.arange(-reach, len(features) + reach), 0, len(features) - 1)
    rows, first = features[at], -reach
    for layer in network.layers:
        low, high = layer.offsets[0], layer.offsets[-1]
        count = len(rows) - (high - low)
        joined = np.hstack([rows[o - low : o - low + count] for o in layer.offsets])
        rows, first = joined @ layer.weight.T + layer.bias, first - low
        if layer.relu:
            rows = np.maximum(rows, 0)
    scores = rows[-first : -first + len(features) : 3]
    if network.priors is not None:
        top = scores.max(axis=1, keepdims=True)
        scores = scores - top - np.log(np.exp(scores - top).sum(axis=1, keepdims=True))
        scores = scores - np.log(network.priors)
    return scores


def best_path(scores: np.ndarray, outputs: list[int]) -> float:
    """Best score of passing through these network outputs in order, each at least one frame."""
    best = np.full(len(outputs), -np.inf)
    best[0] = scores[0, outputs[0]]
    for row in scores[1:]:
        best = np.maximum(best, np.concatenate([[-np.inf], best[:-1]])) + row[outputs]
    return float(best[-1])


def random_arrays(priors: bool) -> dict[str, np.ndarray]:
    """Two layers that look before and after by different amounts."""
    draw = np.random.default_rng(11)
    arrays: dict[str, np.ndarray] = {"count": np.array(2)}
    for n, (offsets, wide, out) in enumerate([((-2, 0, 1), 40, 24), ((-6, -3, 0, 3), 24, 40)]):
        weight = draw.normal(size=(out, wide * len(offsets))) / (40 if n == 0 else 8)
        arrays[f"offsets_{n}"] = np.array(offsets)
        arrays[f"weight_{n}"] = weight.astype("f4")
        arrays[f"bias_{n}"] = draw.normal(size=out).astype("f4")
        arrays[f"relu_{n}"] = np.array(int(n == 0))
    if priors:
        arrays["priors"] = (draw.uniform(0.5, 1.5, 40) / 40).astype("f4")
    return arrays


@pytest.mark.parametrize("priors", [False, True], ids=["scores", "priors"])
def test_the_decoder_scores_as_computed_anew(tmp_path: Path, priors: bool) -> None:
    """Silence and a word over the same noise have the very scores that numpy finds."""
    np.savez(tmp_path / "acoustic.npz", **random_arrays(priors))
    write_model_folder(tmp_path / "acoustic.npz", tmp_path / "model")
    options = tmp_path / "model" / "conf" / "model.conf"
    # Wide open, so that nothing is pruned, and the scores at their full size.
    wide = re.sub(r"beam=\d+", "beam=2000", options.read_text())
    options.write_text(re.sub(r"acoustic-scale=\S+", "acoustic-scale=1.0", wide))
    graph = build_graph(
        WordAutomaton(0, {1: 0.0}, [WordArc(0, "no", 0.0, 1)]),
        parse_lexicon("no  N OW"),
        GraphOptions(silence_cost=0.0),
    )
    decoder = StrictModels(tmp_path / "model", {"all": graph}).decoder("all", RATE_HZ)
    noise = (np.random.default_rng(1).normal(size=3 * RATE_HZ) * 2000).astype("<i2")
    sound = noise.tobytes()
    for at in range(0, len(sound), 3200):
        decoder.AcceptWaveform(sound[at : at + 3200])
    answer = json.loads(decoder.FinalResult())["alternatives"]
    decoded = {entry["text"]: entry["confidence"] for entry in answer}

    scores = phone_scores(read_network(tmp_path / "acoustic.npz"), mfcc(noise))
    n, ow = (1 + PHONES.index(phone) for phone in ("N", "OW"))
    rows = [[*before, n, ow, *after] for before in ([], [0]) for after in ([], [0])]
    computed = {"": best_path(scores, [0]), "no": max(best_path(scores, row) for row in rows)}
    assert decoded == {text: pytest.approx(score, abs=0.05) for text, score in computed.items()}
    assert not math.isclose(computed[""], computed["no"], abs_tol=1.0)
