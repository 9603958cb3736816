"""What a check of the machine finds, as lines for a person."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from capture.errors import CaptureError


class Mark(StrEnum):
    """How a check went; words, so that colour is not needed."""

    OK = "ok"
    NOTE = "note"
    FAILED = "FAILED"


@dataclass(frozen=True, slots=True)
class Finding:
    """One line: what was looked at, how it is, what to do. `needed`: no voice without it."""

    mark: Mark
    what: str
    told: str
    hint: str = ""
    needed: bool = True

    def line(self) -> str:
        """The finding as it is written."""
        return f"{self.mark:<6}  {self.what:<10}  {self.told} {self.hint}".rstrip()


def guarded(what: str, check: Callable[[], Finding], *, needed: bool = True) -> Finding:
    """What a check finds; its CaptureError is a failure of this name."""
    try:
        return check()
    except CaptureError as error:
        return Finding(Mark.FAILED, what, error.message, error.hint, needed)
