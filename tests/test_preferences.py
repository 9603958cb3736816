"""How a person likes to measure: read from the settings, wrong values told by name."""

from pathlib import Path

import pytest

from capture.preferences import USUAL, Letters, Preferences, PreferencesError, read_preferences
from capture.visit.state import Confirmation


def settings(folder: Path, text: str) -> Path:
    """A settings file."""
    path = folder / "settings.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_without_a_file_all_is_as_usual(tmp_path: Path) -> None:
    """Each reading its own yes, the cue on, listening all the time."""
    assert read_preferences(tmp_path / "none.toml") == USUAL
    assert USUAL.confirmation is Confirmation.EACH


def test_all_can_be_chosen(tmp_path: Path) -> None:
    """And other tables of the file are no concern."""
    path = settings(
        tmp_path,
        '[sound]\nvolume = 1\n[measure]\nconfirmation = "call-through"\ndwell = false\n'
        'push_to_talk = true\ntalk_s = 5\nletters = "ascii"\n',
    )
    wanted = Preferences(Confirmation.CALL_THROUGH, False, True, 5.0, Letters.ASCII)
    assert read_preferences(path) == wanted


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
def test_what_is_wrong_is_told_by_its_name(tmp_path: Path, line: str) -> None:
    """With the file, and what may stand there."""
    with pytest.raises(PreferencesError, match=r"settings\.toml") as told:
        read_preferences(settings(tmp_path, f"[measure]\n{line}\n"))
    assert told.value.hint
