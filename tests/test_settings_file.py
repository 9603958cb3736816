"""The settings file: read once, every slip told, one table written and the rest left alone."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture.errors import CaptureError
from capture.settings_file import read_settings, write_table
from capture.settings_table import KNOWN_TABLES, SettingsError, parse_settings

OWN = """# of the front room
[keys]  # pedals
confirm = ["f13"]  # left

[sound]
# the lapel one breaks often
volume = 0.5  # quiet room
pace = 1.1

# mornings
[measure]
dwell = false
"""


@pytest.mark.parametrize("name", KNOWN_TABLES)
def test_known_tables_are_taken(name: str) -> None:
    """Each part of the program finds its own table, and none where the file has none."""
    assert parse_settings(f"[{name}]\nx = 1\n", "s.toml").table(name).entries == {"x": 1}
    assert parse_settings("", "s.toml").table(name).entries == {}


@pytest.mark.parametrize(
    ("text", "told", "meant"),
    [
        ("[soud]\nvolume = 1\n", "table [soud]", "[sound]"),
        ("[Measure]\ndwell = false\n", "table [Measure]", "[measure]"),
        ("[key]\n", "table [key]", "[keys]"),
        ("[[sounds]]\nx = 1\n", "table [sounds]", "[sound]"),
        ("[voice-check]\n", "table [voice-check]", "[voice_check]"),
        ("volume = 1\n[sound]\n", "setting 'volume'", "Every setting stands in one of"),
    ],
)
def test_a_table_that_is_none_is_told_with_the_nearest(text: str, told: str, meant: str) -> None:
    """A slip in a name would else leave a setting without effect, in silence."""
    with pytest.raises(SettingsError) as caught:
        parse_settings(text, "s.toml")
    assert told in caught.value.message
    assert "s.toml" in caught.value.message
    assert meant in caught.value.hint


def test_a_name_in_a_table_is_told_with_the_nearest() -> None:
    """The same inside a table."""
    table = parse_settings("[measure]\nconfirmatoin = 1\n", "s.toml").table("measure")
    with pytest.raises(SettingsError) as caught:
        table.allow(("confirmation", "dwell"))
    assert caught.value.hint == ("Did you mean 'confirmation'? Choose of: confirmation, dwell.")


def test_a_table_is_written_and_the_rest_stays(tmp_path: Path) -> None:
    """Comments, order, other tables, and the comments of lines that stay."""
    path = tmp_path / "settings.toml"
    path.write_text(OWN, encoding="utf-8")
    write_table(path, "sound", {"volume": 0.25, "microphone": 'Mic "5"'})
    text = path.read_text(encoding="utf-8")
    for comment in ("# of the front room", "# pedals", "# left", "# mornings\n[measure]"):
        assert comment in text
    assert "# the lapel one breaks often\nvolume = 0.25  # quiet room\n" in text
    after = tomllib.loads(text)
    assert after["sound"] == {"volume": 0.25, "microphone": 'Mic "5"'}
    assert after["keys"] == {"confirm": ["f13"]}
    assert after["measure"] == {"dwell": False}


def test_a_new_table_is_added(tmp_path: Path) -> None:
    """In a new file and in one that has others."""
    path = tmp_path / "deep" / "settings.toml"
    write_table(path, "sound", {"volume": 1.0})
    write_table(path, "voice_check", {"right": 19, "microphone": "Desk"})
    assert read_settings(path).tables == {
        "sound": {"volume": 1.0},
        "voice_check": {"right": 19, "microphone": "Desk"},
    }


def test_a_table_that_is_not_known_is_no_reason_to_lose_it(tmp_path: Path) -> None:
    """Writing one table leaves a slip in another as it is: it is the person's to mend."""
    path = tmp_path / "settings.toml"
    path.write_text("[soud]\nvolume = 1\n", encoding="utf-8")
    write_table(path, "sound", {"volume": 0.5})
    assert "[soud]\nvolume = 1\n" in path.read_text(encoding="utf-8")


def test_line_ends_and_a_mark_of_byte_order_are_taken(tmp_path: Path) -> None:
    """As some editors write them."""
    path = tmp_path / "settings.toml"
    path.write_bytes(b"\xef\xbb\xbf[measure]\r\ndwell = false\r\n")
    assert read_settings(path).table("measure").switch("dwell", True) is False
    write_table(path, "sound", {"volume": 0.5})
    assert read_settings(path).table("measure").switch("dwell", True) is False
    assert b"dwell = false\r\n" in path.read_bytes()


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    """Who keeps settings elsewhere and links to them finds them there."""
    real = tmp_path / "real.toml"
    real.write_text("[measure]\ndwell = false\n", encoding="utf-8")
    link = tmp_path / "settings.toml"
    try:
        link.symlink_to(real)
    except OSError:
        pytest.skip("no links here")
    write_table(link, "sound", {"volume": 0.5})
    assert link.is_symlink()
    assert "volume" in real.read_text(encoding="utf-8")


@given(text=st.text(max_size=200))
def test_any_text_is_settings_or_refused(text: str) -> None:
    """And what is refused has a hint."""
    error = None
    try:
        parse_settings(text, "s.toml")
    except CaptureError as caught:
        error = caught
    assert error is None or error.hint


def test_a_folder_is_no_file_of_settings(tmp_path: Path) -> None:
    """Nor is a name that no file can have."""
    for path in (tmp_path, tmp_path / "x\0y"):
        with pytest.raises(SettingsError, match="cannot be read"):
            read_settings(path)
