"""What a visit comes to: a value for each site, the sum of the folds, and then a fat percent.

The sum stands first because it is what was measured; the percent is a prediction from it. What
cannot be computed is missing with its reason, never guessed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from capture.composition.conversion import Conversion, FatPercent
from capture.composition.equations import (
    Density,
    Equation,
    FoldDirection,
    Reason,
    ReasonKind,
    Sex,
    age_reasons,
    equation,
    site_for,
    site_reasons,
)
from capture.composition.prediction import Prediction, conversion_for, predict
from capture.composition.statistics import Settled, settle
from capture.composition.uncertainty import GoalWeight, Masses, goal_weight, in_words, masses


@dataclass(frozen=True, slots=True)
class SiteResult:
    """One site: its readings in order, and what they settle to."""

    site: str
    readings_tenths_mm: tuple[int, ...]
    settled: Settled

    def to_plain(self) -> dict[str, object]:
        """As a JSON object."""
        return {
            "site": self.site,
            "readings_tenths_mm": list(self.readings_tenths_mm),
            "value_mm": self.settled.value_mm,
            "how": self.settled.how.value,
            "spread_mm": self.settled.spread_tenths_mm / 10,
        }


@dataclass(frozen=True, slots=True)
class VisitResult:
    """Everything computed from one visit.

    `sites` are all sites with a reading, in the order they came in. `sum_mm` is the sum of
    `summed_sites`, the equation's sites or what stands in for them; None while one is missing,
    and then `prediction` is None too and `missing` says why.
    """

    sex: Sex
    age_years: int
    equation: Equation
    conversion_used: Conversion | None
    sites: tuple[SiteResult, ...]
    missing_sites: tuple[str, ...]
    summed_sites: tuple[str, ...]
    sum_mm: float | None
    missing: tuple[Reason, ...]
    prediction: Prediction | None
    masses: Masses | None
    goal: GoalWeight | None = None

    @property
    def conversion(self) -> Conversion:
        """The conversion. A ValueError with an equation that gives percent itself."""
        if self.conversion_used is None:
            raise ValueError(f"{self.equation.id} gives fat percent directly")
        return self.conversion_used

    @property
    def density(self) -> Density:
        """The density with what was overridden, or why there is none."""
        if self.prediction is None:
            return Density(None, refused=self.missing)
        return self.prediction.density

    @property
    def density_g_cm3(self) -> float | None:
        """The density, None where there is none."""
        return self.density.density_g_cm3

    @property
    def density_standard_error_g_cm3(self) -> float | None:
        """Standard error of the density, None where it is not known."""
        return None if self.prediction is None else self.prediction.density_standard_error_g_cm3

    @property
    def fat(self) -> FatPercent | None:
        """The fat percent or why there is none; None while nothing was computed."""
        return None if self.prediction is None else self.prediction.fat

    @property
    def fat_percent(self) -> float | None:
        """The fat percent, None where there is none."""
        return None if self.prediction is None else self.prediction.fat_percent

    @property
    def fat_standard_error_percent(self) -> float | None:
        """Standard error of the percent, None where it is not known."""
        return None if self.prediction is None else self.prediction.fat_standard_error_percent

    @property
    def outside(self) -> tuple[Reason, ...]:
        """What was overridden to get this result."""
        return self.density.outside

    @property
    def plain_range(self) -> str | None:
        """The fat percent in words, None where there is none."""
        return None if self.prediction is None else self.prediction.plain_range

    @property
    def why_not(self) -> tuple[str, ...]:
        """Sentences why there is no fat percent; empty when there is one."""
        if self.prediction is None:
            return tuple(reason.text for reason in self.missing)
        return self.prediction.why_not

    def to_plain(self, *, show_fat: bool = True) -> dict[str, object]:
        """As a JSON object: the sum of the folds first, the percent after it.

        With `show_fat` off there is no density, percent or mass in it, for a client who is not
        to see such a number.
        """
        error = self.equation.standard_error
        plain: dict[str, object] = {
            "sites": [site.to_plain() for site in self.sites],
            "missing_sites": list(self.missing_sites),
            "sum": {"sites": list(self.summed_sites), "sum_mm": self.sum_mm},
        }
        if show_fat:
            plain["fat"] = self._fat_plain()
            plain["masses"] = masses_plain(self.masses, outside=bool(self.outside))
            plain["goal"] = goal_plain(self.goal, outside=bool(self.outside))
        return plain | {
            "outside": [reason.to_plain() for reason in self.outside],
            "refused": [reason.to_plain() for reason in self.density.refused],
            "sex": self.sex.value,
            "age_years": self.age_years,
            "equation": {
                "id": self.equation.id,
                "name": self.equation.name,
                "source": self.equation.source,
                "confirmed": self.equation.confirmed.value,
                "standard_error_confirmed": None if error is None else error.confirmed.value,
            },
            "conversion": None if self.conversion_used is None else self.conversion.to_plain(),
        }

    def _fat_plain(self) -> dict[str, object]:
        spread = None if self.prediction is None else self.prediction.spread
        return {
            "fat_percent": self.fat_percent,
            "fat_percent_low": None if spread is None else spread.low,
            "fat_percent_high": None if spread is None else spread.high,
            "standard_error_percent": self.fat_standard_error_percent,
            "plain_range": self.plain_range,
            "density_g_cm3": self.density_g_cm3,
            "density_standard_error_g_cm3": self.density_standard_error_g_cm3,
            "why_not": list(self.why_not),
        }


def masses_plain(weighed: Masses | None, *, outside: bool) -> dict[str, object] | None:
    """Masses as a JSON object, in figures and in words; None stays None."""
    if weighed is None:
        return None
    return {
        "fat_mass_kg": weighed.fat_mass_kg,
        "fat_free_mass_kg": weighed.fat_free_mass_kg,
        "fat_mass_standard_error_kg": weighed.fat_mass_standard_error_kg,
        "fat_free_mass_standard_error_kg": weighed.fat_free_mass_standard_error_kg,
        "fat_mass": in_words(weighed.fat_mass_kg, weighed.fat_mass_standard_error_kg, "kg"),
        "fat_free_mass": in_words(
            weighed.fat_free_mass_kg, weighed.fat_free_mass_standard_error_kg, "kg"
        ),
        "outside_the_sample": outside,
    }


def goal_plain(goal: GoalWeight | None, *, outside: bool) -> dict[str, object] | None:
    """A goal weight as a JSON object, in figures and in words; None stays None."""
    if goal is None:
        return None
    return {
        "target_percent": goal.target_percent,
        "weight_kg": goal.weight_kg,
        "standard_error_kg": goal.standard_error_kg,
        "to_lose_kg": goal.to_lose_kg,
        "weight": in_words(goal.weight_kg, goal.standard_error_kg, "kg"),
        "outside_the_sample": outside,
    }


def visit_result(
    readings_tenths_mm: Mapping[str, Sequence[int]],
    sex: Sex,
    age_years: int,
    equation_id: str,
    conversion_id: str | None = None,
    *,
    override: bool = False,
    fold_directions: Mapping[str, FoldDirection] | None = None,
    tem_sum_mm: float | None = None,
    weight_kg: float | None = None,
    target_percent: float | None = None,
    conditions: Sequence[str] = (),
) -> VisitResult:
    """Compute a visit from its confirmed readings.

    `readings_tenths_mm` maps a site to its confirmed readings in order; a site without any counts
    as not measured. `age_years` are completed years on the day of the visit. `override` accepts
    what lies outside the equation's sample; the result says so. `tem_sum_mm` is the assessor's
    technical error of the sum, `weight_kg` the body weight, `target_percent` what a goal weight
    is asked for. `conditions` are in words what was noted in which no such equation holds.
    `conversion_id` is None for the usual one, or for none at all where the
    equation gives percent itself.

    An unknown equation or conversion is a CaptureError; a reading that is not above zero, or a
    weight that is not, a ValueError.
    """
    chosen = equation(equation_id)
    sites = tuple(
        SiteResult(site, tuple(readings), settle(readings))
        for site, readings in readings_tenths_mm.items()
        if readings
    )
    settled = {site.site: site.settled for site in sites}
    model, against = conversion_for(chosen, conversion_id, sex, age_years)
    of_sites = tuple(site_reasons(chosen, settled, fold_directions or {}))
    if conditions:
        noted = Reason(ReasonKind.CONDITION, detail=", ".join(conditions))
        of_sites = (*of_sites, noted)
    filled = {site: site_for(chosen, site, settled) for site in chosen.sites}
    used = tuple(site for site in filled.values() if site is not None)
    missing = tuple(site for site, measured in filled.items() if measured is None)
    sum_mm = prediction = weights = goal = None
    why_missing: tuple[Reason, ...] = ()
    if missing:
        of_sex = () if sex in chosen.sexes else (Reason(ReasonKind.SEX),)
        why_missing = (*of_sex, *against, *of_sites, *age_reasons(chosen, age_years))
    else:
        # Exact tenths are added up, and only the sum becomes a float.
        sum_mm = float(sum((settled[site].value_tenths_mm for site in used), Fraction(0)) / 10)
        prediction = predict(
            chosen,
            sum_mm,
            age_years,
            conversion_id=conversion_id,
            sex=sex,
            override=override,
            tem_sum_mm=tem_sum_mm,
            further=of_sites,
        )
        fat_percent, fat_error = prediction.fat_percent, prediction.fat_standard_error_percent
        if fat_percent is not None and weight_kg is not None:
            weights = masses(weight_kg, fat_percent, fat_error)
            if target_percent is not None:
                goal = goal_weight(weight_kg, fat_percent, fat_error, target_percent)
    return VisitResult(
        sex=sex,
        age_years=age_years,
        equation=chosen,
        conversion_used=model,
        sites=sites,
        missing_sites=missing,
        summed_sites=used,
        sum_mm=sum_mm,
        missing=why_missing,
        prediction=prediction,
        masses=weights,
        goal=goal,
    )
