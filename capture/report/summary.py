"""A visit's results as plain lines: the folds first, the percent after them."""

from capture.composition.forms import FoldDirection, Sex
from capture.composition.results import VisitResult, visit_result
from capture.units import millimetres
from capture.visit.setups import setup_of
from capture.visit.state import Visit

SEVEN_SITE_EQUATIONS = {
    Sex.MALE: "jackson_pollock_1978_men_7",
    Sex.FEMALE: "jackson_pollock_ward_1980_women_7",
}
"""The equation that belongs to the seven-site protocol, by sex."""

CAUTION = (
    "An estimate for following one person over time, not a diagnosis.",
    "Local rules and licensed practice come first.",
)


def visit_result_of(visit: Visit) -> VisitResult:
    """Compute what the confirmed readings of a visit come to."""
    plan = visit.plan
    trials = {site.id: visit.trials(site.id) for site in plan.protocol.sites}
    folds = {
        site.id: FoldDirection(setup_of(visit, site.id).fold.value) for site in plan.protocol.sites
    }
    return visit_result(
        trials,
        plan.sex,
        plan.age_years,
        SEVEN_SITE_EQUATIONS[plan.sex],
        fold_directions=folds,
    )


def summary_lines(visit: Visit, result: VisitResult) -> tuple[str, ...]:
    """The table of sites and what follows from it, 80 columns wide at most."""
    plan = visit.plan
    lines = [f"{'site':<14}{'1st':>7}{'2nd':>7}{'3rd':>7}{'value':>9}  how"]
    by_site = {each.site: each for each in result.sites}
    for site in plan.protocol.sites:
        found = by_site.get(site.id)
        if found is None:
            lines.append(f"{site.title:<14}{'-':>7}{'-':>7}{'':>7}{'-':>9}  not measured")
            continue
        readings = [millimetres(each) for each in found.readings_tenths_mm]
        columns = "".join(f"{each:>7}" for each in [*readings, "", "", ""][:3])
        how = found.settled.how.value
        if visit.is_estimate(site.id):
            how += ", estimate"
        lines.append(f"{site.title:<14}{columns}{found.settled.value_mm:>9.1f}  {how}")
    if any(visit.is_estimate(site) for site in by_site):
        lines.append("Estimate: read through cloth, two layers taken off.")
    if result.sum_mm is not None:
        title = f"sum of {len(result.summed_sites)}"
        lines.append(f"{title:<14}{'':>21}{result.sum_mm:>9.1f}  mm")
    if result.density_g_cm3 is not None:
        error = result.density_standard_error_g_cm3
        spread = "" if error is None else f" (standard error {error:.4f})"
        lines.append(f"Density {result.density_g_cm3:.4f} g/cm3{spread}.")
    if result.plain_range is not None and result.prediction is not None:
        lines.append(f"Fat {result.plain_range}.")
        lines.append(f"{result.prediction.method}.")
    lines.extend(result.why_not)
    lines.extend(CAUTION)
    return tuple(lines)
