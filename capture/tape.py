"""The command `foldcall tape`: where the mark goes at the half, or another part, of a length."""

import argparse
from fractions import Fraction

from capture.errors import MisuseError
from capture.protocol.sites import HALF
from capture.terminal import show
from capture.units import Centimetres, Inches, TapeLength, tape_length


def add_command(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `tape` to the commands of a parser."""
    parser = commands.add_parser("tape", help="the midpoint mark of a tape length")
    parser.add_argument(
        "length", metavar="LENGTH", nargs="+", help='such as "6 3/4 in", "37.2 cm" or "372 mm"'
    )
    parser.add_argument(
        "--at",
        metavar="PART",
        default="1/2",
        help="which part of the length, such as 1/3 for the chest of women (default: 1/2)",
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
    for line in mark_lines(length, _part(chosen.at)):
        show(line)
    return 0


def mark_lines(length: TapeLength, share: tuple[int, int] = HALF) -> tuple[str, ...]:
    """The mark alone on the first line, then how it came about."""
    mark, rounded = length.part(share)
    what = "half" if share == HALF else f"{share[0]}/{share[1]}"
    told = f"{what.capitalize()} of {length}, measured from the end that does not move."
    lines = [str(mark), told]
    if rounded:
        exact = _exact(length, Fraction(*share))
        lines.append(f"The exact {what} is {exact}, between two marks; rounded down.")
    return tuple(lines)


def _part(told: str) -> tuple[int, int]:
    above, _, below = told.partition("/")
    if len(told) == 3 and told.isascii() and above.isdigit() and below.isdigit():
        share = int(above), int(below)
        if 0 < share[0] < share[1]:
            return share
    raise MisuseError(f"'{told[:20]}' is no part of a length.", "Write it like 1/2 or 1/3.")


def _exact(length: TapeLength, share: Fraction) -> str:
    match length:
        case Inches(sixteenths):
            whole, rest = divmod(Fraction(sixteenths, 16) * share, 1)
            return f"{whole} {rest} in" if whole else f"{rest} in"
        case Centimetres(millimetres):
            exact = Fraction(millimetres, 10) * share
            hundredths, over = divmod(exact * 100, 1)
            about = "about " if over else ""
            return f"{about}{hundredths // 100}.{hundredths % 100:02d} cm"
