"""How a site was measured, so that the next visit can measure the same thing."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

from capture.protocol.sites import Fold, Side, Site
from capture.units import Centimetres, Inches, TapeLength

BARE = 0
"""The thickness of no cloth."""

LAYERS = 2
"""A fold takes the cloth in twice."""


class SetupField(StrEnum):
    """What can be changed at a site."""

    FOLD = "fold"
    SIDE = "side"
    CLOTH = "cloth"
    OFFSET = "offset"


@dataclass(frozen=True, slots=True)
class SiteSetup:
    """How one site is measured.

    `cloth_tenths_mm` is the thickness of one layer in tenths of a millimetre, 0 for bare skin and
    None where there is cloth whose thickness is not known. `offset_mm` is how far in front of its
    line the site lies (at the midaxillary: of the muscle's edge), None where it was not said.
    `length` and `mark` are the tape's.
    """

    site: str
    fold: Fold
    side: Side = Side.RIGHT
    cloth_tenths_mm: int | None = BARE
    offset_mm: int | None = None
    length: TapeLength | None = None
    mark: TapeLength | None = None

    def value(self, field: SetupField) -> str | int | None:
        """What a field holds, as the journal has it."""
        match field:
            case SetupField.FOLD:
                return self.fold.value
            case SetupField.SIDE:
                return self.side.value
            case SetupField.CLOTH:
                return self.cloth_tenths_mm
            case SetupField.OFFSET:
                return self.offset_mm

    def changed(self, field: SetupField, value: str | int) -> "SiteSetup":
        """The same with another value in one field. Raises ValueError for one that is none."""
        match field:
            case SetupField.FOLD:
                return replace(self, fold=Fold(str(value)))
            case SetupField.SIDE:
                return replace(self, side=Side(str(value)))
            case SetupField.CLOTH:
                return replace(self, cloth_tenths_mm=int(value))
            case SetupField.OFFSET:
                return replace(self, offset_mm=int(value))

    def to_plain(self) -> dict[str, Any]:
        """The setup as a JSON object."""
        return {
            "site": self.site,
            "fold": self.fold.value,
            "side": self.side.value,
            "cloth_tenths_mm": self.cloth_tenths_mm,
            "offset_mm": self.offset_mm,
            "length": _length_to_plain(self.length),
            "mark": _length_to_plain(self.mark),
        }

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> "SiteSetup":
        """The setup that `to_plain` wrote. Raises KeyError, TypeError or ValueError."""
        return cls(
            site=plain["site"],
            fold=Fold(plain["fold"]),
            side=Side(plain["side"]),
            cloth_tenths_mm=plain["cloth_tenths_mm"],
            offset_mm=plain["offset_mm"],
            length=_length_from_plain(plain["length"]),
            mark=_length_from_plain(plain["mark"]),
        )


def usual_setup(site: Site) -> SiteSetup:
    """What the protocol asks for: its fold and side, on bare skin."""
    return SiteSetup(site.id, site.fold, site.side)


@dataclass(frozen=True, slots=True)
class Carried:
    """What the last visit hands on to the next: caliper, assessor, and each site's setup."""

    caliper: str
    assessor: str
    sites: tuple[SiteSetup, ...] = ()

    def site(self, site_id: str) -> SiteSetup | None:
        """The setup of one site, None if it was not measured."""
        return next((each for each in self.sites if each.site == site_id), None)

    def to_plain(self) -> dict[str, Any]:
        """All of it as a JSON object for the plan."""
        return {
            "caliper": self.caliper,
            "assessor": self.assessor,
            "sites": [each.to_plain() for each in self.sites],
        }

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> "Carried":
        """What `to_plain` wrote. Raises KeyError, TypeError or ValueError."""
        sites = tuple(SiteSetup.from_plain(each) for each in plain["sites"])
        return cls(plain["caliper"], plain["assessor"], sites)


def _length_to_plain(length: TapeLength | None) -> dict[str, int] | None:
    if length is None:
        return None
    if isinstance(length, Inches):
        return {"sixteenths_in": length.sixteenths}
    return {"millimetres": length.millimetres}


def _length_from_plain(plain: Mapping[str, int] | None) -> TapeLength | None:
    if plain is None:
        return None
    if "sixteenths_in" in plain:
        return Inches(plain["sixteenths_in"])
    return Centimetres(plain["millimetres"])
