"""What a recorded visit comes to, amendments included."""

import json
from functools import lru_cache

from capture.composition.forms import FoldDirection, Sex
from capture.composition.measured import Conditions, MeasuredVisit, Side, SiteMeasurement
from capture.composition.results import VisitResult, visit_result
from capture.protocol.protocol import Protocol
from capture.protocol.reading import protocol_from_plain
from capture.protocol.shipped import protocols
from capture.report.record import VisitRecord
from capture.report.summary import SEVEN_SITE_EQUATIONS


def protocol_of(visit: VisitRecord) -> Protocol | None:
    """The protocol as it was when the visit began, None if this version cannot read it."""
    part = {name: visit.plan.get(name) for name in ("protocol", "protocol_rules")}
    return _protocol(json.dumps(part))


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


def result_of(visit: VisitRecord) -> VisitResult | None:
    """The folds, their sum and what follows; None where sex or age are not in the plan."""
    try:
        sex = Sex(visit.plan["sex"])
        age_years = int(visit.plan["age_years"])
    except (KeyError, TypeError, ValueError):
        return None
    trials = {site: visit.trials(site) for site in sites_of_record(visit)}
    return visit_result(
        {site: values for site, values in trials.items() if values},
        sex,
        age_years,
        SEVEN_SITE_EQUATIONS[sex],
        fold_directions=_folds(visit),
    )


def measured(visit: VisitRecord) -> MeasuredVisit:
    """The visit as the comparison of visits needs it; people by identifier."""
    caliper = visit.plan.get("caliper")
    protocol = protocol_of(visit)
    sides = {} if protocol is None else {each.id: Side(each.side.value) for each in protocol.sites}
    described = str(caliper.get("description")) if isinstance(caliper, dict) else None
    folds = _folds(visit)
    found = [
        SiteMeasurement(Conditions(site, sides.get(site), folds[site], described), trials)
        for site in folds
        if (trials := visit.trials(site))
    ]
    return MeasuredVisit(visit.started_at, visit.client_id, visit.assessor_id, tuple(found))


def _folds(visit: VisitRecord) -> dict[str, FoldDirection]:
    protocol = protocol_of(visit)
    if protocol is None:
        return dict.fromkeys(sites_of_record(visit), FoldDirection.NOT_STATED)
    return {site.id: FoldDirection(site.fold.value) for site in protocol.sites}
