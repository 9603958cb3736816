"""The command `foldcall tape`: where the mark goes at half a tape length."""

import argparse
from fractions import Fraction

from capture.errors import MisuseError
from capture.terminal import show
from capture.units import Centimetres, Inches, TapeLength, tape_length


def add_command(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `tape` to the commands of a parser."""
    parser = commands.add_parser("tape", help="the midpoint mark of a tape length")
    parser.add_argument(
        "length", metavar="LENGTH", nargs="+", help='such as "6 3/4 in", "37.2 cm" or "372 mm"'
    )
    parser.set_defaults(command=run)


def run(chosen: argparse.Namespace) -> int:
    """Run the command; the exit code."""
    text = " ".join(chosen.length)
    length = tape_length(text)
    if length is None:
        raise MisuseError(
            f"'{' '.join(text.split())[:40]}' is no tape length.",
            'Write inches in sixteenths, or whole millimetres, with the unit: "6 3/4 in", '
            '"37.2 cm".',
        )
    for line in mark_lines(length):
        show(line)
    return 0


def mark_lines(length: TapeLength) -> tuple[str, ...]:
    """The mark alone on the first line, then how it came about."""
    mark, rounded = length.halved()
    lines = [str(mark), f"Half of {length}, measured from the end that does not move."]
    if rounded:
        lines.append(f"The exact half is {_exact_half(length)}, between two marks; rounded down.")
    return tuple(lines)


def _exact_half(length: TapeLength) -> str:
    match length:
        case Inches(sixteenths):
            whole, rest = divmod(Fraction(sixteenths, 32), 1)
            return f"{whole} {rest} in" if whole else f"{rest} in"
        case Centimetres(millimetres):
            return f"{millimetres // 20}.{millimetres * 5 % 100:02d} cm"
