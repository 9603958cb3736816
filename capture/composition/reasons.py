"""Why an equation or a conversion does not apply: a value, with a sentence for a person.

Some reasons may be overridden by a person who knows why; the result then carries them. Others may
not, because the figure would mean nothing.
"""

from dataclasses import dataclass
from enum import Enum


class ReasonKind(Enum):
    """Why an equation does not apply as it stands."""

    SEX = "sex"
    SITES_MISSING = "sites missing"
    PAST_TURNING_POINT = "past the turning point"
    """A thicker fold would lower the result. Never overridden."""
    AGE = "age outside the sample"
    SUM = "sum outside the sample"
    NEAR_TURNING_POINT = "near the turning point"
    KNOWN_BIAS = "known to be off"
    """Others found the equation off from this sum on."""
    STAND_IN = "another site stands in"
    FOLD_DIRECTION = "fold lifted another way"
    ALREADY_PERCENT = "already percent"
    """A conversion was asked for, but the equation gives percent itself. Never overridden."""
    CONDITION = "not made for this condition"
    """Something was noted in which no such equation holds, such as a pregnancy."""
    CONVERSION_SEX = "conversion for the other sex"
    CONVERSION_AGE = "age outside the conversion's group"


_NEVER_OVERRIDDEN = frozenset(
    {
        ReasonKind.SEX,
        ReasonKind.SITES_MISSING,
        ReasonKind.PAST_TURNING_POINT,
        ReasonKind.ALREADY_PERCENT,
        ReasonKind.CONVERSION_SEX,
    }
)


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason, with the figures it rests on.

    `value` is what was found, `low` and `high` what the equation allows: years for an age,
    mm for a sum, None where there is no such limit. `sites` are the sites it speaks of. `detail`
    adds what the figures do not say.
    """

    kind: ReasonKind
    value: float | None = None
    low: float | None = None
    high: float | None = None
    sites: tuple[str, ...] = ()
    detail: str = ""

    @property
    def may_be_overridden(self) -> bool:
        """Whether a person may ask for the result all the same."""
        return self.kind not in _NEVER_OVERRIDDEN

    @property
    def text(self) -> str:
        """The reason in one sentence.

        >>> Reason(ReasonKind.AGE, value=70, low=18, high=61).text
        'The age of 70 lies outside the sample, 18 to 61 years.'
        """
        names = ", ".join(site.replace("_", " ") for site in self.sites)
        match self.kind:
            case ReasonKind.SEX:
                return "The equation was made for the other sex."
            case ReasonKind.SITES_MISSING:
                return f"Not measured: {names}."
            case ReasonKind.PAST_TURNING_POINT:
                return (
                    f"The sum of {self.value:g} mm lies past {self.high:.0f} mm, where a thicker "
                    "fold would lower the result."
                )
            case ReasonKind.AGE:
                return (
                    f"The age of {self.value:g} lies outside the sample, "
                    f"{self.low:g} to {self.high:g} years."
                )
            case ReasonKind.SUM:
                return (
                    f"The sum of {self.value:g} mm lies outside the sample, "
                    f"{self.low:g} to {self.high:g} mm."
                )
            case ReasonKind.NEAR_TURNING_POINT:
                return (
                    f"The sum of {self.value:g} mm lies above {self.high:.0f} mm, where the "
                    "equation hardly responds any more."
                )
            case ReasonKind.STAND_IN:
                return f"Measured at another place than the equation asks for: {names}."
            case ReasonKind.FOLD_DIRECTION:
                return f"Lifted in another direction than the equation asks for: {names}."
            case ReasonKind.KNOWN_BIAS:
                return f"The sum is {self.value:g} mm; {self.detail}."
            case ReasonKind.CONDITION:
                return f"Noted before measuring: {self.detail}. The equation was not made for it."
            case ReasonKind.ALREADY_PERCENT:
                return "The equation gives fat percent itself; no conversion is applied to it."
            case ReasonKind.CONVERSION_SEX:
                return "The conversion was made for the other sex."
            case ReasonKind.CONVERSION_AGE:
                return (
                    f"The age of {self.value:g} lies outside the conversion's group, "
                    f"{self.low:g} to {self.high:g} years."
                )

    def to_plain(self) -> dict[str, object]:
        """As a JSON object."""
        return {
            "kind": self.kind.value,
            "text": self.text,
            "value": self.value,
            "low": self.low,
            "high": self.high,
            "sites": list(self.sites),
            "may_be_overridden": self.may_be_overridden,
        }
