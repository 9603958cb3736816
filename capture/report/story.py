"""Everything that a report says of one visit, before it becomes a page."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from capture.composition.assessor import SiteError, between_assessors, within_assessor
from capture.composition.change import Verdict, VisitChange, change_since
from capture.composition.client import ClientDefaults
from capture.composition.measured import MeasuredVisit
from capture.composition.results import VisitResult
from capture.composition.shown import NOTHING_TAKEN, Body, Shown, shown
from capture.composition.uncertainty import one_decimal
from capture.report.names import spaced
from capture.report.record import VisitRecord
from capture.report.results import (
    AS_USUAL,
    Inputs,
    circuits_of,
    fold_sum,
    measured,
    result_of,
    sites_of_record,
)

MOST_EARLIER = 7


@dataclass(frozen=True, slots=True)
class Person:
    """Client and assessor by name, as the report shows them."""

    client: str
    assessor: str


@dataclass(frozen=True, slots=True)
class Asked:
    """What a report is asked for: the client's own choices, and what was given for this once.

    `override` accepts what lies outside the equation's sample; the result then says so.
    """

    defaults: ClientDefaults = AS_USUAL
    body: Body = NOTHING_TAKEN
    override: bool = False


AS_ASKED = Asked()
"""Everything as usual."""


@dataclass(frozen=True, slots=True)
class Story:
    """One visit among others of the same person.

    `earlier` are the visits before it, the newest first; `before` is the last of them with a fold
    at a site of this one, which the `change` is since. `errors` are the assessor's own errors by
    site, from their latest visits; `between` those between them and the assessor of `before`,
    where that was another one.
    """

    visit: VisitRecord
    person: Person
    result: VisitResult | None
    earlier: tuple[tuple[VisitRecord, VisitResult | None], ...]
    errors: tuple[SiteError, ...]
    change: VisitChange | None
    asked: Asked = AS_ASKED
    between: tuple[SiteError, ...] = ()
    before: VisitRecord | None = None

    @property
    def show_fat(self) -> bool:
        """Whether any percent, density or mass is in the report."""
        return self.asked.defaults.show_fat_percent

    @property
    def tems_mm(self) -> dict[str, float]:
        """The assessor's technical errors by site in mm, as far as they are known."""
        return _tems(self.errors)

    @property
    def shown(self) -> Shown | None:
        """The prediction with what follows from it; None where none may or can be shown."""
        result = self.result
        if not self.show_fat or result is None or result.prediction is None:
            return None
        norms = self.asked.defaults.norms_shown
        return shown(result.prediction, self.asked.body, show_norms=norms)


def tell(
    visit: VisitRecord,
    person: Person,
    earlier: Sequence[VisitRecord],
    of_assessors: Sequence[VisitRecord],
    asked: Asked = AS_ASKED,
) -> Story:
    """Put a report together.

    `earlier` are visits of the same person, the newest first, whatever their clients' identifiers;
    `of_assessors` those that the repeatability is found from, also of the assessor before.
    """
    asked = replace(asked, body=_body(visit, asked.body))
    known = tuple(map(measured, of_assessors))
    errors = within_assessor(known, visit.assessor_id)
    inputs = Inputs(_tems(errors), asked.body.weight_kg, asked.body.target_percent, asked.override)
    past = replace(inputs, weight_kg=None, target_percent=None)
    results = [(each, result_of(each, asked.defaults, past)) for each in earlier[:MOST_EARLIER]]
    before = last_alike(visit, earlier)
    change: VisitChange | None = None
    between: tuple[SiteError, ...] = ()
    if before is not None:
        between = _between(known, before, visit)
        change = _change(before, visit, _tems(errors), _tems(between) or None)
    result = result_of(visit, asked.defaults, inputs)
    return Story(visit, person, result, tuple(results), errors, change, asked, between, before)


def last_alike(visit: VisitRecord, earlier: Sequence[VisitRecord]) -> VisitRecord | None:
    """The last visit with a fold at a site of this one; a refused visit is no visit to compare."""
    sites = {each.site for each in measured(visit).measurements}
    for each in earlier:
        if sites & {one.site for one in measured(each).measurements}:
            return each
    return None


def _body(visit: VisitRecord, given: Body) -> Body:
    """Weight and height as they were given for the report, else as taken on the day."""
    return Body(
        given.weight_kg or _taken(visit, "weight_kg"),
        given.height_cm or _taken(visit, "height_cm"),
        given.target_percent,
    )


def _taken(visit: VisitRecord, name: str) -> float | None:
    value = visit.plan.get(name)
    return float(value) if isinstance(value, int | float) and value > 0 else None


def _tems(errors: Sequence[SiteError]) -> dict[str, float]:
    return {each.site: each.tem_mm for each in errors if each.tem_mm is not None}


def _between(
    known: tuple[MeasuredVisit, ...], before: VisitRecord, now: VisitRecord
) -> tuple[SiteError, ...]:
    if before.assessor_id == now.assessor_id:
        return ()
    return between_assessors(known, before.assessor_id, now.assessor_id)


def _change(
    before: VisitRecord,
    now: VisitRecord,
    tems_mm: Mapping[str, float],
    between_mm: Mapping[str, float] | None,
) -> VisitChange:
    then, today = measured(before), measured(now)
    # Two clients that were found to be one person are compared like one.
    return change_since(replace(then, client=today.client), today, tems_mm, between_mm)


def client_lines(story: Story) -> tuple[str, ...]:
    """The summary for the client, in plain words: the folds first, the percent after them."""
    return tuple(_client_lines(story))


def _client_lines(story: Story) -> Iterator[str]:
    result = story.result
    if not measured(story.visit).measurements:
        yield "No folds were measured at this visit."
        return
    yield _sum_line(story.visit)
    if story.visit.through_cloth:
        yield "Some folds were measured through cloth, so the values are estimates."
    yield from _change_lines(story)
    if not story.show_fat:
        return
    if result is None:
        yield "Body fat is not estimated. Sex or age are not on record."
    elif result.plain_range is not None:
        where = ""
        if set(result.summed_sites) != set(sites_of_record(story.visit)):
            where = f" at {len(result.summed_sites)} of these places"
        yield (
            f"From the folds{where}, body fat is estimated at {result.plain_range}. "
            "This is an estimate with a wide margin; the folds say more about change."
        )
    else:
        yield f"Body fat is not estimated. {' '.join(result.why_not)}"


def _sum_line(visit: VisitRecord) -> str:
    """The sum of the protocol's own sites."""
    found = fold_sum(visit)
    if found.sum_mm is None:
        missing = ", ".join(map(spaced, found.missing))
        return f"The folds cannot be added up this time: not measured were {missing}."
    return f"The folds at {len(found.sites)} places add up to {one_decimal(found.sum_mm)} mm."


def _change_lines(story: Story) -> Iterator[str]:
    if not story.earlier:
        yield "This is the first visit on record, so there is nothing to compare with yet."
        return
    if story.change is None or story.before is None:
        yield "No earlier visit has folds at these places, so there is nothing to compare."
        return
    when = story.before.started_at[:10]
    change = story.change.sum.change_mm
    if change is None:
        yield f"The folds are not compared with those of {when}: they were measured in another way."
    else:
        yield _changed(story.change, when, change)
    yield from differing(story.change)


def differing(change: VisitChange) -> tuple[str, ...]:
    """What was not measured the same way as before, each once, with the sites it is about."""
    sites: dict[str, list[str]] = {}
    for each in change.sites:
        texts = [one.text for one in each.differences] or (
            [each.note] if each.verdict is Verdict.NOT_COMPARED else []
        )
        for text in texts:
            sites.setdefault(text, []).append(spaced(each.what))
    everywhere = len(change.sites)
    return tuple(
        text if len(where) == everywhere else f"Not compared: {', '.join(where)}. {text}"
        for text, where in sites.items()
    )


def _changed(since: VisitChange, when: str, change: float) -> str:
    found = since.sum
    places = len(since.summed_sites)
    words = "less" if change < 0 else "more"
    told = f"Since {when} the sum of {places} places is {one_decimal(abs(change))} mm {words}"
    if abs(change) < 0.05:
        return f"Since {when} the sum of {places} places has not changed."
    limit = found.smallest_real_change_mm
    reach = "" if limit is None else f" (up to {one_decimal(limit)} mm)"
    match found.verdict:
        case Verdict.REAL:
            return f"{told}: more than the error of measuring{reach}, so a real change."
        case Verdict.WITHIN_ERROR:
            return f"{told}: within the error of measuring{reach}, so it may be no change at all."
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
        whose = "" if story.asked.defaults.equation_id is None else ", chosen for this client"
        lines.append(
            f"Equation{whose}: {result.equation.name}; source: {result.equation.source} "
            f"Its figures were {result.equation.confirmed.in_words}. Sites: "
            f"{', '.join(map(spaced, result.equation.sites))}."
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
