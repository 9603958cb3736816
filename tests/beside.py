"""Another program that has a store open while a test goes on."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).parents[1]


@contextmanager
def another_program(code: str, path: Path) -> Iterator[None]:
    """Run this code with the path as its argument.

    It prints "open" when it holds what it shall hold, and goes on to its end when it is given a
    line, which is after the block.
    """
    with subprocess.Popen(
        [sys.executable, "-c", code, str(path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    ) as program:
        assert program.stdout is not None
        assert program.stdout.readline() == "open\n"
        yield
        program.communicate("go on\n")
