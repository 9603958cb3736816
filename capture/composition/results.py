"""What a visit comes to: a value for each site, the sum of the folds, and then a fat percent.

The sum stands first because it is what was measured; the percent is a prediction from it. What
cannot be computed is missing with its reason, never guessed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from capture.composition.conversion import Conversion, FatPercent, conversion, convert
from capture.composition.equations import (
    Density,
    Equation,
    FoldDirection,
    Reason,
    ReasonKind,
    Sex,
    age_reasons,
    compute_density,
    equation,
    site_for,
    site_reasons,
)
from capture.composition.statistics import Settled, settle
from capture.composition.uncertainty import (
    Masses,
    density_standard_error_g_cm3,
    fat_standard_error_percent,
    masses,
    plain_range,
)


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
    `summed_sites`, the equation's sites or what stands in for them; None while one is missing.
    `density` says what was overridden or refused. `fat` is None while there is no density.
    """

    sex: Sex
    age_years: int
    equation: Equation
    conversion: Conversion
    sites: tuple[SiteResult, ...]
    missing_sites: tuple[str, ...]
    summed_sites: tuple[str, ...]
    sum_mm: float | None
    density: Density
    density_standard_error_g_cm3: float | None
    fat: FatPercent | None
    fat_standard_error_percent: float | None
    masses: Masses | None

    @property
    def density_g_cm3(self) -> float | None:
        """The density, None where there is none."""
        return self.density.density_g_cm3

    @property
    def fat_percent(self) -> float | None:
        """The fat percent, None where there is none."""
        return None if self.fat is None else self.fat.fat_percent

    @property
    def outside(self) -> tuple[Reason, ...]:
        """What was overridden to get this result."""
        return self.density.outside

    @property
    def plain_range(self) -> str | None:
        """The fat percent in words, None where there is none.

        The published error was found within the sample; outside it, it says too little.
        """
        if self.fat_percent is None:
            return None
        words = plain_range(self.fat_percent, self.fat_standard_error_percent)
        return (
            f"{words}, may be off by more: outside the equation's sample" if self.outside else words
        )

    @property
    def why_not(self) -> tuple[str, ...]:
        """Sentences why there is no fat percent; empty when there is one."""
        refused = tuple(reason.text for reason in self.density.refused)
        if self.fat is None or self.fat.why_not is None:
            return refused
        return (f"The density lies {self.fat.why_not.value}.",)

    def to_plain(self) -> dict[str, object]:
        """As a JSON object: the sum of the folds first, the percent after it."""
        weight, error = self.masses, self.equation.standard_error
        return {
            "sites": [site.to_plain() for site in self.sites],
            "missing_sites": list(self.missing_sites),
            "sum": {"sites": list(self.summed_sites), "sum_mm": self.sum_mm},
            "fat": {
                "fat_percent": self.fat_percent,
                "standard_error_percent": self.fat_standard_error_percent,
                "plain_range": self.plain_range,
                "density_g_cm3": self.density_g_cm3,
                "density_standard_error_g_cm3": self.density_standard_error_g_cm3,
                "why_not": list(self.why_not),
            },
            "masses": None
            if weight is None
            else {
                "fat_mass_kg": weight.fat_mass_kg,
                "fat_free_mass_kg": weight.fat_free_mass_kg,
                "fat_mass_standard_error_kg": weight.fat_mass_standard_error_kg,
                "fat_free_mass_standard_error_kg": weight.fat_free_mass_standard_error_kg,
            },
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
            "conversion": {
                "id": self.conversion.id,
                "population": self.conversion.population,
                "source": self.conversion.source,
            },
        }


def visit_result(
    readings_tenths_mm: Mapping[str, Sequence[int]],
    sex: Sex,
    age_years: int,
    equation_id: str,
    conversion_id: str = "siri",
    *,
    override: bool = False,
    fold_directions: Mapping[str, FoldDirection] | None = None,
    tem_sum_mm: float | None = None,
    weight_kg: float | None = None,
) -> VisitResult:
    """Compute a visit from its confirmed readings.

    `readings_tenths_mm` maps a site to its confirmed readings in order; a site without any counts
    as not measured. `age_years` are completed years on the day of the visit. `override` accepts
    what lies outside the equation's sample; the result says so. `tem_sum_mm` is the assessor's
    technical error of the sum, `weight_kg` the body weight.

    An unknown equation or conversion is a CaptureError; a reading that is not above zero, or a
    weight that is not, a ValueError.
    """
    chosen, model = equation(equation_id), conversion(conversion_id)
    sites = tuple(
        SiteResult(site, tuple(readings), settle(readings))
        for site, readings in readings_tenths_mm.items()
        if readings
    )
    settled = {site.site: site.settled for site in sites}
    further = [] if sex in chosen.sexes else [Reason(ReasonKind.SEX)]
    further += site_reasons(chosen, settled, fold_directions or {})
    filled = {site: site_for(chosen, site, settled) for site in chosen.sites}
    used = tuple(site for site in filled.values() if site is not None)
    missing = tuple(site for site, measured in filled.items() if measured is None)
    sum_mm = None
    if missing:
        further += age_reasons(chosen, age_years)
        density = Density(None, refused=tuple(further))
    else:
        # Exact tenths are added up, and only the sum becomes a float.
        sum_mm = float(sum((settled[site].value_tenths_mm for site in used), Fraction(0)) / 10)
        density = compute_density(
            chosen, sum_mm, age_years, override=override, further=tuple(further)
        )
    density_error = fat = fat_error = weights = None
    if sum_mm is not None and density.density_g_cm3 is not None:
        fat = convert(model, density.density_g_cm3)
        density_error = density_standard_error_g_cm3(chosen, sum_mm, age_years, tem_sum_mm)
        if fat.fat_percent is not None:
            if density_error is not None:
                fat_error = fat_standard_error_percent(model, density.density_g_cm3, density_error)
            if weight_kg is not None:
                weights = masses(weight_kg, fat.fat_percent, fat_error)
    return VisitResult(
        sex=sex,
        age_years=age_years,
        equation=chosen,
        conversion=model,
        sites=sites,
        missing_sites=missing,
        summed_sites=used,
        sum_mm=sum_mm,
        density=density,
        density_standard_error_g_cm3=density_error,
        fat=fat,
        fat_standard_error_percent=fat_error,
        masses=weights,
    )
