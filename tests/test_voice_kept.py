"""The voice check in the settings: kept, read back, and never a reason to ask less."""

import textwrap
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from capture.recognise.certainty import NAMES, Certainty
from capture.settings_file import read_settings, write_table
from capture.settings_table import SettingsError, parse_settings
from capture.voice_kept import (
    TABLE,
    KeptCheck,
    entries_of,
    here,
    joined,
    kept_check,
    kept_line,
    mark_of,
)
from capture.voice_verdict import Tally

FITTED = Certainty(1.0, (0.5,) * len(NAMES), 0.9, 0.5, 0.92)
KEPT = KeptCheck(date(2026, 5, 3), "lapel", Tally(19, 0, 0, 1), mark_of(FITTED), 0.9501)
GOOD = replace(KEPT, tally=Tally(19, 1, 0, 0), normal_from=0.0)


@pytest.mark.parametrize("kept", [KEPT, GOOD, replace(GOOD, microphone='a "b" \\ ü\x7f')])
def test_a_kept_check_reads_back(tmp_path: Path, kept: KeptCheck) -> None:
    """Beside whatever else stands in the file."""
    path = tmp_path / "settings.toml"
    path.write_text("# mine\n[measure]\ndwell = false  # no\n", encoding="utf-8")
    write_table(path, TABLE, entries_of(KEPT))
    write_table(path, TABLE, entries_of(kept))
    assert kept_check(read_settings(path)) == kept
    assert path.read_text(encoding="utf-8").startswith("# mine\n[measure]\ndwell = false  # no\n")


def test_without_a_table_nothing_is_kept() -> None:
    """And nothing changes."""
    assert kept_check(parse_settings("[sound]\n", "settings.toml")) is None
    assert here(None, FITTED, "lapel").certainty is FITTED
    assert here(None, FITTED, "lapel").line == ""


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ('date = "yesterday"', "'date'"),
        ("date = 2026-05-03", "'date'"),
        ("right = 1.5", "'right'"),
        ("right = -1", "'right'"),
        ("doubtful = true", "'doubtful'"),
        ("normal_from = 1.2", "'normal_from'"),
        ("normal_from = nan", "'normal_from'"),
        ("microphone = 3", "'microphone'"),
        ("normal_form = 0.5", "Did you mean 'normal_from'"),
    ],
)
def test_a_slip_in_the_table_is_told(line: str, told: str) -> None:
    """A threshold that was mistyped must not be passed over."""
    key = line.split(maxsplit=1)[0]
    lines = [f"[{TABLE}]", line]
    for name, value in entries_of(KEPT).items():
        if name != key:
            lines.append(f"{name} = {value!r}".replace("'", '"'))
    with pytest.raises(SettingsError) as caught:
        kept_check(parse_settings("\n".join(lines), "settings.toml"))
    assert told in str(caught.value)


@pytest.mark.parametrize("key", ["date", "microphone", "measured_with", "silently_wrong"])
def test_what_is_missing_is_told(key: str) -> None:
    """With the way to a whole table."""
    lines = [
        f"{name} = {value!r}".replace("'", '"')
        for name, value in entries_of(KEPT).items()
        if name != key
    ]
    with pytest.raises(SettingsError) as caught:
        kept_check(parse_settings("\n".join([f"[{TABLE}]", *lines]), "settings.toml"))
    assert f"'{key}'" in str(caught.value)
    assert "foldcall check --voice" in str(caught.value)


def test_with_its_own_microphone_both_thresholds_rise() -> None:
    """The line at the beginning says what was found, and what holds now."""
    held = here(KEPT, FITTED, "lapel")
    assert held.certainty is not None
    assert (held.certainty.normal_from, held.certainty.sure_from) == (0.9501, 0.9501)
    assert held.counts
    assert held.line == (
        "Voice check of 3 May 2026: 1 of 20 silently wrong: use the keypad. Doubtful below 95.01%."
    )


def test_no_kept_check_ever_makes_a_threshold_lower() -> None:
    """Whatever stands in the file."""
    for least in (0.0, 0.3, 0.9, 1.0):
        held = here(replace(KEPT, normal_from=least), FITTED, "lapel").certainty
        assert held is not None
        assert held.normal_from >= FITTED.normal_from
        assert held.sure_from >= FITTED.sure_from
        assert held.again_below == FITTED.again_below


def test_with_another_microphone_or_model_it_does_not_count() -> None:
    """It is said in a line, and the pack's own thresholds hold."""
    other = here(KEPT, FITTED, "desk")
    assert (other.certainty, other.counts) == (FITTED, False)
    assert "another microphone, 'lapel'" in other.line
    renewed = replace(FITTED, intercept=1.1)
    model = here(KEPT, renewed, "lapel")
    assert (model.certainty, model.counts) == (renewed, False)
    assert "another model" in model.line
    unmeasured = here(KEPT, None, "lapel")
    assert (unmeasured.certainty, unmeasured.counts) == (None, False)
    assert "another model" in unmeasured.line


def test_with_a_microphone_that_is_not_known_yet_the_stricter_holds() -> None:
    """It may be the one that was checked."""
    held = here(KEPT, FITTED, None)
    assert held.certainty == FITTED.stricter(KEPT.normal_from)


def test_a_threshold_that_was_needed_stays_needed() -> None:
    """A good check later does not take it back, with the same microphone and model."""
    later = replace(GOOD, on=date(2026, 6, 1))
    assert joined(KEPT, later) == replace(later, normal_from=KEPT.normal_from)
    assert joined(None, later) == later
    assert joined(KEPT, replace(later, microphone="desk")).normal_from == 0.0
    assert joined(KEPT, replace(later, measured_with="other")).normal_from == 0.0
    higher = replace(later, normal_from=0.97)
    assert joined(KEPT, higher) == higher


def test_a_good_check_is_told_without_more() -> None:
    """Its day, and what was right."""
    assert kept_line(GOOD) == "Voice check of 3 May 2026: 19 of 20 right at once."


def test_beside_the_calipers_news_the_whole_line_is_seen() -> None:
    """At 80 by 24 there are two lines of 76 columns for all news of the beginning."""
    news = "No check with gauge blocks is known for this caliper."
    line = kept_line(replace(KEPT, on=date(2026, 11, 25)))
    assert len(textwrap.wrap(f"{news} {line}", 76)) == 2
