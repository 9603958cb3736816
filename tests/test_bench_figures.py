"""The figures of the speech benchmark."""

import importlib
from pathlib import Path
from types import ModuleType

import pytest

BENCH = Path(__file__).parent / "bench"


@pytest.fixture
def figures(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The benchmark's own module."""
    monkeypatch.syspath_prepend(BENCH)
    return importlib.import_module("figures")


@pytest.mark.parametrize(
    ("count", "total", "low", "high"),
    [
        (0, 10, 0.0, 0.2775),
        (5, 10, 0.2366, 0.7634),
        (10, 10, 0.7225, 1.0),
        (81, 263, 0.2553, 0.3662),
    ],
    ids=["none", "half", "all", "Newcombe 1998"],
)
def test_intervals_are_wilsons(
    figures: ModuleType, count: int, total: int, low: float, high: float
) -> None:
    """The last case is Newcombe 1998, Statistics in Medicine 17:857-872, table I, method 3."""
    assert figures.wilson(count, total) == pytest.approx((low, high), abs=5e-5)


def test_an_empty_group_has_no_share(figures: ModuleType) -> None:
    """Nothing of nothing is refused instead of printed as 0 %."""
    with pytest.raises(ValueError, match="no share"):
        figures.wilson(0, 0)


def test_the_table_counts_each_outcome(figures: ModuleType) -> None:
    """A line shows how many calls there were and what became of them."""
    outcome = figures.Outcome
    calls = (*[outcome.EXACT] * 97, *[outcome.ASKED] * 2, outcome.WRONG)
    *_, row = figures.outcome_table([figures.Count("clean", calls)])
    cells = [cell.split(" (")[0] for cell in row.strip("| ").split(" | ")]
    assert cells == ["clean", "100", "97.0", "0.0", "2.0", "1.0"]


def test_reliability_compares_stated_and_true(figures: ModuleType) -> None:
    """Each range shows its mean stated probability beside the share that was right."""
    pairs = [(0.6, True), (0.7, False), (0.95, True), (1.0, True)]
    low, high = figures.reliability(pairs, (0.5, 0.9, 1.0))
    assert (low.right, low.total, round(low.stated, 3)) == (1, 2, 0.65)
    assert (high.right, high.total, round(high.stated, 3)) == (2, 2, 0.975)
