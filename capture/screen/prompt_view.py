"""The screen of the voice check: one prompt, as large as it fits. Pure: a view in, lines out."""

import textwrap
from dataclasses import dataclass

from capture.screen import blocks
from capture.screen.render import BAR, BIG, DIM, STRONG, WARN, Line, Size, cut, meter, safe
from capture.screen.view import SoundView

_SIZES = ((6, 3), (4, 2), (3, 2), (2, 2), (2, 1), (1, 1))
"""Enlargements of the letters, in width and in height, the largest first."""

_LEAST_FOOT = 6
"""Rows below the prompt: what was heard, notices, keys and the level."""

_SMALL_ROWS = 3

_STYLES = {
    "right at once": "class:saved",
    "doubtful": "class:doubtful",
    "asked again": "class:confirm",
    "silently wrong": "class:wrong",
}


@dataclass(frozen=True, slots=True)
class PromptView:
    """What the voice check shows.

    `words` are to be said, `about` tells when they are said in a visit. `last` is what became of
    the utterance before in words, `outcome` the same in one.
    """

    number: int
    count: int
    words: str
    about: str
    last: str
    outcome: str
    notice: str
    keys: str
    sound: SoundView


def render_prompt(view: PromptView, size: Size, ascii_only: bool) -> tuple[Line, ...]:
    """The whole screen: at most `size.rows` lines, none wider than `size.columns`."""
    width = size.columns
    bar = f" Voice check  {view.number} of {view.count}   {view.about}"
    lines: list[Line] = [((BAR, bar.ljust(width)),)]
    foot: list[Line] = []
    if view.last:
        style = _STYLES.get(view.outcome, STRONG)
        foot += [((style, f" {line}"),) for line in _wrapped(view.last, width)]
    if view.notice:
        foot += [((WARN, f" ! {line}"),) for line in _wrapped(view.notice, width - 2)]
    foot = foot[: max(0, size.rows - 4)]
    foot += [((DIM, f" {line}"),) for line in _wrapped(view.keys, width)]
    foot.append(meter(view.sound, width))
    room = max(1, size.rows - len(lines) - max(len(foot), min(_LEAST_FOOT, size.rows // 3)))
    head = [((STRONG, " Say:"),), ()] if room > blocks.ROWS + 2 else []
    drawn = _large(view.words, width - 2, room - len(head), ascii_only)
    middle: list[Line] = [*head, *(((BIG, f" {row}"),) for row in drawn)]
    gap = max(0, size.rows - len(lines) - len(middle) - len(foot))
    word = _outcome(view.outcome, width - 2, gap - 1, ascii_only)
    foot = [*word, *foot]
    gap -= len(word)
    return tuple(
        cut(safe(line), width) for line in [*lines, *middle, *[()] * gap, *foot][: size.rows]
    )


def _large(text: str, columns: int, rows: int, ascii_only: bool) -> tuple[str, ...]:
    """The words in block letters, broken between words; in plain capitals where they don't fit."""
    text = text.upper()
    ink = blocks.ASCII_INK if ascii_only else blocks.INK
    if blocks.can_draw(text):
        for times, down in _SIZES:
            broken = _broken(text.split(), columns, times)
            high = len(broken) * (down * blocks.ROWS + 1) - 1
            # The highest letters only where they leave as much room below.
            if broken and high <= (rows if down < 3 else rows // 2):
                drawn: list[str] = []
                for part in broken:
                    drawn += [*blocks.large(part, times, down, ink), ""]
                return tuple(drawn[:-1])
    return tuple(textwrap.wrap(text, max(10, columns)))[: max(1, rows)]


def _outcome(outcome: str, columns: int, rows: int, ascii_only: bool) -> list[Line]:
    """How it went in large letters, where there are rows left for them."""
    style = _STYLES.get(outcome)
    if style is None or blocks.width(outcome) > columns:
        return []
    ink = blocks.ASCII_INK if ascii_only else blocks.INK
    if rows >= 2 * blocks.ROWS + 2 and blocks.width(outcome, 2) <= columns:
        drawn = blocks.large(outcome, 2, 2, ink)
    elif rows >= blocks.ROWS:
        drawn = blocks.large(outcome, ink=ink)
    elif rows >= _SMALL_ROWS and not ascii_only:
        drawn = blocks.small(outcome)
    else:
        return []
    return [((style, f" {row}"),) for row in drawn]


def _broken(words: list[str], columns: int, times: int) -> list[str]:
    """Words put together into as few lines as they need; empty if one of them is too wide."""
    lines: list[str] = []
    for word in words:
        joined = f"{lines[-1]} {word}" if lines else word
        if lines and blocks.width(joined, times) <= columns:
            lines[-1] = joined
        elif blocks.width(word, times) <= columns:
            lines.append(word)
        else:
            return []
    return lines


def _wrapped(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, max(10, width - 2))
