"""Anatomical sites: how each is found and how its fold is lifted.

The sites themselves lie in the protocol files, in `data/`.
"""

from dataclasses import dataclass
from enum import StrEnum


class Fold(StrEnum):
    """Which way the crest of the lifted fold runs."""

    VERTICAL = "vertical"
    HORIZONTAL = "horizontal"
    DIAGONAL = "diagonal"


class Side(StrEnum):
    """The side of the body that is measured."""

    RIGHT = "right"
    LEFT = "left"


HALF = (1, 2)
"""The midpoint, as the share of a tape's length at which the mark lies."""


@dataclass(frozen=True, slots=True)
class Site:
    """One site of a protocol.

    `usual_tenths_mm` is the range (lowest, highest) in tenths of a millimetre that passes
    without a question. `tape_from` names the end from which the midpoint mark is measured and
    `tape_to` the other end; both are None for a site that is found without a tape.
    `tape_usual_mm` is the range of whole millimetres in which the tape length passes without a
    question. `tape_share` is the fraction of the tape's length at which the mark lies, counted
    from `tape_from`; `tape_share_women` the one for women where it is another. `spoken` are the
    names that call the site, `picture` its drawing.
    """

    id: str
    title: str
    fold: Fold
    landmark: str
    usual_tenths_mm: tuple[int, int]
    tape_from: str | None = None
    tape_to: str | None = None
    tape_usual_mm: tuple[int, int] | None = None
    side: Side = Side.RIGHT
    spoken: tuple[str, ...] = ()
    picture: str = ""
    tape_share: tuple[int, int] = HALF
    tape_share_women: tuple[int, int] | None = None

    def share_of(self, *, women: bool) -> tuple[int, int]:
        """Where on the tape the mark lies for a woman or a man."""
        if women and self.tape_share_women is not None:
            return self.tape_share_women
        return self.tape_share
