"""A last stage: cloth or breath over a sound shall not change what the network makes of it.

A copy of the network hears each batch as it is and is the teacher; the network hears the same
batch with rustling cloth or breath on top and learns to give the teacher's scores. That takes no
graphs, so that a few hundred steps of it are done on two processor cores in a quarter of an hour.
The batch norms stay as they are.
"""

import copy
import time
from collections.abc import Callable

import numpy as np
import torch
from torch import Tensor

from capture.training.augment import Augmenter
from capture.training.train import WARPS, Trainer, examples

CLOTH_SHARE = 0.65
"""In this share of the batches it is cloth, in the others breath."""

ON_TOP_SHARE = 0.75
OVER_SPEECH_DB = (-22.0, 3.0)
OVER_NOISE_DB = (-5.0, 35.0)
"""Level on top of an item, against the item's own; `OVER_NOISE_DB` where nobody speaks."""

SCORES_WEIGHT = 0.05
"""Of the squared difference of the scores: the doubt goes by their height, not by shares alone."""


def with_more_on_top(waves: Tensor, silent: Tensor, augmenter: Augmenter) -> Tensor:
    """Lay cloth or breath over most items (batch, samples; 16-bit units); *silent*: no speech."""
    count, samples = waves.shape
    cloth = augmenter.uniform(0, 1, 1).item() < CLOTH_SHARE
    sound = augmenter.rustle(count, samples) if cloth else augmenter.breath(count, samples)
    sound = sound / sound.square().mean(1, keepdim=True).sqrt().clamp_min(1e-9)
    level_db = torch.where(
        silent, augmenter.uniform(*OVER_NOISE_DB, count), augmenter.uniform(*OVER_SPEECH_DB, count)
    )
    level = waves.square().mean(1).sqrt().clamp_min(3) * 10 ** (level_db / 20)
    level = level * augmenter.chance(ON_TOP_SHARE, count)
    return (waves + sound * level[:, None]).round().clamp(-32768, 32767)


def apart(scores: Tensor, wanted: Tensor) -> tuple[Tensor, Tensor]:
    """How far scores (batch, frames, phones) lie from others: as shares, in nats, and squared."""
    given, right = torch.log_softmax(scores, 2), torch.log_softmax(wanted, 2)
    return (right.exp() * (right - given)).sum(2).mean(), (scores - wanted).square().mean()


def steady(trainer: Trainer, report: Callable[[str], None]) -> float:
    """Train the trainer's network, which must be trained already; returns the seconds taken."""
    settings, augmenter, began = trainer.settings, trainer.augmenter, time.monotonic()
    network = trainer.network.eval()
    teacher = copy.deepcopy(network)
    optimizer = torch.optim.Adam(network.parameters(), settings.peak_rate)
    batches = examples(trainer.speech, settings, trainer.rng)
    recent: list[float] = []
    progress, step = 0.0, 0
    while progress < 1:
        items = next(batches)
        silent = torch.tensor([not item for item in items], device=trainer.device)
        with torch.no_grad():
            waves = trainer.waves(items)
            warp = augmenter.draws(0, len(WARPS), len(items))
            wanted = teacher(trainer.mfcc(waves, warp))
            cepstra = trainer.mfcc(with_more_on_top(waves, silent, augmenter), warp)
        shares, squared = apart(network(cepstra), wanted)
        for group in optimizer.param_groups:
            group["lr"] = settings.peak_rate * min(1, (step + 1) / 10) * max(0.05, 1 - progress)
        optimizer.zero_grad()
        (shares + SCORES_WEIGHT * squared).backward()
        torch.nn.utils.clip_grad_norm_(network.parameters(), 5.0)
        optimizer.step()
        recent.append(float(shares.detach()))
        step += 1
        elapsed = time.monotonic() - began
        progress = settings.progress(step, elapsed)
        if step % 10 == 0:
            report(f"step {step}, {elapsed:.0f} s: {np.mean(recent):.4f} nats a frame apart")
            recent.clear()
    return time.monotonic() - began
