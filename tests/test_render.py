"""The screen at every size, from a view."""

from dataclasses import replace

import pytest

from capture.screen import blocks
from capture.screen.keymap import help_lines, help_pages
from capture.screen.render import STYLES, Line, Size, plain, render
from capture.screen.view import SoundView, Standing, TableRow, View
from capture.wording import trade

SIZES = [Size(80, 24), Size(120, 40), Size(40, 12)]
SITES = ("chest", "midaxillary", "triceps", "subscapular", "abdominal", "suprailiac", "thigh")

VIEW = View(
    client="Rowan Alderby",
    assessor="Tobias Quill",
    protocol="Seven sites, two circuits",
    headline="subscapular",
    about="first circuit",
    value="15.0",
    standing=Standing.DOUBTFUL,
    standing_about="",
    said=("subscapular, fifteen: one five. Doubtful: or fifty: five zero? Yes only if sure.",),
    heard='heard: "fifteen" (97%)',
    notice="",
    menu=(),
    may_say=("yes", "no", "no twelve point five", "undo"),
    keys="Enter yes  - no",
    table=tuple(
        TableRow(site, ("8.4", "12.4?", "due"), "8.4", "mean of two", "0.4", present=n == 3)
        for n, site in enumerate(SITES)
    ),
    progress="3 of 14",
    sound=SoundView("LISTENING", -32.0, "Desk microphone", "en strict"),
)


def text(view: View, size: Size) -> str:
    """The screen without styles."""
    return plain(render(view, size))


def squeezed(lines: str) -> str:
    """Words with single spaces."""
    return " ".join(lines.split())


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_nothing_sticks_out(size: Size) -> None:
    """Never more rows than there are, never a line wider than the terminal."""
    lines = render(VIEW, size)
    assert len(lines) == size.rows
    assert max(sum(len(part) for _, part in line) for line in lines) <= size.columns


@pytest.mark.parametrize("columns", [1, 10, 39, 72, 100, 200])
@pytest.mark.parametrize("rows", [1, 5, 12, 22, 30, 60])
def test_any_size_can_be_drawn(columns: int, rows: int) -> None:
    """A terminal may be resized to anything."""
    for view in (VIEW, replace(VIEW, help=help_lines()), replace(VIEW, headline="", value="")):
        lines = render(view, Size(columns, rows))
        assert len(lines) <= rows
        assert all(sum(len(part) for _, part in line) <= columns for line in lines)


@pytest.mark.parametrize("size", SIZES[:2], ids=str)
def test_site_and_value_are_in_large_signs(size: Size) -> None:
    """Both are drawn in blocks, five rows or more, and the state in three or more."""
    shown = text(VIEW, size)
    down = 1 if size.rows == 24 else 2
    assert blocks.large("subscapular", down)[0] in shown
    first = blocks.large("15.0", 2 if size.rows == 24 else 3)[0]
    assert first in shown
    assert (blocks.small("doubt?") if size.rows == 24 else blocks.large("doubt?", 2))[0] in shown


@pytest.mark.parametrize("size", SIZES[:2], ids=str)
def test_the_words_say_it_all(size: Size) -> None:
    """Who, which circuit, why doubtful, what may be said, how the sound is, the whole table."""
    shown = squeezed(text(VIEW, size))
    for words in (
        "Rowan Alderby",
        "Tobias Quill",
        "first circuit",
        "Doubtful: or fifty: five zero?",
        "no twelve point five",
        "LISTENING",
        "-32 dB",
        "Desk microphone",
        "en strict",
        "3 of 14",
        "> subscapular",
        *SITES,
        "12.4?",
        "due",
        "+-",
    ):
        assert words in shown, words


def test_a_small_terminal_still_shows_what_matters() -> None:
    """At 40x12: site, value, state and why."""
    shown = text(VIEW, Size(40, 12))
    assert "SUBSCAPULAR" in shown
    assert blocks.large("15.0", 2)[0] in shown
    assert "DOUBT?" in shown
    assert "or fifty: five zero?" in squeezed(shown)
    assert "LISTENING" in shown


def test_every_standing_has_its_own_word() -> None:
    """Colour carries nothing that a word does not: without styles no two states look alike."""
    shown = {text(replace(VIEW, standing=each), Size(80, 24)) for each in Standing}
    assert len(shown) == len(Standing)


def test_only_the_sixteen_colours() -> None:
    """Every style is one of the table, and every colour one that any terminal has."""
    used = {
        style.removeprefix("class:")
        for view in (VIEW, replace(VIEW, notice="Look.", menu=("1 chest",)))
        for line in render(view, Size(120, 40))
        for style, _ in line
        if style
    }
    assert used <= set(STYLES)
    for style in STYLES.values():
        assert all(part in {"bold", "reverse"} or part.startswith("ansi") for part in style.split())


@pytest.mark.parametrize("size", SIZES[:2], ids=str)
def test_the_help_shows_every_key(size: Size) -> None:
    """All lines of the table fit on the screen, what is said for them too."""
    for page in help_pages():
        shown = squeezed(text(replace(VIEW, help=page), size))
        for keys, does, spoken in page:
            said = f'"{spoken}"' if spoken else ""
            assert squeezed(f"{keys} {does} {said}") in shown
    assert tuple(line for page in help_pages() for line in page) == help_lines()


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_no_line_of_the_help_is_wasted(size: Size) -> None:
    """Nor where a line is wider than the screen and nothing that is said would follow it."""
    for page in help_pages():
        rows = text(replace(VIEW, help=page), size).splitlines()
        assert all(row.strip() for row in rows[: len(page) + 1])


@pytest.mark.parametrize("size", [Size(80, 24), Size(40, 12)], ids=str)
def test_a_long_list_is_whole(size: Size) -> None:
    """Ten reasons for care with their numbers, none broken in two lines."""
    reasons = [f"{number} {title}" for number, title in zip("1234567890", REASONS, strict=True)]
    lines = text(replace(VIEW, value="", menu=tuple(reasons)), size).splitlines()
    for reason in reasons:
        assert any(reason in line for line in lines), reason


REASONS = tuple(trade.CAUTION_NAMES.values())


def test_a_notice_stands_out_by_a_sign() -> None:
    """Not only by its style."""
    assert " ! Look." in text(replace(VIEW, notice="Look."), Size(80, 24))


def test_lost_sound_is_shown() -> None:
    """Overruns are counted on the screen."""
    sound = replace(VIEW.sound, overruns=3)
    assert "LOST 3" in text(replace(VIEW, sound=sound), Size(80, 24))


def test_without_sound_there_is_no_level() -> None:
    """A keypad session shows no meter that never moves."""
    sound = SoundView("KEYPAD ONLY", None, "", "")
    last: Line = render(replace(VIEW, sound=sound), Size(80, 24))[-1]
    assert plain([last]).strip() == "KEYPAD ONLY"


@pytest.mark.parametrize("sign", "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789.,-/?!:_' ")
def test_every_picture_is_whole(sign: str) -> None:
    """Five rows of one width, and no two signs look alike."""
    rows = blocks.large(sign)
    assert len(rows) == blocks.ROWS
    assert max(map(len, rows)) <= blocks.width(sign)
    others = [other for other in "ABCDEFGHIJKLMNOPQRSTUVWXYZ" if other != sign]
    assert rows not in [blocks.large(other) for other in others]


def test_half_blocks_are_three_lines_of_the_same_width() -> None:
    """The state's large word."""
    lines = blocks.small("confirm?")
    assert len(lines) == 3
    assert {len(line) for line in lines} == {blocks.width("confirm?")}


@pytest.mark.parametrize("standing", Standing)
@pytest.mark.parametrize("size", SIZES, ids=str)
def test_ascii_is_enough(standing: Standing, size: Size) -> None:
    """Without block characters site, value and state are still large, or stand out in words."""
    shown = text(replace(VIEW, standing=standing, ink=blocks.ASCII_INK), size)
    assert shown.isascii()
    first, *_ = blocks.large("15.0", ink="#")
    assert first.split()[0] in shown
    drawn = any(row.strip() and row in shown for row in blocks.large(str(standing), 2, ink="#"))
    assert drawn or str(standing) in shown


@pytest.mark.parametrize("standing", Standing)
def test_every_state_can_be_drawn_large(standing: Standing) -> None:
    """Each word of the state fits beside the table at 80 columns, in block letters."""
    assert blocks.can_draw(str(standing))
    assert blocks.width(str(standing)) < 37
