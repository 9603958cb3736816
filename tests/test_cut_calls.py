"""Recorded calls that are listened to only from their middle on, through the real recogniser."""

from collections import Counter

import pytest

from capture.pack import Pack
from tests.cut_calls import RULES, Came, Cutter, Opens, blocks_of, cuts_of, recordings, unmarked

CALLS = ("nineteen", "yes")


@pytest.fixture(scope="module")
def cutter(pack: Pack) -> Cutter:
    """The hearing and the road of a live visit, loaded once."""
    return Cutter(pack)


def test_the_rest_of_a_call_is_never_silently_another(cutter: Cutter) -> None:
    """Cut at every twentieth of a second, nothing else is read back undoubted or taken at once.

    Without the mark some of the same cuts are: the test looks at the right thing.
    """
    found, files = Counter[tuple[Opens, bool, Came]](), dict(recordings())
    for text in CALLS:
        blocks = blocks_of(files[text])
        for rule in RULES:
            for cut in cuts_of(blocks):
                for opens, heard in cutter.heard(blocks, cut, rule):
                    found[opens, True, cutter.came(text, rule, heard)] += 1
                    found[opens, False, cutter.came(text, rule, unmarked(heard))] += 1
    for opens in Opens:
        assert found[opens, False, Came.WRONG] > 0
        assert found[opens, True, Came.WRONG] == 0
        assert found[opens, True, Came.DOUBTFUL] > 0
        assert found[opens, True, Came.AGAIN] > 0
