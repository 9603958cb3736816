"""A visit's results as plain lines: the folds first, the percent after them."""

from collections.abc import Iterator
from fractions import Fraction

from capture.composition.client import ClientDefaults
from capture.composition.forms import FoldDirection
from capture.composition.results import VisitResult, visit_result
from capture.composition.uncertainty import in_words, one_decimal
from capture.composition.usual import equation_for
from capture.report.results import (
    AS_USUAL,
    conditions_against,
    conversion_for,
    planned_folds,
)
from capture.units import millimetres
from capture.visit.setups import setup_of
from capture.visit.state import Visit

CAUTION = (
    "An estimate for following one person over time, not a diagnosis.",
    "Local rules and licensed practice come first.",
)


def visit_result_of(visit: Visit, defaults: ClientDefaults = AS_USUAL) -> VisitResult:
    """Compute what the confirmed readings of a visit come to, by the client's equation.

    An equation that is not known is a CaptureError.
    """
    plan = visit.plan
    sites = tuple(site.id for site in plan.protocol.sites)
    planned = planned_folds(plan.protocol)
    chosen = equation_for(defaults.equation_id, plan.sex, plan.age_years, sites, planned)
    folds = {site: FoldDirection(setup_of(visit, site).fold.value) for site in sites}
    return visit_result(
        {site: visit.trials(site) for site in sites},
        plan.sex,
        plan.age_years,
        chosen.id,
        conversion_for(chosen, defaults),
        fold_directions=folds,
        weight_kg=plan.weight_kg,
        conditions=conditions_against(each.value for each in visit.cautions),
    )


def summary_lines(visit: Visit, result: VisitResult, *, show_fat: bool = True) -> tuple[str, ...]:
    """The table of sites and what follows from it, 80 columns wide at most.

    `show_fat` off leaves percent and density out, and why there is none.
    """
    lines = [f"{'site':<14}{'1st':>7}{'2nd':>7}{'3rd':>7}{'value':>9}  how"]
    by_site = {each.site: each for each in result.sites}
    for site in visit.plan.protocol.sites:
        found = by_site.get(site.id)
        if found is None:
            lines.append(f"{site.title:<14}{'-':>7}{'-':>7}{'':>7}{'-':>9}  not measured")
            continue
        readings = [millimetres(each) for each in found.readings_tenths_mm]
        columns = "".join(f"{each:>7}" for each in [*readings, "", "", ""][:3])
        how = found.settled.how.value
        if visit.is_estimate(site.id):
            how += ", estimate"
        lines.append(f"{site.title:<14}{columns}{one_decimal(found.settled.value_mm):>9}  {how}")
    if any(visit.is_estimate(site) for site in by_site):
        lines.append("Estimate: read through cloth, two layers taken off.")
    values = [each.settled.value_tenths_mm for each in result.sites]
    if values and len(values) == len(visit.plan.protocol.sites):
        title = f"sum of {len(values)}"
        total = one_decimal(float(sum(values, Fraction(0)) / 10))
        lines.append(f"{title:<14}{'':>21}{total:>9}  mm")
    if show_fat:
        lines.extend(_fat_lines(result))
    lines.extend(CAUTION)
    return tuple(lines)


def _fat_lines(result: VisitResult) -> Iterator[str]:
    if result.sum_mm is not None and set(result.summed_sites) != {s.site for s in result.sites}:
        title = f"sum of {len(result.summed_sites)}"
        yield f"{title:<14}{'':>21}{one_decimal(result.sum_mm):>9}  mm, for the equation"
    if result.density_g_cm3 is not None:
        error = result.density_standard_error_g_cm3
        spread = "" if error is None else f" (standard error {error:.4f})"
        yield f"Density {result.density_g_cm3:.4f} g/cm3{spread}."
    if result.plain_range is not None and result.prediction is not None:
        yield f"Fat {result.plain_range}."
        yield f"{result.prediction.method}."
    if result.masses is not None:
        fat, rest = result.masses.fat_mass_kg, result.masses.fat_free_mass_kg
        fat_error = result.masses.fat_mass_standard_error_kg
        yield f"Fat mass {in_words(fat, fat_error, 'kg')}."
        rest_error = result.masses.fat_free_mass_standard_error_kg
        yield f"Fat-free mass {in_words(rest, rest_error, 'kg')}."
    yield from result.why_not
    yield from (reason.text for reason in result.outside)
