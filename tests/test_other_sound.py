"""Sound that is not for the program saves nothing. More of it: `python -m tests.other_sound`."""

import importlib


def test_half_a_minute_of_other_sound_saves_nothing() -> None:
    """Speech, backwards speech, beeps, impacts, music and silence, with and without a question."""
    other = importlib.import_module("tests.other_sound")
    told: list[str] = []
    states = ["fold wanted", "fold read back"]
    total = other.played(other.own_sounds(), 30.0, 3, states, told.append)
    assert total["seconds"] > 25
    assert total["saved"] == 0, told
