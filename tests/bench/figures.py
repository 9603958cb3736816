"""Counts, intervals and tables of the speech benchmark."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

_Z95 = 1.959964
"""97.5th percentile of the normal distribution."""


class Outcome(StrEnum):
    """What became of one spoken call."""

    EXACT = "exact"
    """Understood as meant, read back as usual."""
    DOUBTFUL = "doubtful"
    """A call came out, right or wrong, and a question names the other possibility."""
    ASKED = "asked again"
    """Nothing came out, or something that is asked for again."""
    WRONG = "silently wrong"
    """Another call came out, and nothing marks it as doubtful."""


def wilson(count: int, total: int) -> tuple[float, float]:
    """The 95 % interval of a share (Wilson 1927, score interval without continuity correction).

    >>> [round(bound, 3) for bound in wilson(0, 100)]
    [0.0, 0.037]
    """
    if not 0 <= count <= total or not total:
        raise ValueError(f"{count} of {total} is no share")
    share, z2 = count / total, _Z95**2
    middle = share + z2 / (2 * total)
    half = _Z95 * math.sqrt(share * (1 - share) / total + z2 / (4 * total**2))
    return (
        max(0.0, (middle - half) / (1 + z2 / total)),
        min(1.0, (middle + half) / (1 + z2 / total)),
    )


def percent(count: int, total: int) -> str:
    """A share with its interval, such as "97.0 (94.1 to 98.5)".

    >>> percent(1, 200)
    '0.5 (0.1 to 2.8)'
    """
    low, high = wilson(count, total)
    return f"{100 * count / total:.1f} ({100 * low:.1f} to {100 * high:.1f})"


def percentile(values: Sequence[float], share: float) -> float:
    """The smallest value that at least this share of the values does not exceed.

    >>> percentile([4.0, 1.0, 3.0, 2.0], 0.5)
    2.0
    """
    ordered = sorted(values)
    return ordered[max(0, math.ceil(share * len(ordered)) - 1)]


@dataclass(frozen=True, slots=True)
class Count:
    """How often each outcome came under one condition."""

    name: str
    outcomes: tuple[Outcome, ...]

    def of(self, outcome: Outcome) -> int:
        """How often this one came."""
        return self.outcomes.count(outcome)


def markdown(header: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """Lines of a table; the first column is text, the others are figures."""
    marks = ["---", *["---:"] * (len(header) - 1)]
    return [f"| {' | '.join(cells)} |" for cells in (header, marks, *rows)]


def outcome_table(counts: Iterable[Count]) -> list[str]:
    """One line a condition: calls, then percent of each outcome with its interval."""
    rows = []
    for each in counts:
        total = len(each.outcomes)
        shares = (percent(each.of(outcome), total) for outcome in Outcome)
        rows.append((each.name, str(total), *shares))
    return markdown(("heard", "calls", *(f"{outcome} %" for outcome in Outcome)), rows)


@dataclass(frozen=True, slots=True)
class Bin:
    """Answers whose stated probability lay in one range."""

    low: float
    high: float
    stated: float
    right: int
    total: int


def reliability(pairs: Sequence[tuple[float, bool]], edges: Sequence[float]) -> list[Bin]:
    """Stated probability against the share that was right, for each range with answers."""
    bins = []
    for low, high in pairwise(edges):
        inside = [
            (stated, right)
            for stated, right in pairs
            if low <= stated < high or (stated == high == edges[-1])
        ]
        if inside:
            mean = sum(stated for stated, _ in inside) / len(inside)
            bins.append(Bin(low, high, mean, sum(right for _, right in inside), len(inside)))
    return bins


def reliability_table(bins: Iterable[Bin]) -> list[str]:
    """One line a range."""
    rows = [
        (
            f"{each.low:.3g} to {each.high:.3g}",
            str(each.total),
            f"{100 * each.stated:.1f}",
            percent(each.right, each.total),
            f"`{diagram(each)}`",
        )
        for each in bins
    ]
    header = ("stated probability", "answers", "stated %", "right %", "0 to 100 % right")
    return markdown(header, rows)


def diagram(each: Bin, width: int = 50) -> str:
    """A bar as long as the share that was right, with a mark where it should end.

    >>> diagram(Bin(0.5, 1.0, 0.8, 6, 10), 10)
    '======..|.'
    """
    right = round(width * each.right / each.total)
    stated = min(width - 1, round(width * each.stated))
    bar = ("=" * right).ljust(width, ".")
    return bar[:stated] + "|" + bar[stated + 1 :]
