"""The one place where commands write to the terminal: lines that cannot break it.

A test keeps `print` out of every other module.
"""

import sys
from typing import Any

from capture.showable import json_text, one_line


def show(*lines: str, error: bool = False) -> None:
    """Write lines to the standard output, or to the error output; each at once.

    What the terminal would act upon is taken out; what its encoding lacks becomes a question mark.
    """
    file = sys.stderr if error else sys.stdout
    for line in lines:
        text = f"{one_line(line)}\n"
        try:
            file.write(text)
        except UnicodeEncodeError as refused:
            file.write(text.encode(refused.encoding, "replace").decode(refused.encoding))
    file.flush()


def show_progress(line: str, *, done: bool) -> None:
    """Tell how far something is on one line of the error output that each call writes anew.

    Where that is no terminal nothing is written. When `done`, the line is wiped away.
    """
    if sys.stderr.isatty():
        text = "" if done else one_line(line)
        sys.stderr.write(f"\r\x1b[K{text}")
        sys.stderr.flush()


def show_json(value: Any, *, indent: int | None = None) -> None:
    """Write a value as JSON. What a terminal acts upon is escaped: a reader gets it back."""
    for line in json_text(value, indent=indent).split("\n"):
        show(line)
