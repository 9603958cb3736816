"""`foldcall tape`: the midpoint mark from the command line."""

from fractions import Fraction

import pytest

from capture.cli import main
from capture.tape import mark_lines
from capture.units import Centimetres, Inches, tape_length


def amount(text: str) -> Fraction:
    """The number in a text such as "6 3/4 in", in its own unit."""
    return sum((Fraction(part) for part in text.split()[:-1]), Fraction(0))


@pytest.mark.parametrize(
    ("length", "mark"),
    [("6 3/4 in", "3 3/8 in"), ("14 1/2 in", "7 1/4 in"), ("37.2 cm", "18.6 cm")],
)
def test_the_mark_comes_first(length: str, mark: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The first line is the mark and nothing else (common practice, no source)."""
    assert main(["tape", length]) == 0
    assert capsys.readouterr().out.splitlines()[0] == mark


@pytest.mark.parametrize(
    ("length", "lines"),
    [
        ("6 3/4 in", ["2 1/4 in", "1/3 of 6 3/4 in, measured from the end that does not move."]),
        ("20 cm", ["6.6 cm", "1/3 of 20.0 cm, measured from the end that does not move.",
                   "The exact 1/3 is about 6.66 cm, between two marks; rounded down."]),
        ("7 in", ["2 5/16 in", "1/3 of 7 in, measured from the end that does not move.",
                  "The exact 1/3 is 2 1/3 in, between two marks; rounded down."]),
    ],
)  # fmt: skip
def test_a_third_for_the_chest_of_women(
    length: str, lines: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """One third of the way from armpit fold to nipple (site table of a textbook, NASM 11-6)."""
    assert main(["tape", length, "--at", "1/3"]) == 0
    assert capsys.readouterr().out.splitlines() == lines


@pytest.mark.parametrize("part", ["3/1", "1/1", "third", "1/0", "0/3", "1/33", ""])
def test_a_part_that_is_none(part: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The error says how to write one."""
    assert main(["tape", "20 cm", "--at", part]) == 2
    assert "1/3" in capsys.readouterr().err


def test_every_sixteenth_to_forty_inches_from_its_text() -> None:
    """Written in any usual way, a length is read exactly and its half is exact or told."""
    for sixteenths in range(1, 40 * 16 + 1):
        exact = Fraction(sixteenths, 16)
        whole, part = divmod(exact, 1)
        texts = [f"{whole} {part} in" if part else f"{whole} in", f'{float(exact)}"']
        texts += (
            [f"{part} inch"]
            if not whole
            else [f"{whole} {sixteenths % 16}/16 inches"] * (sixteenths % 16 > 0)
        )
        for text in texts:
            assert tape_length(text) == Inches(sixteenths), text
        lines = mark_lines(Inches(sixteenths))
        mark = amount(lines[0])
        assert exact / 2 - mark == (Fraction(1, 32) if sixteenths % 2 else 0)
        assert (len(lines) == 3) == (sixteenths % 2 == 1)
        if sixteenths % 2:
            told = lines[2].removeprefix("The exact half is ").partition(",")[0]
            assert amount(told) == exact / 2
            assert "rounded down" in lines[2]


def test_every_millimetre_to_a_metre_from_its_text() -> None:
    """Centimetres and millimetres are read exactly; an odd one has its half told."""
    for length_mm in range(1, 1001):
        length = Centimetres(length_mm)
        assert tape_length(f"{length_mm} mm") == length
        assert tape_length(f"{length_mm // 10},{length_mm % 10}cm") == length
        lines = mark_lines(length)
        assert Fraction(length_mm, 20) - amount(lines[0]) == Fraction(length_mm % 2, 20)
        if length_mm % 2:
            told = lines[2].removeprefix("The exact half is ").partition(",")[0]
            assert amount(told) == Fraction(length_mm, 20)


@pytest.mark.parametrize(
    "text",
    [
        "", "six", "6", "6 3/4", "6 1/3 in", "6 3/0 in", "6 5/4 in", "6 0/4 in", "6.7 in",
        "6.5 1/4 in", "0 in", "0 cm", "-6 in", "37.25 cm", "0.5 mm", "9999 cm", "6 3/4 km",
        "6 3/4 in 2", "1/2/4 in", "in",
    ],
)  # fmt: skip
def test_what_is_no_length_is_told_in_one_line(
    text: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Bad input ends with exit code 2, one line that says what to write, and no mark."""
    assert main(["tape", text]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.count("\n") == 1
    assert "6 3/4 in" in printed.err
