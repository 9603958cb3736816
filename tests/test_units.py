"""Whole numbers of the trade's units."""

from decimal import Decimal
from fractions import Fraction

import pytest

from capture.units import Centimetres, Inches, millimetres

FORTY_INCHES = range(1, 40 * 16 + 1)


def length_of(text: str) -> Fraction:
    """The length that a text such as "6 3/4 in" tells, in its own unit."""
    return sum((Fraction(part) for part in text.split()[:-1]), Fraction(0))


def test_tenths_are_written_as_decimals() -> None:
    """Every value of a caliper is written with one digit after its point."""
    written = {value: millimetres(value) for value in range(1000)}
    assert all(Decimal(text) * 10 == value for value, text in written.items())
    assert all(len(text.partition(".")[2]) == 1 for text in written.values())


def test_half_of_every_length_in_sixteenths() -> None:
    """The midpoint of any tape length up to 40 inches is its half, down to the mark below."""
    for sixteenths in FORTY_INCHES:
        mark, rounded = Inches(sixteenths).halved()
        exact = Fraction(sixteenths, 16) / 2
        error = exact - Fraction(mark.sixteenths, 16)
        assert error == (Fraction(1, 32) if rounded else 0)
        assert rounded == (exact % Fraction(1, 16) != 0)


@pytest.mark.parametrize("up", [False, True], ids=["down", "up"])
@pytest.mark.parametrize("share", [(1, 2), (1, 3), (2, 3), (1, 4)], ids=str)
def test_any_part_of_every_length_in_sixteenths(share: tuple[int, int], up: bool) -> None:
    """A third as exactly as a half: never more than a mark off, and said so if it had to be."""
    for sixteenths in FORTY_INCHES:
        mark, rounded = Inches(sixteenths).part(share, up=up)
        over = Fraction(mark.sixteenths, 16) - Fraction(sixteenths, 16) * Fraction(*share)
        assert rounded == (over != 0)
        assert 0 <= (over if up else -over) < Fraction(1, 16)
        assert Centimetres(sixteenths).part(share, up=up)[0].millimetres == mark.sixteenths
        if share == (1, 2):
            assert (mark, rounded) == Inches(sixteenths).halved(up=up)


@pytest.mark.parametrize(
    ("length", "half"),
    [("6 3/4 in", "3 3/8 in"), ("14 1/2 in", "7 1/4 in")],
    ids=["six and three quarters", "fourteen and a half"],
)
def test_midpoints_of_the_trade(length: str, half: str) -> None:
    """Midpoints as assessors know them by heart (common practice, no source)."""
    mark, rounded = Inches(int(length_of(length) * 16)).halved()
    assert (str(mark), rounded) == (half, False)


def test_inches_are_written_in_lowest_terms() -> None:
    """A length on the screen says exactly its sixteenths, as a reduced fraction."""
    for sixteenths in FORTY_INCHES:
        text = str(Inches(sixteenths))
        assert length_of(text) == Fraction(sixteenths, 16)
        part = next((word for word in text.split() if "/" in word), None)
        assert (part is None) == (sixteenths % 16 == 0)
        assert part is None or part == str(Fraction(sixteenths % 16, 16))


def test_an_inch_is_25_4_mm() -> None:
    """Inches turn into millimetres exactly (international inch, 1959)."""
    assert Inches(16).length_mm == Fraction("25.4")
    assert all(
        Inches(each).length_mm == Fraction(each, 16) * Fraction("25.4") for each in FORTY_INCHES
    )


def test_half_of_every_length_in_millimetres() -> None:
    """The midpoint of a metric length is its half, down to the millimetre below."""
    for length_mm in range(1, 1000):
        mark, rounded = Centimetres(length_mm).halved()
        assert Fraction(length_mm, 2) - mark.length_mm == (Fraction(1, 2) if rounded else 0)
        assert Decimal(str(Centimetres(length_mm)).removesuffix(" cm")) * 10 == length_mm
