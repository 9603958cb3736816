"""The screen of the voice check, at every size."""

from dataclasses import replace
from itertools import pairwise

import pytest

from capture.screen import blocks
from capture.screen.prompt_view import PromptView, render_prompt
from capture.screen.render import Size, plain
from capture.screen.view import SoundView
from capture.voice_trial import KEYS

VIEW = PromptView(
    number=3,
    count=20,
    words="twelve point five",
    about="while a reading is wanted",
    last='heard "fifty" 95%: silently wrong, not "fifteen" (a slip of the tongue? b says it again)',
    outcome="silently wrong",
    notice="Nothing heard yet: speak up or come nearer. Enter leaves this one out.",
    keys=KEYS,
    sound=SoundView("LISTENING", -32.0, "Desk microphone", ""),
)
SIZES = [Size(80, 24), Size(120, 40), Size(40, 12), Size(200, 60), Size(20, 6), Size(10, 2)]


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size.columns}x{size.rows}")
@pytest.mark.parametrize("ascii_only", [False, True])
@pytest.mark.parametrize("words", [VIEW.words, "six", "six and three quarters inches", ""])
def test_it_fits_the_terminal(size: Size, ascii_only: bool, words: str) -> None:
    """No line is too wide and none too many, whatever is to be said."""
    lines = render_prompt(replace(VIEW, words=words), size, ascii_only)
    assert len(lines) <= size.rows
    assert all(sum(len(text) for _, text in line) <= size.columns for line in lines)


@pytest.mark.parametrize("size", SIZES[:4], ids=lambda size: f"{size.columns}x{size.rows}")
def test_everything_is_there(size: Size) -> None:
    """Place, prompt, what was heard, the keys and the level, down to 40 by 12."""
    text = plain(render_prompt(VIEW, size, False))
    for part in ("3 of 20", 'heard "fifty"', "Enter leave", "q end", "LISTENING", "-32 dB"):
        assert part in text
    assert "█" in text or "TWELVE POINT FIVE" in text


def test_the_prompt_is_drawn_large() -> None:
    """As large as it fits, in as many lines as it needs, and no word is broken."""
    quiet = replace(VIEW, last="", notice="")
    one = plain(render_prompt(replace(quiet, words="six"), Size(80, 24), True))
    assert "    ####    ####            ####" in one  # four times as wide as its picture
    wide = plain(render_prompt(quiet, Size(120, 40), True)).splitlines()
    drawn = [row for row, line in enumerate(wide[:-2]) if "####" in line]
    assert drawn[0] < 5
    assert any(after - before > 1 for before, after in pairwise(drawn))
    assert len(drawn) >= 16


def test_the_outcome_is_drawn_large_where_there_is_room() -> None:
    """From two metres it is seen whether the call was taken; in a small terminal the words tell."""
    view = replace(VIEW, words="six", last='heard "six" 99%: right at once', notice="")
    for outcome in ("right at once", "doubtful", "asked again", "silently wrong"):
        shown = replace(view, outcome=outcome)
        large = "\n".join(f" {row}".rstrip() for row in blocks.large(outcome, ink="#"))
        assert large in plain(render_prompt(shown, Size(80, 24), True))
    assert plain(render_prompt(view, Size(40, 12), True)).count("\n") == 11


def test_in_a_narrow_terminal_the_words_are_plain() -> None:
    """Where the letters do not fit, capitals do."""
    assert "TWELVE POINT" in plain(render_prompt(VIEW, Size(20, 8), False))
