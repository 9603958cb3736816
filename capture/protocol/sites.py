"""Anatomical sites: how each is found and how its fold is lifted.

The landmarks follow the site definitions that the seven-site equations were made with (Jackson
and Pollock 1978; Jackson, Pollock and Ward 1980), told in our own words. The usual ranges are
common practice, no source: values outside them are possible and only get a question.
"""

from dataclasses import dataclass
from enum import StrEnum


class Fold(StrEnum):
    """Which way the crest of the lifted fold runs."""

    VERTICAL = "vertical"
    HORIZONTAL = "horizontal"
    DIAGONAL = "diagonal"


@dataclass(frozen=True, slots=True)
class Site:
    """One site of a protocol.

    `usual_tenths_mm` is the range (lowest, highest) in tenths of a millimetre that passes
    without a question. `tape_from` names the end from which the midpoint mark is measured; it is
    None for a site that is found without a tape.
    """

    id: str
    title: str
    fold: Fold
    landmark: str
    usual_tenths_mm: tuple[int, int]
    tape_from: str | None = None


CHEST = Site(
    "chest",
    "chest",
    Fold.DIAGONAL,
    "half way between the front of the armpit fold and the nipple (men), "
    "a third of the way from the armpit fold (women)",
    (30, 450),
    "the front of the armpit fold",
)
MIDAXILLARY = Site(
    "midaxillary",
    "midaxillary",
    Fold.VERTICAL,
    "on the line straight down from the armpit, level with the lower end of the breastbone",
    (30, 500),
)
TRICEPS = Site(
    "triceps",
    "triceps",
    Fold.VERTICAL,
    "back of the upper arm, half way from the shoulder's bony tip to the point of the elbow",
    (30, 500),
    "the elbow",
)
SUBSCAPULAR = Site(
    "subscapular",
    "subscapular",
    Fold.DIAGONAL,
    "one to two centimetres below the lower corner of the shoulder blade",
    (50, 550),
)
ABDOMINAL = Site(
    "abdominal",
    "abdominal",
    Fold.VERTICAL,
    "two centimetres to the right of the navel",
    (40, 650),
)
SUPRAILIAC = Site(
    "suprailiac",
    "suprailiac",
    Fold.DIAGONAL,
    "just above the hip bone's crest, below the front of the armpit fold",
    (30, 600),
)
THIGH = Site(
    "thigh",
    "thigh",
    Fold.VERTICAL,
    "front of the thigh, half way from the crease of the hip to the upper edge of the kneecap",
    (40, 700),
    "the kneecap",
)
