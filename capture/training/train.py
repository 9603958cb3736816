"""The second stage: train the network on the spoken corpus.

The objective is the logarithm of the sum over all paths of the transcript, less that over all
phone sequences (lattice-free maximum mutual information), with a little cross-entropy against the
transcript's own frame shares and a penalty on large scores. The first steps use the transcript
sum of normalised scores alone, which starts reliably from nothing.
"""

import json
import random
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from capture.training.augment import Augmenter, Clip
from capture.training.corpus import Phrase, read_index, read_shard
from capture.training.features import CEPSTRA, KNOTS_HZ, Mfcc, bent_filters
from capture.training.lexicon import Lexicon
from capture.training.network import Network
from capture.training.sums import (
    Graphs,
    PhoneModel,
    TextGraph,
    denominator,
    differentiable_sum,
    numerators,
    phone_model,
    text_graph,
)

WARPS = tuple(float(warp) for warp in np.linspace(0.86, 1.16, 31))
BENT = 512
"""So many mouths are drawn whose resonances lie elsewhere against one another."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What may be chosen about a training run."""

    seed: int = 7
    steps: int = 6000
    warm_up_steps: int = 300
    batch_seconds: float = 640.0
    width: int = 352
    peak_rate: float = 2e-3
    weight_decay: float = 1e-3
    cross_entropy: float = 0.1
    score_penalty: float = 5e-4
    dropout: float = 0.1
    """Share of the units left out at the start; it falls to none, so that the norms fit use."""
    pair_share: float = 0.25
    hidden_share: float = 0.0
    """Share of the examples some of whose mel bands are hidden."""
    bent_share: float = 0.0
    """Share of the examples whose resonances are moved against one another."""
    uneven_share: float = 0.0
    """Share of the examples whose pace changes within a word."""
    silent_share: float = 0.2
    limit_seconds: float | None = None
    """Finish by then at the latest; the learning rate then follows the clock: runs differ."""

    def progress(self, step: int, elapsed_s: float) -> float:
        """Give how much of the run is done after so many steps and seconds, 1 for all."""
        done = step / self.steps
        return done if self.limit_seconds is None else max(done, elapsed_s / self.limit_seconds)


@dataclass(frozen=True, slots=True)
class Speech:
    """The corpus in memory: all samples on the device and where the phrases lie."""

    pool: Tensor
    clips: list[Clip]
    texts: list[str]
    voices: list[str]


def load_speech(folder: Path, lexicon: Lexicon, device: torch.device) -> Speech:
    """Read a corpus folder; phrases with a word that the lexicon lacks are left out."""
    phrases = read_index(folder)
    starts: dict[str, int] = {}
    parts: list[Tensor] = []
    filled = 0
    shards = sorted({phrase.shard for phrase in phrases})
    with ThreadPoolExecutor() as pool:
        decoded = pool.map(_samples, [folder / shard for shard in shards])
        for shard, samples in zip(shards, decoded, strict=True):
            parts.append(torch.from_numpy(samples))
            starts[shard] = filled
            filled += len(samples)
    known = [phrase for phrase in phrases if all(word in lexicon for word in phrase.text.split())]
    return Speech(
        torch.cat(parts).to(device),
        [Clip(starts[phrase.shard] + phrase.start, phrase.length) for phrase in known],
        [phrase.text for phrase in known],
        [phrase.voice for phrase in known],
    )


def _samples(path: Path) -> NDArray[np.int16]:
    return (read_shard(path) * 32767).round().astype(np.int16)


def seconds_by_engine(phrases: Sequence[Phrase]) -> dict[str, float]:
    """Add up how long each engine speaks."""
    totals: dict[str, float] = {}
    for phrase in phrases:
        engine = "/".join(phrase.voice.split("/")[:2])
        if engine.startswith(("hibari", "kokoro", "espeak")):
            engine = engine.split("/")[0]
        totals[engine] = totals.get(engine, 0) + phrase.length / 16_000
    return totals


def examples(speech: Speech, settings: Settings, rng: random.Random) -> Iterator[list[list[int]]]:
    """Give batches without end: for each example the phrases that it joins (none: only noise)."""
    numbers = list(range(len(speech.clips)))
    while True:
        rng.shuffle(numbers)
        joined: list[list[int]] = []
        at = 0
        while at < len(numbers):
            size = 2 if rng.random() < settings.pair_share else 1
            joined.append(numbers[at : at + size])
            at += size
            if rng.random() < settings.silent_share:
                joined.append([])
        joined.sort(
            key=lambda item: sum(speech.clips[i].length for i in item) + rng.uniform(0, 8000)
        )
        batches: list[list[list[int]]] = []
        batch: list[list[int]] = []
        for item in joined:
            seconds = sum(speech.clips[i].length for i in item) / 16_000 + 0.8
            if batch and seconds * (len(batch) + 1) > settings.batch_seconds:
                batches.append(batch)
                batch = []
            batch.append(item)
        batches.append(batch)
        rng.shuffle(batches)
        yield from batches


class Trainer:
    """One training run."""

    def __init__(self, speech: Speech, lexicon: Lexicon, settings: Settings) -> None:
        """Set up the network, the graphs and the seeded draws."""
        self.speech, self.settings = speech, settings
        self.hidden_share = settings.hidden_share
        self.device = speech.pool.device
        torch.manual_seed(settings.seed)
        self.rng = random.Random(settings.seed)
        self.augmenter = Augmenter(speech.pool, settings.seed)
        self.mfcc = Mfcc(WARPS, _mouths(settings.seed)).to(self.device)
        self.network = Network(settings.width).to(self.device)
        self.model: PhoneModel = phone_model(speech.texts, lexicon)
        self.denominator: Graphs = denominator(self.model, self.device)

        @lru_cache(maxsize=100_000)
        def graph(text: str) -> TextGraph:
            return text_graph(text, lexicon, self.model)

        self.graph: Callable[[str], TextGraph] = graph
        self.optimizer = torch.optim.AdamW(
            self.network.parameters(), settings.peak_rate, weight_decay=settings.weight_decay
        )

    def waves(self, batch: Sequence[Sequence[int]]) -> Tensor:
        """Make altered sound of a batch."""
        clips = self.speech.clips
        return self.augmenter.batch([[clips[number] for number in item] for item in batch])

    def cepstra(self, batch: Sequence[Sequence[int]]) -> Tensor:
        """Make altered sound of a batch and its cepstra."""
        waves = self.waves(batch)
        count, settings = len(batch), self.settings
        bent = self.augmenter.chance(settings.bent_share, count).bool()
        straight = self.augmenter.draws(0, len(WARPS), count)
        warp = torch.where(
            bent, self.augmenter.draws(len(WARPS), len(WARPS) + BENT, count), straight
        )
        hidden = self.augmenter.hidden_bands(count, CEPSTRA, self.hidden_share)
        cepstra = self.mfcc(waves, warp, hidden)
        return self.augmenter.uneven(cepstra, settings.uneven_share)

    def measure_inputs(self, batches: Iterator[list[list[int]]], count: int = 12) -> None:
        """Set the network's input mean and spread from a few batches."""
        with torch.no_grad():
            frames = torch.cat([self.cepstra(next(batches)).flatten(0, 1) for _ in range(count)])
        self.network.mean.copy_(frames.mean(0))
        self.network.spread.copy_(frames.std(0))

    def losses(self, batch: Sequence[Sequence[int]], warm_up: bool) -> tuple[Tensor, float]:
        """Give the loss of one batch and the objective a frame (0 is perfect)."""
        with torch.no_grad():
            cepstra = self.cepstra(batch)
            texts = [" ".join(self.speech.texts[i] for i in item) for item in batch]
            graphs = numerators([self.graph(text) for text in texts], self.device)
        scores = self.network(cepstra)
        frames = scores.shape[0] * scores.shape[1]
        logs = torch.log_softmax(scores, 2)
        if warm_up:
            total, _ = differentiable_sum(logs, graphs)
            return -total.sum().float() / frames, float(total.detach().sum()) / frames
        right, shares = differentiable_sum(scores, graphs)
        every, _ = differentiable_sum(scores, self.denominator)
        gain = right - every
        usable = torch.isfinite(gain) & (gain > -50.0 * scores.shape[1])
        objective = torch.where(usable, gain, 0).sum().float() / frames
        entropy = -(shares * logs).sum() / frames
        penalty = scores.square().mean()
        loss = (
            -objective
            + self.settings.cross_entropy * entropy
            + self.settings.score_penalty * penalty
        )
        return loss, float(objective.detach())

    def run(self, report: Callable[[str], None]) -> float:
        """Train; returns the seconds taken."""
        settings, began = self.settings, time.monotonic()
        batches = examples(self.speech, settings, self.rng)
        if settings.warm_up_steps:
            self.measure_inputs(batches)
        recent: list[float] = []
        progress, step = 0.0, 0
        while progress < 1:
            warm_up = step < settings.warm_up_steps
            for group in self.optimizer.param_groups:
                group["lr"] = _rate(settings.peak_rate, step, progress)
            self.network.dropout.p = settings.dropout * (1 - progress)
            loss, objective = self.losses(next(batches), warm_up)
            self.optimizer.zero_grad(set_to_none=True)
            loss.backward()
            torch.nn.utils.clip_grad_norm_(self.network.parameters(), 5.0)
            self.optimizer.step()
            recent.append(objective)
            step += 1
            elapsed = time.monotonic() - began
            progress = settings.progress(step, elapsed)
            if step % 100 == 0 or step == settings.warm_up_steps:
                report(f"step {step}, {elapsed:.0f} s: objective a frame {np.mean(recent):.4f}")
                recent.clear()
        return time.monotonic() - began

    def settle_norms(self, count: int = 150) -> None:
        """Measure the batch norms' means and spreads anew with the final weights, as in use."""
        batches = examples(self.speech, self.settings, self.rng)
        self.network.dropout.p = self.hidden_share = 0.0
        for norm in self.network.norms:
            norm.reset_running_stats()
            norm.momentum = None
        self.network.train()
        with torch.no_grad():
            for _ in range(count):
                self.network(self.cepstra(next(batches)))
        self.network.eval()

    def facts(self) -> dict[str, object]:
        """Give the settings, for the exported file's description."""
        return {"settings": asdict(self.settings), "parameters": self.network.parameter_count()}


def _mouths(seed: int) -> list[Tensor]:
    """Draw filters of speakers: a length of the vocal tract, and resonances off its pattern."""
    rng = np.random.default_rng(seed)
    lengths = rng.uniform(0.88, 1.14, (BENT, 1))
    apart = np.exp(rng.normal(0, 0.045, (BENT, len(KNOTS_HZ))))
    return [bent_filters(list(stretch)) for stretch in lengths * apart]


def _rate(peak: float, step: int, progress: float) -> float:
    """Rise over 200 steps, then fall along half a cosine."""
    return (
        peak
        * min(1.0, (step + 1) / 200)
        * max(0.5 * (1 + float(np.cos(np.pi * min(progress, 1)))), 0.004)
    )


def mean_state(states: Sequence[Mapping[str, Tensor]]) -> dict[str, Tensor]:
    """Give the mean of the same network after several runs; counters are those of the first."""
    return {
        name: torch.stack([state[name] for state in states]).mean(0)
        if first.is_floating_point()
        else first
        for name, first in states[0].items()
    }


def save_state(trainer: Trainer, path: Path) -> None:
    """Keep the network so that it can be trained on or exported."""
    torch.save(
        {"network": trainer.network.state_dict(), "facts": json.dumps(trainer.facts())}, path
    )


@dataclass(frozen=True, slots=True)
class Kept:
    """A network as `save_state` kept it, with what is known of its training."""

    network: dict[str, Tensor]
    facts: dict[str, Any]

    @property
    def width(self) -> int:
        """Units of a hidden layer."""
        return int(self.facts["settings"]["width"])


def load_state(path: Path, device: torch.device | str) -> Kept:
    """Read what `save_state` wrote."""
    state = torch.load(path, map_location=device)
    return Kept(state["network"], json.loads(state["facts"]))
