"""Units of the trade as whole numbers, so that nothing is rounded by accident.

Skinfolds are whole tenths of a millimetre. Tape lengths are whole sixteenths of an inch or whole
millimetres; their midpoints may fall between two graduations and are rounded here, once, by a
stated rule.
"""

import re
from dataclasses import dataclass
from fractions import Fraction


def millimetres(value_tenths_mm: int) -> str:
    """Tenths of a millimetre as decimal text.

    >>> millimetres(124), millimetres(50)
    ('12.4', '5.0')
    """
    return f"{value_tenths_mm // 10}.{value_tenths_mm % 10}"


@dataclass(frozen=True, slots=True)
class Inches:
    """A tape length in whole sixteenths of an inch (one inch is 25.4 mm exactly)."""

    sixteenths: int

    def part(self, share: tuple[int, int], *, up: bool = False) -> "tuple[Inches, bool]":
        """A part of the length, rounded down (or up) to the sixteenth, and whether it had to be.

        >>> Inches(108).part((1, 3))      # a third of 6 3/4 in is 2 1/4 in
        (Inches(sixteenths=36), False)
        """
        part, rounded = _part(self.sixteenths, share, up=up)
        return Inches(part), rounded

    def halved(self, *, up: bool = False) -> "tuple[Inches, bool]":
        """Half the length, and whether it had to be rounded.

        An odd number of sixteenths has its half between two marks; it is rounded down, towards
        the end that the tape is read from, or up where the protocol says so.

        >>> Inches(108).halved()      # 6 3/4 in gives 3 3/8 in
        (Inches(sixteenths=54), False)
        >>> Inches(7).halved()
        (Inches(sixteenths=3), True)
        """
        return Inches((self.sixteenths + up) // 2), self.sixteenths % 2 == 1

    @property
    def length_mm(self) -> Fraction:
        """The same length in millimetres, exactly."""
        return Fraction(self.sixteenths * 254, 160)

    def __str__(self) -> str:
        whole, rest = divmod(self.sixteenths, 16)
        if rest == 0:
            return f"{whole} in"
        part = Fraction(rest, 16)
        text = f"{part.numerator}/{part.denominator} in"
        return f"{whole} {text}" if whole else text


@dataclass(frozen=True, slots=True)
class Centimetres:
    """A tape length in whole millimetres, read from a tape in centimetres."""

    millimetres: int

    def part(self, share: tuple[int, int], *, up: bool = False) -> "tuple[Centimetres, bool]":
        """A part of the length, rounded down (or up) to the millimetre, and whether it had to be.

        >>> Centimetres(200).part((1, 3))      # 6.67 cm lies between two marks
        (Centimetres(millimetres=66), True)
        """
        part, rounded = _part(self.millimetres, share, up=up)
        return Centimetres(part), rounded

    def halved(self, *, up: bool = False) -> "tuple[Centimetres, bool]":
        """Half the length, rounded down (or up) to the millimetre, and whether it had to be.

        >>> Centimetres(372).halved()      # 37.2 cm gives 18.6 cm
        (Centimetres(millimetres=186), False)
        """
        return Centimetres((self.millimetres + up) // 2), self.millimetres % 2 == 1

    @property
    def length_mm(self) -> Fraction:
        """The same length in millimetres, exactly."""
        return Fraction(self.millimetres)

    def __str__(self) -> str:
        return f"{self.millimetres // 10}.{self.millimetres % 10} cm"


def _part(length: int, share: tuple[int, int], *, up: bool) -> tuple[int, bool]:
    above, below = share
    whole, rest = divmod(length * above, below)
    return whole + (up and rest > 0), rest > 0


TapeLength = Inches | Centimetres
"""A length as called from the tape, in the tape's own graduation."""

_INCH_TEXT = re.compile(
    r"""(?:(?P<whole>\d{1,3}(?:\.\d{1,4})?)(?:\s+|(?!\d|/)))?(?:(?P<part>\d{1,2})/(?P<of>\d{1,2}))?
        \s*(?:in|inch|inches|")""",
    re.VERBOSE | re.ASCII,
)
_METRIC_TEXT = re.compile(r"(?P<number>\d{1,4}(?:\.\d)?)\s*(?P<unit>cm|mm)", re.ASCII)
LONGEST_MM = 2500
"""No tape of the trade is longer."""


def tape_length(text: str) -> TapeLength | None:
    """The length that a text tells in inches, centimetres or millimetres, None if it tells none.

    Exact: a length between two graduations, such as a third of an inch, is none.

    >>> tape_length("6 3/4 in"), tape_length("37.2 cm"), tape_length("6.7 in")
    (Inches(sixteenths=108), Centimetres(millimetres=372), None)
    """
    told = " ".join(text.replace(",", ".").lower().split())
    inches, metric = _INCH_TEXT.fullmatch(told), _METRIC_TEXT.fullmatch(told)
    length: TapeLength | None = None
    if metric is not None:
        length_mm = Fraction(metric["number"]) * (10 if metric["unit"] == "cm" else 1)
        length = Centimetres(int(length_mm)) if length_mm.denominator == 1 else None
    elif inches is not None and (inches["whole"] or inches["part"]):
        if inches["of"] is not None and not 0 < int(inches["part"]) < int(inches["of"]):
            return None
        part = Fraction(int(inches["part"]), int(inches["of"])) if inches["of"] else Fraction(0)
        if part and "." in (inches["whole"] or ""):
            return None
        sixteenths = (Fraction(inches["whole"] or 0) + part) * 16
        length = Inches(int(sixteenths)) if sixteenths.denominator == 1 else None
    return length if length is not None and 0 < length.length_mm <= LONGEST_MM else None
