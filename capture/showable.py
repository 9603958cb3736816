"""Text from outside, made safe to be shown on a terminal, in one line and of a known width.

Names, notes, file names and words of other programs may hold what a terminal acts upon (control
characters, escape sequences), what turns the order of letters round, what takes no place, or
accents without end. What is stored and exported stays as it is: only what is shown passes here.
"""

import json
import unicodedata
from typing import Any

STAND_IN = "?"
"""Stands for a character that is not shown."""

MOST_MARKS = 4
"""Accents on one letter that are shown; no living script needs more (from memory)."""

_BLANKS = frozenset("\t\n\v\f\r\x1c\x1d\x1e\x1f\x85\u2028\u2029")
"""What ends a line or jumps; it becomes a space."""

_DROPPED = frozenset("\u00ad\u034f\u200b\u200c\u200d\u2060\ufeff")
"""What takes no place and only says how letters join or lines break; it is left out."""

_LOOK_EMPTY = frozenset("\u115f\u1160\u17b4\u17b5\u2800\u3164\uffa0")
"""Letters and signs by their category that look like nothing (Hangul fillers, Braille blank)."""

_ALONE = "\u25cc"
"""The dotted circle that carries an accent without a letter."""


def one_line(text: str, *, joiners: bool = False) -> str:
    r"""The text without what a terminal acts upon; applied twice it is the same.

    Line ends and tabs become spaces; control characters, directions and what has no form become
    a question mark each; joiners and variation selectors are left out, unless they are wanted
    because paper has no columns; more than four accents on a letter are left out.

    >>> one_line("Ada\x1b[2J Lind\n")
    'Ada?[2J Lind '
    """
    if text.isascii() and text.isprintable():
        return text
    shown: list[str] = []
    marks = 0
    for letter in text:
        if letter in _DROPPED or _is_selector(letter):
            if joiners and shown:
                shown.append(letter)
            continue
        if letter in _BLANKS:
            shown.append(" ")
        elif letter in _LOOK_EMPTY or not (letter.isprintable() or letter.isspace()):
            shown.append(STAND_IN)
        elif letter.isspace():
            shown.append(" ")
        elif _is_mark(letter):
            marks += 1
            if marks > MOST_MARKS:
                continue
            if not shown or shown[-1].isspace():
                shown.append(_ALONE)
            shown.append(letter)
            continue
        else:
            shown.append(letter)
        marks = 0
    return "".join(shown)


def cells(text: str) -> int:
    r"""How many columns of a terminal a safe text takes.

    >>> cells("Ada"), cells("李娜"), cells("e\u0301")
    (3, 4, 1)
    """
    return len(text) if text.isascii() else sum(map(_width, text))


def cut(text: str, columns: int) -> str:
    """The beginning of a safe text that fits, with a mark where something is left out.

    >>> cut("Ada Lind", 5), cut("李娜", 3)
    ('Ada …', '李…')
    """
    return text if cells(text) <= columns else begin(text, columns - 1) + "…"[: max(0, columns)]


def begin(text: str, columns: int) -> str:
    """The beginning of a safe text that fits, and no mark."""
    if text.isascii():
        return text[: max(0, columns)]
    left, kept = columns, 0
    for letter in text:
        left -= _width(letter)
        if left < 0:
            break
        kept += 1
    return text[:kept]


def padded(text: str, columns: int) -> str:
    """A safe text cut or filled up to just so many columns."""
    text = cut(text, columns)
    return text + " " * (columns - cells(text))


def json_text(value: Any, *, indent: int | None = None) -> str:
    r"""A value as JSON, with every character escaped that a terminal would act upon.

    >>> json_text({"file": "Übung\x9b1m.wav"})
    '{"file":"Übung\\u009b1m.wav"}'
    """
    separators = (",", ": " if indent else ":")

    def dumped(ascii_only: bool) -> str:
        return json.dumps(
            value, ensure_ascii=ascii_only, allow_nan=False, indent=indent, separators=separators
        )

    text = dumped(ascii_only=False)
    held = {letter for letter in set(text) if not (letter.isascii() and letter.isprintable())}
    for letter in held - {"\n"}:
        if one_line(f"a{letter}") != f"a{letter}":
            # JSON itself leaves the control character 7F as it is.
            escaped = f"\\u{ord(letter):04x}" if ord(letter) < 0x10000 else json.dumps(letter)[1:-1]
            text = text.replace(letter, escaped)
    if any(map(_is_mark, held)) and one_line(text) != text.replace("\n", " "):
        # Accents without end: each for itself is harmless.
        return dumped(ascii_only=True)
    return text


def _is_mark(letter: str) -> bool:
    return unicodedata.category(letter) in {"Mn", "Me", "Mc"}


def _width(letter: str) -> int:
    joined = "\u1161" <= letter <= "\u11ff" or "\ud7b0" <= letter <= "\ud7ff"
    if joined or unicodedata.category(letter) in {"Mn", "Me"}:
        return 0  # accents, and the vowels and finals that a Hangul syllable is built from
    return 2 if unicodedata.east_asian_width(letter) in {"W", "F"} else 1


def _is_selector(letter: str) -> bool:
    """What chooses between drawings of one sign, some of other width: variants and skin tones."""
    return (
        "\ufe00" <= letter <= "\ufe0f"
        or "\U0001f3fb" <= letter <= "\U0001f3ff"
        or "\U000e0100" <= letter <= "\U000e01ef"
    )
