"""The recogniser that reads from a script."""

import pytest

from capture.recognise.port import Recogniser
from capture.recognise.scripted import ScriptedRecogniser, spoken


def test_utterances_come_when_their_time_has_passed() -> None:
    """Each call of the script comes out with the block that reaches its end."""
    recogniser: Recogniser = ScriptedRecogniser(
        [spoken("yes", start_s=1.0), spoken("twelve point five", start_s=0.0)], 16_000
    )
    second = bytes(2 * 16_000)
    found = [recogniser.feed(second) for _ in range(3)]
    assert [heard and heard.text for heard in found] == [None, "twelve point five", "yes"]


def test_the_rest_comes_at_the_end() -> None:
    """What was not reached yet comes out one by one when the input ends."""
    recogniser = ScriptedRecogniser([spoken("yes"), spoken("no fifty", start_s=2.0)])
    ends = [recogniser.finish() for _ in range(3)]
    assert [heard and heard.text for heard in ends] == ["yes", "no fifty", None]


def test_rivals_share_what_the_winner_left() -> None:
    """A doubtful call has its rivals with the rest of the probability."""
    heard = spoken("fifty", confidence=0.6, rivals=["fifteen", "fifty two"])
    assert [(rival.text, rival.confidence) for rival in heard.alternatives] == [
        ("fifteen", pytest.approx(0.2)),
        ("fifty two", pytest.approx(0.2)),
    ]


def test_contexts_are_noted() -> None:
    """A test can see which contexts the program asked for."""
    recogniser = ScriptedRecogniser([])
    recogniser.listen("readback")
    recogniser.listen("reading_wanted")
    assert recogniser.contexts == ["readback", "reading_wanted"]
