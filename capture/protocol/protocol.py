"""A protocol: which sites, in which order, how often, and when two readings disagree."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from capture.protocol.sites import (
    ABDOMINAL,
    CHEST,
    MIDAXILLARY,
    SUBSCAPULAR,
    SUPRAILIAC,
    THIGH,
    TRICEPS,
    Site,
)


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Two readings of one site agree if they differ by no more than the larger of both bounds.

    `absolute_tenths_mm` is in tenths of a millimetre; `percent` is of the mean of the two.
    """

    absolute_tenths_mm: int
    percent: int

    def agree(self, one_tenths_mm: int, other_tenths_mm: int) -> bool:
        """Whether no third reading is due.

        >>> Tolerance(20, 10).agree(100, 120), Tolerance(20, 10).agree(100, 121)
        (True, False)
        >>> Tolerance(20, 10).agree(400, 440)    # 10 percent of 42.0 mm is 4.2 mm
        True
        """
        mean = Fraction(one_tenths_mm + other_tenths_mm, 2)
        allowed = max(Fraction(self.absolute_tenths_mm), mean * self.percent / 100)
        return abs(one_tenths_mm - other_tenths_mm) <= allowed


@dataclass(frozen=True, slots=True)
class Protocol:
    """Sites in measuring order, circuits, and the tolerance beyond which a third is due."""

    id: str
    title: str
    sites: tuple[Site, ...]
    circuits: int
    tolerance: Tolerance

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


SEVEN_SITES = Protocol(
    id="seven_sites",
    title="Seven sites, two circuits",
    sites=(CHEST, MIDAXILLARY, TRICEPS, SUBSCAPULAR, ABDOMINAL, SUPRAILIAC, THIGH),
    circuits=2,
    # A third beyond 2 mm or 10 percent, whichever is larger: the looser of the usual textbook
    # and laboratory rules (1 to 2 mm; 10 percent).
    tolerance=Tolerance(absolute_tenths_mm=20, percent=10),
)
"""Chest, midaxillary, triceps, subscapular, abdominal, suprailiac, thigh (Jackson and Pollock)."""

PROTOCOLS = {SEVEN_SITES.id: SEVEN_SITES}
