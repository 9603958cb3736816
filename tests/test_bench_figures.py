"""The figures of the speech benchmark."""

import importlib
import random
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from capture.recognise.certainty import NAMES, Certainty, Evidence

ROOT = Path(__file__).parent.parent


@pytest.fixture
def figures(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The benchmark's own module."""
    monkeypatch.syspath_prepend(ROOT)
    return importlib.import_module("tests.bench.figures")


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


def test_a_call_is_heard_at_every_distance_and_in_every_noise(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Over nine calls each pair of noise and distance comes as often as any other."""
    monkeypatch.syspath_prepend(ROOT)
    running = importlib.import_module("tests.bench.running")
    for noisy in (1, 3, 9):
        setup = running.Setup(ROOT, 9, 1, noisy)
        told = [running.conditions(setup, number) for number in range(9)]
        assert all(each[0] == ("clean", None) for each in told)
        assert all(len(set(each)) == len(each) == noisy + 1 for each in told)
        seen = [pair for each in told for pair in each[1:]]
        assert {seen.count(pair) for pair in seen} == {noisy}
        assert len(set(seen)) == 9


def test_what_was_heard_is_kept(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A piece that is done is not heard again; what was broken off leaves nothing behind."""
    monkeypatch.syspath_prepend(ROOT)
    running = importlib.import_module("tests.bench.running")
    file = tmp_path / "folder" / "piece.pickle"

    def broken() -> int:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        running.once(file, broken)
    assert not file.exists()
    assert running.once(file, lambda: 7) == 7
    assert running.once(file, broken) == 7


def test_a_yes_is_sure_above_what_nobody_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """The threshold lies above other people's words, unless too many right ones would be lost."""
    monkeypatch.syspath_prepend(ROOT)
    fit = importlib.import_module("tests.bench.fit")
    right = [(0.9 + number / 1000, True) for number in range(100)]
    assert fit.sure_threshold(right, [0.7, 0.8], 100) == pytest.approx(0.8001)
    assert fit.sure_threshold(right, [0.99], 100) == pytest.approx(0.902)
    assert fit.sure_threshold([*right, (0.95, False)], [0.7], 100) == pytest.approx(0.9501)
    assert fit.sure_threshold(right, [], 100) == 0.5


def test_a_threshold_is_for_voices_to_come(monkeypatch: pytest.MonkeyPatch) -> None:
    """A voice that is misheard in its own way is not judged by what the fit learned from it."""
    monkeypatch.syspath_prepend(ROOT)
    speech = importlib.import_module("tests.bench.speech")
    trial = importlib.import_module("tests.bench.trial")
    draw = random.Random(4)

    def said(voice: str, number: int) -> Any:
        gap, odd = draw.uniform(0, 6), voice == "m5" and number % 10 == 0
        right = not odd and draw.random() < gap
        evidence = Evidence(gap + 4 * odd, 5.0, 0.1, 2, 0.9 if odd else 0.3)
        heard = trial.Heard(("nine",), right, False, evidence, 0.5, 0.4, 0.01)
        return trial.Trial(voice, number, "reading", "nine", "clean", None, (heard,), 1.0, 0.1)

    voices = ("rms", "m5", "variants")
    found = [said(voice, number) for voice in voices for number in range(200)]
    fitted = speech.fitted(found, ())
    mistaken = [
        each.answers[0].evidence for each in found if each.voice == "m5" and each.number % 10 == 0
    ]
    others = speech.fitted([each for each in found if each.voice != "m5"], ())
    assert max(fitted.probability(each) for each in mistaken) < 0.9
    assert max(others.probability(each) for each in mistaken) > 0.99
    assert others.normal_from < 0.9
    assert fitted.normal_from > 0.99


def test_what_was_misheard_once_is_asked_about(monkeypatch: pytest.MonkeyPatch) -> None:
    """Thirty for forty is silent once in a visit; a right thirty is asked about for it, too."""
    monkeypatch.syspath_prepend(ROOT)
    outcome = importlib.import_module("tests.bench.figures").Outcome
    module = importlib.import_module("tests.bench.remembered")
    trial = importlib.import_module("tests.bench.trial")
    values = {"thirty": 300, "forty": 400, "thirty two": 320, "forty two": 420, "yes": None}
    sure = Certainty(9.0, (0.0,) * len(NAMES), 0.9, 0.5, 0.9)

    def heard(said: str, got: str) -> object:
        answer = trial.Heard((got,), said == got, False, Evidence(8, 8, 3, 1, 0.4), 0, 0, 0)
        return trial.Trial("voice", 1, "rule", said, "clean", None, (answer,), 1.0, 0.0)

    calls = [
        heard("forty", "thirty"),
        heard("yes", "yes"),
        heard("forty two", "thirty two"),
        heard("thirty", "thirty"),
        heard("forty", "forty"),
    ]
    without, having = module.remembered(
        calls, lambda _, words: values[" ".join(words)], sure, "clean"
    )
    assert without.outcomes == (outcome.WRONG, outcome.WRONG, outcome.EXACT, outcome.EXACT)
    assert having.outcomes == (outcome.WRONG, outcome.DOUBTFUL, outcome.DOUBTFUL, outcome.EXACT)
    assert module.remembered(calls[1:2], lambda *_: None, sure, "clean") == []
