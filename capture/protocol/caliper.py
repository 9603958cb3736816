"""The caliper: its scale and its opening decide what a reading can be."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Caliper:
    """A caliper without its make: scale step and largest opening, in tenths of a millimetre."""

    description: str
    step_tenths_mm: int
    opening_tenths_mm: int

    def on_scale(self, value_tenths_mm: int) -> bool:
        """Whether the scale has a mark at this value."""
        return value_tenths_mm % self.step_tenths_mm == 0

    def within_opening(self, value_tenths_mm: int) -> bool:
        """Whether the jaws open that far."""
        return value_tenths_mm <= self.opening_tenths_mm
