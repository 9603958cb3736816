"""A visit as the comparison of visits needs it: what was read, and how each fold was taken.

Two values of a site may be compared only if they were taken the same way. Another side, another
direction of the fold, another caliper or other clothing moves a value by more than a client
changes between visits; calipers of two types alone differed by 1.8 to 31 percent (Cyrino and
others 2003, abstract).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum, StrEnum

from capture.composition.forms import FoldDirection
from capture.composition.statistics import Settled, settle


class Side(StrEnum):
    """Side of the body."""

    RIGHT = "right"
    LEFT = "left"


class Condition(Enum):
    """What must be alike for two values to be compared."""

    SIDE = "side"
    FOLD_DIRECTION = "fold direction"
    CALIPER = "caliper"
    CLOTHING = "clothing"
    PLACE = "place"
    """How far from its line the site lies, where it was moved."""


@dataclass(frozen=True, slots=True)
class Conditions:
    """How one site was taken. What was not recorded is None (or "not stated")."""

    site: str
    side: Side | None = None
    fold_direction: FoldDirection = FoldDirection.NOT_STATED
    caliper: str | None = None
    clothing: str | None = None
    place: str | None = None

    def recorded(self, condition: Condition) -> str | None:
        """One condition as it was recorded, None where it was not."""
        match condition:
            case Condition.SIDE:
                return self.side
            case Condition.FOLD_DIRECTION:
                stated = self.fold_direction is not FoldDirection.NOT_STATED
                return self.fold_direction.value if stated else None
            case Condition.CALIPER:
                return self.caliper
            case Condition.CLOTHING:
                return self.clothing
            case Condition.PLACE:
                return self.place


@dataclass(frozen=True, slots=True)
class Difference:
    """One condition that is not known to be the same at both visits."""

    condition: Condition
    before: str | None
    now: str | None

    @property
    def text(self) -> str:
        """The difference in one sentence.

        >>> Difference(Condition.SIDE, "right", "left").text
        'The side was right before and is left now.'
        """
        name = self.condition.value
        if self.before is None:
            return f"The {name} was not recorded before."
        if self.now is None:
            return f"The {name} is not recorded now."
        return f"The {name} was {self.before} before and is {self.now} now."


def differences(before: Conditions, now: Conditions) -> tuple[Difference, ...]:
    """What speaks against comparing two values of one site; two sites are a ValueError.

    A condition that was recorded at one visit only counts as a difference: nobody knows that it
    was the same. One that was recorded at neither does not; `unrecorded` tells of it.
    """
    if before.site != now.site:
        raise ValueError(f"{before.site} and {now.site} are two sites")
    pairs = ((each, before.recorded(each), now.recorded(each)) for each in Condition)
    return tuple(Difference(each, then, today) for each, then, today in pairs if then != today)


def unrecorded(before: Conditions, now: Conditions) -> tuple[Condition, ...]:
    """The conditions that neither visit recorded; a place only where a site was moved."""
    return tuple(
        each
        for each in Condition
        if each is not Condition.PLACE
        and before.recorded(each) is None
        and now.recorded(each) is None
    )


@dataclass(frozen=True, slots=True)
class SiteMeasurement:
    """The confirmed readings of one site in order, in tenths of a mm, and how they were taken."""

    conditions: Conditions
    readings_tenths_mm: tuple[int, ...]

    @property
    def site(self) -> str:
        """The site."""
        return self.conditions.site

    @property
    def settled(self) -> Settled:
        """The one value that the readings come to."""
        return settle(self.readings_tenths_mm)


@dataclass(frozen=True, slots=True)
class MeasuredVisit:
    """What one assessor read at one client on one day.

    `date` is ISO 8601, such as 2026-05-04. `client` and `assessor` are any identifiers, best not
    names. Each site occurs once and has at least one reading.
    """

    date: str
    client: str
    assessor: str
    measurements: tuple[SiteMeasurement, ...]

    def at(self, site: str) -> SiteMeasurement | None:
        """The measurement of a site, None where it was not measured."""
        return next((each for each in self.measurements if each.site == site), None)


def sites_of(visits: tuple[MeasuredVisit, ...]) -> Iterator[str]:
    """Every site measured in any of the visits, in the order they first occur."""
    yield from dict.fromkeys(each.site for visit in visits for each in visit.measurements)
