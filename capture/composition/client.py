"""What is settled once for a client: the equation, the conversion, and what may be shown."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from capture.composition.conversion import conversion
from capture.composition.equations import Gives, equation
from capture.errors import CaptureError


@dataclass(frozen=True, slots=True)
class ClientDefaults:
    """A client's equation and conversion, and what they are shown.

    `equation_id` is None for the usual one of the protocol, see `usual_equation`; `conversion_id`
    for an equation that gives percent itself, and for the usual one. The
    sum of folds is always shown. `show_fat_percent` off hides percent, density and masses: for
    some clients such a number does harm. `show_norms` off hides where they lie among others; it
    is off without the percent as well.

    An unknown id, or a conversion for an equation that needs none, is a CaptureError.
    """

    equation_id: str | None = None
    conversion_id: str | None = None
    show_fat_percent: bool = True
    show_norms: bool = True

    def __post_init__(self) -> None:
        chosen = None if self.equation_id is None else equation(self.equation_id)
        if self.conversion_id is None:
            return
        conversion(self.conversion_id)
        if chosen is not None and chosen.gives is Gives.FAT_PERCENT:
            raise CaptureError(
                f"“{self.equation_id}” gives fat percent itself; no conversion is applied to it.",
                "Leave the conversion out.",
            )

    @property
    def norms_shown(self) -> bool:
        """Whether a position among others is shown."""
        return self.show_fat_percent and self.show_norms

    def to_plain(self) -> dict[str, Any]:
        """As a JSON object for the store."""
        return {
            "equation": self.equation_id,
            "conversion": self.conversion_id,
            "show_fat_percent": self.show_fat_percent,
            "show_norms": self.show_norms,
        }

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> "ClientDefaults":
        """The defaults that `to_plain` wrote. Raises KeyError or CaptureError for others."""
        return cls(
            plain["equation"],
            plain["conversion"],
            plain["show_fat_percent"],
            plain["show_norms"],
        )

    @classmethod
    def as_far_as_known(cls, plain: Mapping[str, Any]) -> "ClientDefaults":
        """As `from_plain`, with the usual equation in the place of one not known to this version.

        For where nothing may fail, such as the end of a visit. What is hidden stays hidden.
        """
        try:
            return cls.from_plain(plain)
        except CaptureError:
            return cls(None, None, plain["show_fat_percent"], plain["show_norms"])
