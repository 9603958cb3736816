"""Numbers as they are typed: readings, tape lengths, small ones. Pure; nothing is guessed."""

from capture.language.meaning import SMALLEST_TENTHS_MM
from capture.units import Centimetres, Inches, TapeLength

LONGEST_INCHES = 99
LONGEST_CENTIMETRES = 99
LARGEST_SMALL_TENTHS = 99
"""What the voice can say as well. The last: cloth in millimetres, an offset in centimetres."""

_SIXTEENTHS = {"2": 8, "4": 4, "8": 2, "16": 1}
_MOST_CHARACTERS, _MOST_TAPE_CHARACTERS = 4, 8


def with_digit(typed: str, key: str) -> str | None:
    """A reading with one more digit or its point; None where there is no room for it."""
    if len(typed) == _MOST_CHARACTERS or (key == "." and "." in typed):
        return None
    return typed + key


def reading_tenths_mm(typed: str) -> int | None:
    """A reading as it was typed, None for what is none.

    >>> reading_tenths_mm("18.4"), reading_tenths_mm("7"), reading_tenths_mm("0.4")
    (184, 70, None)
    """
    whole, _, tenth = typed.partition(".")
    complete = whole.isdigit() and len(whole) <= 2 and len(tenth) == ("." in typed)
    value = int(whole) * 10 + int(tenth or 0) if complete else 0
    return value if value >= SMALLEST_TENTHS_MM else None


def small_tenths(typed: str) -> int | None:
    """A number from 0.0 to 9.9 in tenths, None for what is none.

    >>> small_tenths("1.5"), small_tenths("2"), small_tenths("10"), small_tenths("2.")
    (15, 20, None, None)
    """
    whole, point, tenth = typed.partition(".")
    number = int(f"{whole}{tenth or 0}") if whole.isdigit() and len(tenth) == bool(point) else -1
    return number if 0 <= number <= LARGEST_SMALL_TENTHS else None


def with_tape_sign(typed: str, sign: str) -> str | None:
    """A tape length with one more sign; None where there is no room for it."""
    return None if len(typed) == _MOST_TAPE_CHARACTERS else typed + sign


def tape_length(typed: str) -> TapeLength | None:
    """A tape length as it was typed, None for what is none.

    Inches may have a fraction in halves, quarters, eighths or sixteenths. A point, or a "c" at
    the end, makes centimetres.

    >>> tape_length("6 3/4"), tape_length("37.2"), tape_length("37c"), tape_length("6 3/5")
    (Inches(sixteenths=108), Centimetres(millimetres=372), Centimetres(millimetres=370), None)
    """
    text = typed.strip()
    if "." in text or text.endswith("c"):
        whole, _, tenth = text.removesuffix("c").strip().partition(".")
        if not _number(whole, LONGEST_CENTIMETRES) or len(tenth) != ("." in text):
            return None
        if tenth and not _number(tenth, 9):
            return None
        length = int(whole) * 10 + int(tenth or 0)
        return Centimetres(length) if length else None
    whole, _, fraction = text.partition(" ") if " " in text else (
        ("0", "", text) if "/" in text else (text, "", "")
    )  # fmt: skip
    if not _number(whole, LONGEST_INCHES):
        return None
    sixteenths = int(whole) * 16
    if fraction:
        above, slash, below = fraction.strip().partition("/")
        if not slash or below not in _SIXTEENTHS or not _number(above, int(below) - 1):
            return None
        sixteenths += int(above) * _SIXTEENTHS[below]
    return Inches(sixteenths) if sixteenths else None


def _number(text: str, most: int) -> bool:
    return text.isascii() and text.isdigit() and len(text) <= 2 and int(text) <= most
