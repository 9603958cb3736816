"""A result as it is handed on: plain lines for a person, plain values for a program.

The sum of the folds stands first, the percent after it, and whatever was overridden beside both.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from capture.composition.norms import ESSENTIAL_PERCENT, NORM_CAUTION, Norm, norm
from capture.composition.prediction import Prediction
from capture.composition.reasons import Reason
from capture.composition.results import goal_plain, masses_plain
from capture.composition.uncertainty import (
    GoalWeight,
    Masses,
    goal_weight,
    in_words,
    masses,
    one_decimal,
)

RANGE_MEANING = "one standard error to either side: about two in three lie within it"
ESSENTIAL_CAUTION = (
    "The target lies near or below essential fat, about 3 % in men and 12 % in women (not yet "
    "compared with the print)."
)


@dataclass(frozen=True, slots=True)
class Body:
    """What is known of the body beside its folds; None where it was not given."""

    weight_kg: float | None = None
    height_cm: float | None = None
    target_percent: float | None = None


NOTHING_TAKEN = Body()
"""Of a body of which only the folds were measured."""


@dataclass(frozen=True, slots=True)
class Shown:
    """One prediction with all that follows from it, and what of it a person is to see."""

    prediction: Prediction
    masses: Masses | None
    goal: GoalWeight | None
    norm: Norm | None
    body: Body
    show_fat: bool
    cautions: tuple[str, ...]

    @property
    def fat_free_mass_index_kg_m2(self) -> float | None:
        """Fat-free mass by height squared, None without weight and height."""
        if self.masses is None or self.body.height_cm is None:
            return None
        return self.masses.fat_free_mass_kg / (self.body.height_cm / 100) ** 2

    def to_plain(self) -> dict[str, object]:
        """As a JSON object."""
        found = self.prediction
        plain: dict[str, object] = {
            "equation": found.equation.id,
            "sum_mm": found.sum_mm,
            "age_years": found.age_years,
        }
        if self.show_fat:
            plain |= self._fat_plain()
        return plain | {
            "conversion": None if found.conversion is None else found.conversion.to_plain(),
            "outside": [reason.to_plain() for reason in found.density.outside],
            "refused": [reason.to_plain() for reason in found.density.refused],
            "equation_details": found.equation.to_plain(),
            "cautions": list(self.cautions),
        }

    def _fat_plain(self) -> dict[str, object]:
        found, outside = self.prediction, bool(self.prediction.density.outside)
        spread = found.spread
        return {
            "density_g_cm3": found.density.density_g_cm3,
            "density_standard_error_g_cm3": found.density_standard_error_g_cm3,
            "fat_percent": found.fat_percent,
            "fat_percent_low": None if spread is None else spread.low,
            "fat_percent_high": None if spread is None else spread.high,
            "fat_standard_error_percent": found.fat_standard_error_percent,
            "plain_range": found.plain_range,
            "range_meaning": RANGE_MEANING,
            "outside_the_sample": outside,
            "why_not": list(found.why_not),
            "masses": masses_plain(self.masses, outside=outside),
            "fat_free_mass_index_kg_m2": self.fat_free_mass_index_kg_m2,
            "goal": goal_plain(self.goal, outside=outside),
            "norm": None if self.norm is None else self.norm.to_plain(),
        }

    def lines(self) -> tuple[str, ...]:
        """As lines of text."""
        return tuple(self._lines())

    def _lines(self) -> Iterator[str]:
        found = self.prediction
        sites = ", ".join(site.replace("_", " ") for site in found.equation.sites)
        yield f"Sum of folds {one_decimal(found.sum_mm)} mm ({sites})"
        if self.show_fat:
            yield from self._fat_lines()
        yield from (reason.text for reason in found.density.outside)
        yield f"Source: {found.equation.source} Confirmed: {found.equation.confirmed.value}."
        error = found.equation.standard_error
        if self.show_fat and error is not None:
            yield f"Standard error of the equation confirmed: {error.confirmed.value}."
        yield from self.cautions

    def _fat_lines(self) -> Iterator[str]:
        found, mark = self.prediction, ""
        if found.density.outside:
            mark = " (outside the equation's sample)"
        if found.density.density_g_cm3 is not None:
            yield f"Density {found.density.density_g_cm3:.4f} g/cm³{mark}"
        if found.plain_range is not None:
            yield f"Fat {found.plain_range}. {found.method}"
        yield from self.what_follows()

    def what_follows(self) -> Iterator[str]:
        """What the percent means for masses and weight, and where it lies among others."""
        mark = " (outside the equation's sample)" if self.prediction.density.outside else ""
        weighed, goal = self.masses, self.goal
        if weighed is not None:
            fat = in_words(weighed.fat_mass_kg, weighed.fat_mass_standard_error_kg, "kg")
            rest = in_words(weighed.fat_free_mass_kg, weighed.fat_free_mass_standard_error_kg, "kg")
            yield f"Fat mass {fat}{mark}"
            yield f"Fat-free mass {rest}{mark}"
        index = self.fat_free_mass_index_kg_m2
        if index is not None:
            yield f"Fat-free mass by height squared {one_decimal(index)} kg/m²{mark}"
        if goal is not None:
            weight = in_words(goal.weight_kg, goal.standard_error_kg, "kg")
            yield (
                f"At {goal.target_percent:g} % and the same fat-free mass the weight would be "
                f"{weight}{mark}"
            )
        if self.norm is not None:
            yield from (f"{line}{mark}" for line in self.norm.lines[:-1])


def shown(
    prediction: Prediction, body: Body, *, show_fat: bool = True, show_norms: bool = True
) -> Shown:
    """Everything that follows from a prediction and a body.

    `show_fat` off leaves percent, density and masses out, `show_norms` off the position among
    others, for a client who is not to see them.
    """
    fat_percent, error = prediction.fat_percent, prediction.fat_standard_error_percent
    sex = prediction.equation.sexes[0]
    weighed = goal = place = None
    cautions: list[str] = []
    if show_fat and fat_percent is not None:
        cautions.append(NORM_CAUTION)
        if body.weight_kg is not None:
            weighed = masses(body.weight_kg, fat_percent, error)
            if body.target_percent is not None:
                goal = goal_weight(body.weight_kg, fat_percent, error, body.target_percent)
                if body.target_percent <= ESSENTIAL_PERCENT[sex]:
                    cautions.append(ESSENTIAL_CAUTION)
        if show_norms:
            place = norm(sex, prediction.age_years, fat_percent, prediction.spread)
    return Shown(prediction, weighed, goal, place, body, show_fat, tuple(cautions))


def refusal(reasons: tuple[Reason, ...]) -> tuple[str, str]:
    """What to say of a result that was refused, and what to do about it."""
    message = " ".join(reason.text for reason in reasons)
    if all(reason.may_be_overridden for reason in reasons):
        return message, "With --override it is computed all the same, and marked."
    return message, "No override gives a result here."
