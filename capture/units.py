"""Units of the trade as whole numbers, so that nothing is rounded by accident.

Skinfolds are whole tenths of a millimetre. Tape lengths are whole sixteenths of an inch or whole
millimetres; their midpoints may fall between two graduations and are rounded here, once, by a
stated rule.
"""

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

    def halved(self) -> "tuple[Inches, bool]":
        """Half the length, and whether it had to be rounded.

        An odd number of sixteenths has its half between two marks; it is rounded down, towards
        the end that the tape is read from.

        >>> Inches(108).halved()      # 6 3/4 in gives 3 3/8 in
        (Inches(sixteenths=54), False)
        >>> Inches(7).halved()
        (Inches(sixteenths=3), True)
        """
        return Inches(self.sixteenths // 2), self.sixteenths % 2 == 1

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

    def halved(self) -> "tuple[Centimetres, bool]":
        """Half the length, rounded down to the millimetre, and whether it had to be rounded.

        >>> Centimetres(372).halved()      # 37.2 cm gives 18.6 cm
        (Centimetres(millimetres=186), False)
        """
        return Centimetres(self.millimetres // 2), self.millimetres % 2 == 1

    @property
    def length_mm(self) -> Fraction:
        """The same length in millimetres, exactly."""
        return Fraction(self.millimetres)

    def __str__(self) -> str:
        return f"{self.millimetres // 10}.{self.millimetres % 10} cm"


TapeLength = Inches | Centimetres
"""A length as called from the tape, in the tape's own graduation."""
