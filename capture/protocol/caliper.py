"""The caliper: its scale and its opening decide what a reading can be; its checks, its worth."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

THIN_TENTHS_MM = 20
"""A fold thinner than 2 mm is asked about: two layers of skin alone are about that.

Common practice, no source.
"""

STEPS_TENTHS_MM = (1, 2, 5, 10)
"""The steps that scales of skinfold calipers have (published figures; 0.5 and 0.1 from memory)."""

BY_EYE_TENTHS_MM = 10
"""On a scale this coarse or coarser a value half way between two marks can be read by eye.

A scale of 1 mm is read to 0.5 mm by eye (laboratory sheets, from memory).
"""

CHECK_EVERY_DAYS = 365
"""How long a check with gauge blocks holds. Common practice, no source."""

DRIFT_ALLOWED_TENTHS_MM = 2
"""A caliper that reads a gauge block wrong by more has drifted. Our own choice, no source."""


@dataclass(frozen=True, slots=True)
class GaugePoint:
    """One gauge block: its size, and what the caliper read, in tenths of a millimetre."""

    nominal_tenths_mm: int
    read_tenths_mm: int

    @property
    def drift_tenths_mm(self) -> int:
        """How much more the caliper read than is there; negative for less."""
        return self.read_tenths_mm - self.nominal_tenths_mm


@dataclass(frozen=True, slots=True)
class GaugeCheck:
    """The caliper against gauge blocks at several openings; `on` is an ISO 8601 date."""

    on: str
    points: tuple[GaugePoint, ...]

    @property
    def drift_tenths_mm(self) -> int:
        """The largest drift of all openings, with its sign; 0 for a check without points."""
        return max((each.drift_tenths_mm for each in self.points), key=abs, default=0)

    @property
    def has_drifted(self) -> bool:
        """Whether the caliper wants service before it is trusted."""
        return abs(self.drift_tenths_mm) > DRIFT_ALLOWED_TENTHS_MM

    def is_overdue(self, day: str) -> bool:
        """Whether the check is too old on this ISO 8601 date. Raises ValueError for no date.

        >>> GaugeCheck("2025-03-01", ()).is_overdue("2026-03-01")
        False
        >>> GaugeCheck("2025-03-01", ()).is_overdue("2026-03-02")
        True
        """
        age = date.fromisoformat(day[:10]) - date.fromisoformat(self.on)
        return age.days > CHECK_EVERY_DAYS


@dataclass(frozen=True, slots=True)
class Caliper:
    """A caliper without its make: scale step and largest opening, in tenths of a millimetre.

    `check` is the last one with gauge blocks, None if none is known.
    """

    description: str
    step_tenths_mm: int
    opening_tenths_mm: int
    check: GaugeCheck | None = None

    def on_scale(self, value_tenths_mm: int) -> bool:
        """Whether the scale has a mark at this value."""
        return value_tenths_mm % self.step_tenths_mm == 0

    def between_marks(self, value_tenths_mm: int) -> bool:
        """Whether it lies half way between two marks of a scale that can be read so by eye."""
        coarse = self.step_tenths_mm >= BY_EYE_TENTHS_MM
        return coarse and value_tenths_mm % self.step_tenths_mm * 2 == self.step_tenths_mm

    def within_opening(self, value_tenths_mm: int) -> bool:
        """Whether the jaws open that far."""
        return value_tenths_mm <= self.opening_tenths_mm

    def to_plain(self) -> dict[str, Any]:
        """The caliper as a JSON object for the plan."""
        plain: dict[str, Any] = {
            "description": self.description,
            "step_tenths_mm": self.step_tenths_mm,
            "opening_tenths_mm": self.opening_tenths_mm,
        }
        if self.check is not None:
            points = [[each.nominal_tenths_mm, each.read_tenths_mm] for each in self.check.points]
            plain["check"] = {"on": self.check.on, "points": points}
        return plain

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> "Caliper":
        """The caliper that `to_plain` wrote. Raises KeyError, TypeError or ValueError."""
        values = dict(plain)
        told = values.pop("check", None)
        check = None
        if told is not None:
            points = tuple(GaugePoint(nominal, read) for nominal, read in told["points"])
            check = GaugeCheck(told["on"], points)
        return cls(**values, check=check)


def caliper_warnings(caliper: Caliper, day: str) -> tuple[str, ...]:
    """What is to be said about the caliper's last check on this ISO 8601 date, in words."""
    check = caliper.check
    if check is None:
        return ("No check with gauge blocks is known for this caliper.",)
    found = [
        f"Gauge block {_mm(each.nominal_tenths_mm)} mm read {_mm(each.read_tenths_mm)} mm."
        for each in check.points
        if each.drift_tenths_mm
    ]
    if check.has_drifted:
        found.append("The caliper has drifted: have it serviced before its readings are used.")
    if check.is_overdue(day):
        found.append(f"Its last check with gauge blocks, on {check.on}, is overdue.")
    return tuple(found)


def _mm(value_tenths_mm: int) -> str:
    return f"{value_tenths_mm // 10}.{value_tenths_mm % 10}"
