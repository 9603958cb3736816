"""The harness that asks whether a voice check is worth its time."""

import importlib
from pathlib import Path
from types import ModuleType

import pytest

from capture.language.intents import Reading
from capture.voice_check import Answer, Outcome, Result
from capture.voice_prompts import Prompt

FIFTEEN = Prompt("foldcall.listening.reading_wanted", "fifteen", Reading(150))
RIGHT = Answer(Outcome.RIGHT, "fifteen", 0.99, True)
WRONG = Answer(Outcome.WRONG, "fifty", 0.95, False)
NOTHING = Answer(Outcome.AGAIN, "", 0.0, False)


@pytest.fixture
def rooms(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The harness's own module."""
    monkeypatch.syspath_prepend(Path(__file__).parent.parent)
    return importlib.import_module("tests.bench.rooms")


@pytest.mark.parametrize(
    ("answers", "outcome"),
    [
        ([], Outcome.AGAIN),
        ([RIGHT], Outcome.RIGHT),
        ([NOTHING], Outcome.AGAIN),
        ([NOTHING, RIGHT], Outcome.AGAIN),
        ([NOTHING, WRONG], Outcome.WRONG),
        ([RIGHT, WRONG], Outcome.RIGHT),
    ],
)
def test_a_call_comes_to_what_is_taken_first(
    rooms: ModuleType, answers: list[Answer], outcome: Outcome
) -> None:
    """Silence, and what is asked for again, is no taken call."""
    assert rooms._result(FIFTEEN, answers).outcome is outcome


def results(*answers: Answer) -> tuple[Result, ...]:
    """Results of one prompt."""
    return tuple(Result(FIFTEEN, each.outcome, each) for each in answers)


def test_the_table_tells_the_other_calls_by_verdict(rooms: ModuleType) -> None:
    """And the same calls with the threshold, where the check asks for one."""
    good = rooms.Room("a", "quiet", results(*[RIGHT] * 20), results(RIGHT, RIGHT), None)
    bad = rooms.Room(
        "b", "hall", results(*[RIGHT] * 19, WRONG), results(RIGHT, WRONG), results(RIGHT, NOTHING)
    )
    lines = rooms.table([good, bad])
    (voice,) = [line for line in lines if line.startswith("| voice |")]
    assert voice.startswith("| voice | 1 | 100.0 ")
    (keypad,) = [line for line in lines if line.startswith("| keypad |")]
    assert keypad.startswith("| keypad | 1 | 50.0 ")
    (raised,) = [line for line in lines if line.startswith("| keypad, threshold raised |")]
    assert "| 0.0 (" in raised


def test_the_voices_and_rooms_have_names(rooms: ModuleType) -> None:
    """Every room's noise is one that the bench makes."""
    kinds = importlib.import_module("tests.bench.noises").KINDS
    assert {kind for kind, _ in rooms.ROOMS.values()} <= {None, *kinds}
    assert len(rooms.VOICES) == 7
