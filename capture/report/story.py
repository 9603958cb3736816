"""Everything that a report says of one visit, before it becomes a page."""

from collections.abc import Sequence
from dataclasses import dataclass

from capture.composition.assessor import SiteError, within_assessor
from capture.composition.change import Verdict, VisitChange, change_since
from capture.composition.results import VisitResult
from capture.composition.uncertainty import tem_of_sum_mm
from capture.report.record import VisitRecord
from capture.report.results import circuits_of, measured, result_of, sites_of_record

MOST_EARLIER = 7
PERMISSION_NAMES = ("clothing", "marks", "touch")


@dataclass(frozen=True, slots=True)
class Person:
    """Client and assessor by name, as the report shows them."""

    client: str
    assessor: str


@dataclass(frozen=True, slots=True)
class Story:
    """One visit among others of the same person.

    `earlier` are the visits before it, the newest first; `errors` the assessor's own errors by
    site, from their latest visits. `show_fat` off leaves every percent, density and mass out.
    """

    visit: VisitRecord
    person: Person
    result: VisitResult | None
    earlier: tuple[tuple[VisitRecord, VisitResult | None], ...]
    errors: tuple[SiteError, ...]
    change: VisitChange | None
    show_fat: bool = True

    @property
    def tem_sum_mm(self) -> float | None:
        """The assessor's technical error of the sum in mm, None while one site's is not known."""
        if self.result is None or self.result.sum_mm is None:
            return None
        known = {each.site: each.tem_mm for each in self.errors}
        tems = [known.get(site) for site in self.result.summed_sites]
        found = [tem for tem in tems if tem is not None]
        return tem_of_sum_mm(found) if len(found) == len(tems) else None


def tell(
    visit: VisitRecord,
    person: Person,
    earlier: Sequence[VisitRecord],
    of_assessor: Sequence[VisitRecord],
    *,
    show_fat: bool = True,
) -> Story:
    """Put a report together; `earlier` the newest first, `of_assessor` for the repeatability."""
    before = tuple((each, result_of(each)) for each in earlier[:MOST_EARLIER])
    errors = within_assessor(tuple(map(measured, of_assessor)), visit.assessor_id)
    change = None
    if earlier:
        tems = {each.site: each.tem_mm for each in errors if each.tem_mm is not None}
        then, now = measured(earlier[0]), measured(visit)
        if then.client == now.client and then.measurements and now.measurements:
            change = change_since(then, now, tems)
    return Story(visit, person, result_of(visit), before, tuple(errors), change, show_fat)


def client_lines(story: Story) -> tuple[str, ...]:
    """The summary for the client, in plain words: the folds first, the percent after them."""
    result = story.result
    if result is None or not result.sites:
        return ("No folds were measured at this visit.",)
    lines = []
    if result.sum_mm is not None:
        lines.append(
            f"The folds at {len(result.summed_sites)} places add up to {result.sum_mm:.1f} mm."
        )
    else:
        lines.append(_sum_of_protocol(story.visit, result))
    if story.change is not None and story.change.sum.change_mm is not None:
        when = story.earlier[0][0].started_at[:10]
        lines.append(_changed(story.change, when, story.change.sum.change_mm))
    elif not story.earlier:
        lines.append("This is the first visit on record, so there is nothing to compare with yet.")
    if story.show_fat and result.plain_range is not None:
        lines.append(
            f"From the folds, body fat is estimated at {result.plain_range}. "
            "This is an estimate with a wide margin; the folds say more about change."
        )
    return tuple(lines)


def _sum_of_protocol(visit: VisitRecord, result: VisitResult) -> str:
    """The sum of the protocol's own sites, where they are not those of the equation."""
    values = {each.site: each.settled.value_mm for each in result.sites}
    wanted = sites_of_record(visit)
    missing = [_name(site) for site in wanted if site not in values]
    if missing:
        return f"The folds cannot be added up this time: not measured were {', '.join(missing)}."
    total = sum(values[site] for site in wanted)
    return f"The folds at {len(wanted)} places add up to {total:.1f} mm."


def _changed(since: VisitChange, when: str, change: float) -> str:
    found = since.sum
    places = len(since.summed_sites)
    words = "less" if change < 0 else "more"
    told = f"Since {when} the sum of {places} places is {abs(change):.1f} mm {words}"
    if abs(change) < 0.05:
        return f"Since {when} the sum of {places} places has not changed."
    match found.verdict:
        case Verdict.REAL:
            return f"{told}: more than the error of measuring, so a real change."
        case Verdict.WITHIN_ERROR:
            return f"{told}: within the error of measuring, so it may be no change at all."
        case _:
            return f"{told}. How much of that is the error of measuring is not known yet."


def method_lines(story: Story) -> tuple[str, ...]:
    """How it was measured and computed."""
    visit, result = story.visit, story.result
    caliper = visit.plan.get("caliper")
    described = caliper.get("description", "not named") if isinstance(caliper, dict) else "?"
    rules = visit.plan.get("protocol_rules")
    title = rules.get("title") if isinstance(rules, dict) else visit.plan.get("protocol")
    lines = [f"Protocol: {title}; {circuits_of(visit)} circuits. Caliper: {described}."]
    if result is not None and story.show_fat:
        lines.append(
            f"Equation: {result.equation.name}; source: {result.equation.source}; "
            f"figures {result.equation.confirmed.value}."
        )
        if result.prediction is not None:
            lines.append(f"{result.prediction.method}.")
        if result.density_g_cm3 is not None:
            error = result.density_standard_error_g_cm3
            spread = "" if error is None else f", standard error {error:.4f}"
            lines.append(f"Density {result.density_g_cm3:.4f} g/cm³{spread}.")
        lines.extend(result.why_not)
        lines.extend(reason.text for reason in result.outside)
    return tuple(lines)


def deviations(visit: VisitRecord) -> tuple[str, ...]:
    """What did not go by the protocol, or was changed afterwards."""
    found = []
    settled = {**visit.permissions, **visit.instead}
    missing = [name for name in PERMISSION_NAMES if name not in settled]
    refused = [name for name, granted in visit.permissions.items() if not granted]
    if visit.from_table:
        found.append("Only the readings are on record: they came from a table.")
    elif missing:
        found.append(f"Permission not asked: {', '.join(missing)}.")
    if refused:
        found.append(f"Permission refused: {', '.join(refused)}.")
    for name, option in visit.instead.items():
        found.append(f"Instead of the permission {name}: {option.replace('_', ' ')}.")
    if visit.through_cloth:
        found.append(f"Taken through cloth: {', '.join(map(_name, visit.through_cloth))}.")
    for (site, circuit), reason in visit.skips.items():
        what = "tape" if circuit == 0 else f"circuit {circuit}"
        found.append(f"Skipped: {_name(site)}, {what} ({reason.replace('_', ' ')}).")
    circuits = circuits_of(visit)
    for site in sites_of_record(visit):
        count = len(visit.trials(site))
        if 0 < count < circuits:
            found.append(f"Only {count} of {circuits} readings: {_name(site)}.")
        elif not count and not any(key[0] == site for key in visit.skips):
            found.append(f"Not measured: {_name(site)}.")
    if not visit.is_signed:
        found.append("The visit is not signed off.")
    for each in visit.readings:
        if each.is_forked:
            found.append(f"Amended in two ways, not settled: {_name(each.site)}, {each.circuit}.")
    return tuple(found)


def _name(site: str) -> str:
    return site.replace("_", " ")
