"""How a person likes to measure: read from the settings, wrong values told by name."""

import pytest

from capture.preferences import USUAL, Letters, Preferences, read_preferences
from capture.settings_table import Settings, SettingsError, parse_settings
from capture.visit.state import Confirmation


def settings(text: str) -> Settings:
    """A settings file that holds this text."""
    return parse_settings(text, "settings.toml")


def test_without_a_table_all_is_as_usual() -> None:
    """Each reading its own yes, the cue on, listening all the time."""
    assert read_preferences(settings("")) == USUAL
    assert USUAL.confirmation is Confirmation.EACH


def test_all_can_be_chosen() -> None:
    """And other tables of the file are no concern."""
    chosen = settings(
        '[sound]\nvolume = 1\n[measure]\nconfirmation = "call-through"\ndwell = false\n'
        'push_to_talk = true\ntalk_s = 5\nletters = "ascii"\n',
    )
    wanted = Preferences(Confirmation.CALL_THROUGH, False, True, 5.0, Letters.ASCII)
    assert read_preferences(chosen) == wanted


@pytest.mark.parametrize(
    "line",
    [
        'confirmation = "never"',
        "confirmation = true",
        "dwell = 1",
        "talk_s = 0",
        'talk_s = "5"',
        "talk_s = true",
        "talk_s = nan",
        'letters = "small"',
        "confirm = 1",
        "dwell = maybe",
    ],
)
def test_what_is_wrong_is_told_by_its_name(line: str) -> None:
    """With the file, and what may stand there."""
    with pytest.raises(SettingsError, match=r"settings\.toml") as told:
        read_preferences(settings(f"[measure]\n{line}\n"))
    assert told.value.hint
