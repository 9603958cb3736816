"""What a recorded visit comes to, amendments included."""

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Any

from capture.composition.client import ClientDefaults
from capture.composition.equations import Equation
from capture.composition.forms import FoldDirection, Gives, Sex
from capture.composition.measured import Conditions, MeasuredVisit, SiteMeasurement
from capture.composition.results import VisitResult, visit_result
from capture.composition.statistics import settle
from capture.composition.uncertainty import tem_of_sum_mm
from capture.composition.usual import equation_for
from capture.protocol.protocol import Protocol
from capture.protocol.reading import protocol_from_plain
from capture.protocol.shipped import protocols
from capture.report.record import VisitRecord
from capture.report.setups import conditions_of

AS_USUAL = ClientDefaults()
"""For a client of whom nothing was chosen."""


@dataclass(frozen=True, slots=True)
class Inputs:
    """What goes into a result beside the folds: TEM in mm by site, weight in kg, target in %.

    `override` accepts what lies outside the equation's sample; the result says so.
    """

    tems_mm: Mapping[str, float] | None = None
    weight_kg: float | None = None
    target_percent: float | None = None
    override: bool = False


@dataclass(frozen=True, slots=True)
class FoldSum:
    """The sum over all sites of a protocol, whatever equation takes some of them.

    `sum_mm` is None while a site is missing. `estimated` are sites read through cloth.
    """

    sites: tuple[str, ...]
    sum_mm: float | None
    missing: tuple[str, ...]
    estimated: tuple[str, ...] = ()


_NO_EQUATION_HOLDS = {"pregnancy": "pregnancy", "oedema": "swelling", "surgery": "surgery"}
"""Cautions under which percents from folds mean nothing (common practice, no source)."""


def conditions_against(cautions: Iterable[object]) -> tuple[str, ...]:
    """What was noted in which no equation holds, in words."""
    known = dict.fromkeys(str(each) for each in cautions)
    return tuple(_NO_EQUATION_HOLDS[each] for each in known if each in _NO_EQUATION_HOLDS)


def protocol_of(visit: VisitRecord) -> Protocol | None:
    """The protocol as it was when the visit began, None if this version cannot read it."""
    global _last  # noqa: PLW0603  # a visit is asked for its protocol many times in a row
    plan, found = _last
    if plan is not visit.plan:
        part = {name: visit.plan.get(name) for name in ("protocol", "protocol_rules")}
        found = _protocol(json.dumps(part))
        _last = visit.plan, found
    return found


_last: tuple[Mapping[str, Any] | None, Protocol | None] = (None, None)
"""The plan that was asked for last, and its protocol; held, so that no other takes its place."""


@lru_cache(maxsize=32)
def _protocol(text: str) -> Protocol | None:
    """Thousands of visits share a few protocols, and each is long to read."""
    told = json.loads(text)
    rules = told["protocol_rules"]
    try:
        return protocol_from_plain(rules) if rules else protocols()[told["protocol"]]
    except (KeyError, TypeError, ValueError):
        return None


def sites_of_record(visit: VisitRecord) -> tuple[str, ...]:
    """The protocol's sites in order; of an unknown protocol, those that were read."""
    protocol = protocol_of(visit)
    if protocol is not None:
        return tuple(site.id for site in protocol.sites)
    return tuple(dict.fromkeys(reading.site for reading in visit.readings))


def circuits_of(visit: VisitRecord) -> int:
    """How many circuits the protocol asks for; 2 where it is unknown."""
    protocol = protocol_of(visit)
    return 2 if protocol is None else protocol.circuits


def fold_sum(visit: VisitRecord) -> FoldSum:
    """The sum of the protocol's folds: what was measured, before any equation."""
    sites = sites_of_record(visit)
    missing = tuple(site for site in sites if not visit.trials(site))
    through = tuple(site for site in visit.through_cloth if site in sites)
    return FoldSum(sites, sum_over_mm(visit, sites), missing, through)


def sum_over_mm(visit: VisitRecord, sites: tuple[str, ...]) -> float | None:
    """The sum of the settled values of some sites in mm, None while one of them is missing."""
    values = [settle(trials) for site in sites if (trials := visit.trials(site))]
    if not sites or len(values) != len(sites):
        return None
    # Exact tenths are added up, and only the sum becomes a float.
    return float(sum((each.value_tenths_mm for each in values), Fraction(0)) / 10)


def error_of_sum_mm(
    visit: VisitRecord, sites: tuple[str, ...], tems_mm: Mapping[str, float]
) -> float | None:
    """Standard error of a sum of settled values in mm; None while one site's TEM is not known.

    A mean of two readings is off by less than one of them: by the TEM over the root of two.
    """
    errors = []
    for site in sites:
        trials, tem = visit.trials(site), tems_mm.get(site)
        if not trials or tem is None:
            return None
        errors.append(tem / math.sqrt(settle(trials).counts_for))
    return tem_of_sum_mm(errors) if errors else None


def result_of(
    visit: VisitRecord, defaults: ClientDefaults = AS_USUAL, inputs: Inputs | None = None
) -> VisitResult | None:
    """The folds, their sum and what follows; None where sex or age are not in the plan.

    Computed by the client's equation, or by the usual one for the protocol's sites. An id that
    this version does not know is a CaptureError.
    """
    try:
        sex = Sex(visit.plan["sex"])
        age_years = int(visit.plan["age_years"])
    except (KeyError, TypeError, ValueError):
        return None
    given = inputs or Inputs()
    sites = sites_of_record(visit)
    folds = {site: each.fold_direction for site, each in _conditions(visit).items()}
    protocol = protocol_of(visit)
    planned = {} if protocol is None else planned_folds(protocol)
    chosen = equation_for(defaults.equation_id, sex, age_years, sites, planned)
    trials = {site: visit.trials(site) for site in sites}
    return visit_result(
        {site: values for site, values in trials.items() if values},
        sex,
        age_years,
        chosen.id,
        conversion_for(chosen, defaults),
        override=given.override,
        fold_directions=folds,
        tem_sum_mm=error_of_sum_mm(visit, chosen.sites, given.tems_mm or {}),
        weight_kg=given.weight_kg,
        target_percent=given.target_percent,
        conditions=conditions_against(visit.cautions),
    )


def planned_folds(protocol: Protocol) -> dict[str, FoldDirection]:
    """The directions that the protocol asks for: a fold turned today changes no equation."""
    return {site.id: FoldDirection(site.fold.value) for site in protocol.sites}


def conversion_for(chosen: Equation, defaults: ClientDefaults) -> str | None:
    """The client's conversion; None if the equation gives percent itself: nothing to convert."""
    return defaults.conversion_id if chosen.gives is Gives.DENSITY else None


def measured(visit: VisitRecord) -> MeasuredVisit:
    """The visit as the comparison of visits needs it; people by identifier, the date by day."""
    found = [
        SiteMeasurement(conditions, trials)
        for site, conditions in _conditions(visit).items()
        if (trials := visit.trials(site))
    ]
    return MeasuredVisit(visit.started_at[:10], visit.client_id, visit.assessor_id, tuple(found))


def _conditions(visit: VisitRecord) -> dict[str, Conditions]:
    return conditions_of(visit, protocol_of(visit), sites_of_record(visit))
