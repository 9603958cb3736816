"""The machine's own sound settings."""

import os
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture.settings_file import read_settings, settings_path, write_table
from capture.settings_table import SettingsError
from capture.sound.devices import ByName
from capture.sound.settings import TABLE, SoundSettings, read_sound_settings, sound_entries
from capture.sound.voice import VoiceKind

CHOSEN = SoundSettings(
    ByName('Mic "5" \\ Größe', "ALSA"), None, VoiceKind.BEEP, volume=0.5, pace=1.1, echo_tail_s=0.4
)
OTHERS = """# my pedals
[keys]
confirm = "f13"  # left pedal

[sound] # old
voice = "silent"
microphone = "gone"

# how I measure
[measure]
dwell = false
"""


def remember(path: Path) -> None:
    """Keep what was chosen."""
    write_table(path, TABLE, sound_entries(CHOSEN))


def test_what_was_chosen_is_there_at_the_next_start(tmp_path: Path) -> None:
    """Devices are remembered by name and host, with every other choice."""
    path = tmp_path / "deep" / "settings.toml"
    remember(path)
    assert read_sound_settings(read_settings(path)) == CHOSEN


@pytest.mark.skipif(os.name != "posix", reason="file modes mean something on POSIX only")
def test_the_file_is_for_its_owner(tmp_path: Path) -> None:
    """Nobody else on the machine reads the settings."""
    path = tmp_path / "deep" / "settings.toml"
    remember(path)
    assert path.stat().st_mode & 0o077 == 0
    assert path.parent.stat().st_mode & 0o077 == 0


def test_other_tables_and_comments_stay(tmp_path: Path) -> None:
    """Remembering a microphone does not touch the pedals that a person has set up."""
    path = tmp_path / "settings.toml"
    path.write_text(OTHERS, encoding="utf-8")
    remember(path)
    text = path.read_text(encoding="utf-8")
    assert "# left pedal" in text
    assert "[sound] # old" in text
    assert "# how I measure\n[measure]" in text
    assert "gone" not in text
    after = tomllib.loads(text)
    assert after["keys"] == {"confirm": "f13"}
    assert after["measure"] == {"dwell": False}
    assert read_sound_settings(read_settings(path)) == CHOSEN


def test_a_file_that_would_change_otherwise_is_left_alone(tmp_path: Path) -> None:
    """Where the table cannot be told apart from the rest, nothing is written."""
    path = tmp_path / "settings.toml"
    text = "sound = 1\n"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError, match="without touching"):
        remember(path)
    assert path.read_text(encoding="utf-8") == text


def test_without_a_file_the_usual_settings_hold(tmp_path: Path) -> None:
    """A new machine needs no settings file."""
    assert read_sound_settings(read_settings(tmp_path / "none.toml")) == SoundSettings()


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("sound = 1", "'sound'"),
        ('[sound]\nvoice = "loud"', "'voice'"),
        ("[sound]\nvolume = 2", "'volume'"),
        ("[sound]\nvolume = true", "'volume'"),
        ("[sound]\npace = nan", "'pace'"),
        ("[sound]\necho_tail_s = -1", "'echo_tail_s'"),
        ("[sound]\nmicrophone = 3", "'microphone'"),
        ("[sound", "no TOML"),
    ],
)
def test_a_wrong_setting_is_named(tmp_path: Path, text: str, told: str) -> None:
    """A slip in the file is told with its place, not ignored."""
    path = tmp_path / "settings.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError, match=told) as caught:
        read_sound_settings(read_settings(path))
    assert caught.value.hint


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    """A file where a folder should be gives a clear line."""
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(SettingsError, match="cannot be"):
        remember(tmp_path / "file" / "settings.toml")


def test_the_variable_names_the_file(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """FOLDCALL_SETTINGS comes before the platform's folder."""
    monkeypatch.setenv("FOLDCALL_SETTINGS", str(tmp_path / "x.toml"))
    assert settings_path() == tmp_path / "x.toml"
    monkeypatch.setenv("FOLDCALL_SETTINGS", " ")
    assert settings_path().name == "settings.toml"


@given(name=st.text(st.characters(exclude_categories=["Cs"])))
def test_any_device_name_survives_the_file(
    tmp_path_factory: pytest.TempPathFactory, name: str
) -> None:
    """Whatever a maker calls a device, the file reads back as it was."""
    path = tmp_path_factory.mktemp("settings") / "settings.toml"
    chosen = SoundSettings(microphone=ByName(name, "ALSA"))
    write_table(path, TABLE, sound_entries(chosen))
    assert read_sound_settings(read_settings(path)) == chosen
