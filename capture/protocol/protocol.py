"""A protocol: which sites, in which order, how often, and when two readings disagree."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from capture.protocol.sites import Site


class Whichever(StrEnum):
    """Which of the two bounds of a tolerance holds."""

    LARGER = "larger"
    SMALLER = "smaller"


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Two readings of one site agree if they differ by no more than one of two bounds.

    `absolute_tenths_mm` is in tenths of a millimetre; `percent` is of the mean of the two.
    """

    absolute_tenths_mm: int
    percent: int
    whichever: Whichever = Whichever.LARGER

    def agree(self, one_tenths_mm: int, other_tenths_mm: int) -> bool:
        """Whether no third reading is due.

        >>> Tolerance(20, 10).agree(100, 120), Tolerance(20, 10).agree(100, 121)
        (True, False)
        >>> Tolerance(20, 10).agree(400, 440)    # 10 percent of 42.0 mm is 4.2 mm
        True
        >>> Tolerance(20, 10, Whichever.SMALLER).agree(400, 440)
        False
        """
        apart = abs(one_tenths_mm - other_tenths_mm)
        # In whole numbers: so many percent of the mean, both sides times 200.
        within = (
            apart <= self.absolute_tenths_mm,
            apart * 200 <= (one_tenths_mm + other_tenths_mm) * self.percent,
        )
        return any(within) if self.whichever is Whichever.LARGER else all(within)


@dataclass(frozen=True, slots=True)
class Protocol:
    """Sites in measuring order, circuits, and the tolerance beyond which a third is due.

    `tape_up`: a half between two marks of the tape is rounded up, away from the end it is read
    from, instead of down.
    """

    id: str
    title: str
    sites: tuple[Site, ...]
    circuits: int
    tolerance: Tolerance
    tape_up: bool = False
    source: str = ""

    def site(self, site_id: str) -> Site:
        """The site with this id. Raises KeyError if the protocol lacks it."""
        for site in self.sites:
            if site.id == site_id:
                return site
        raise KeyError(site_id)

    @property
    def tape_sites(self) -> tuple[Site, ...]:
        """The sites that are marked at a midpoint, in order."""
        return tuple(site for site in self.sites if site.tape_from is not None)

    def third_due(self, trials_tenths_mm: Sequence[int]) -> bool:
        """Whether these confirmed trials of one site ask for one more.

        Only the first two are compared: after a third the median settles it.
        """
        if len(trials_tenths_mm) != self.circuits:
            return False
        return not self.tolerance.agree(min(trials_tenths_mm), max(trials_tenths_mm))


SEVEN_SITES: Protocol
"""Chest, midaxillary, triceps, subscapular, abdominal, suprailiac, thigh (Jackson and Pollock)."""

PROTOCOLS: Mapping[str, Protocol]
"""The protocols that come with the program, by their ids."""


def __getattr__(name: str) -> object:
    """`PROTOCOLS` and `SEVEN_SITES` are read from their files when first asked for."""
    if name not in {"PROTOCOLS", "SEVEN_SITES"}:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from capture.protocol.shipped import protocols  # noqa: PLC0415  # it needs the classes above

    return protocols() if name == "PROTOCOLS" else protocols()["seven_sites"]
