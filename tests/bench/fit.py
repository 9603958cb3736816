"""Fits the calibrated doubt: a logistic model on one half of the voices, checked on the other."""

from collections.abc import Sequence

import numpy as np

from capture.recognise.certainty import NAMES, Certainty, Evidence

FITTED_ON = ("rms", "m5", "variants", "theo, odd")
"""Voices that the coefficients and thresholds are chosen on; the report is on the others. Of the
person's recordings every second one is on each side."""

SILENT_GOAL = 0.001
"""Share of calls, quiet to 10 dB, that may be wrong above the threshold on the fitting half: what
is wanted in the quiet. Asked of all three, it stays below the 0.5 % that is wanted at 10 dB.
"""

STRAY_WEIGHT = 10
"""How often an answer to speech outside the grammar counts: a gym has more of it than of calls."""

SURE_COST = 0.02
"""Share of the right words that may be asked for again to keep other people's out."""

RIDGE = 0.5
"""Strength of the pull of each standardised coefficient to 0: half a call against it."""


def fit(cases: Sequence[tuple[Evidence, bool]]) -> tuple[float, tuple[float, ...]]:
    """Intercept and coefficients by penalised maximum likelihood (Newton's method).

    Answers that are unsafe are judged by that alone and take no part.
    """
    whole = [(evidence, each) for evidence, each in cases if not evidence.is_unsafe]
    values = np.array([evidence.values() for evidence, _ in whole])
    right = np.array([each for _, each in whole], float)
    mean, spread = values.mean(0), np.maximum(values.std(0), 1e-6)
    design = np.column_stack([np.ones(len(values)), (values - mean) / spread])
    pull = np.diag([0.0, *[RIDGE] * len(NAMES)])
    weights = np.zeros(design.shape[1])
    for _ in range(50):
        stated = 1 / (1 + np.exp(-design @ weights))
        slope = design.T @ (right - stated) - pull @ weights
        curve = (design.T * (stated * (1 - stated))) @ design + pull
        step = np.linalg.solve(curve, slope)
        weights = weights + step
        if np.abs(step).max() < 1e-8:
            break
    factors = weights[1:] / spread
    return float(weights[0] - factors @ mean), tuple(float(each) for each in factors)


def normal_threshold(stated: Sequence[tuple[float, bool]], calls: int) -> float:
    """The lowest probability above which at most `SILENT_GOAL` of the calls are wrong."""
    allowed = SILENT_GOAL * calls
    wrong = sorted((share for share, right in stated if not right), reverse=True)
    number = int(allowed)
    if len(wrong) <= number:
        return 0.5
    return min(0.999, max(0.5, wrong[number] + 1e-4))


def sure_threshold(
    stated: Sequence[tuple[float, bool]], foreign: Sequence[float], calls: int
) -> float:
    """From where on a word is sure enough to take effect at once.

    `foreign` are the probabilities of such words that nobody said. The threshold lies above all of
    them, unless that would ask for more than `SURE_COST` of the right ones again.
    """
    lowest = normal_threshold(stated, calls)
    right = sorted(share for share, right in stated if right)
    if not right or not foreign:
        return lowest
    affordable = right[int(SURE_COST * len(right))]
    return min(0.999, max(lowest, min(max(foreign) + 1e-4, affordable)))


def toml(model: Certainty, note: Sequence[str]) -> str:
    """The content of certainty.toml."""
    lines = [f"# {line}" for line in note]
    lines += ["", "[coefficients]", f"intercept = {model.intercept:.5f}"]
    pairs = zip(NAMES, model.coefficients, strict=True)
    lines += [f"{name} = {factor:.5f}" for name, factor in pairs]
    lines += ["", "[thresholds]", f"normal_from = {model.normal_from:.4f}"]
    lines += [f"again_below = {model.again_below:.4f}", f"sure_from = {model.sure_from:.4f}", ""]
    return "\n".join(lines)
