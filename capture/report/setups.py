"""How each site of a recorded visit was measured, read from its plan and its journal."""

from collections.abc import Mapping
from typing import Any

from capture.composition.forms import FoldDirection
from capture.composition.measured import Conditions, Side
from capture.protocol.protocol import Protocol
from capture.protocol.setup import Carried, SetupField, SiteSetup, usual_setup
from capture.report.record import VisitRecord

AS_PLANNED = "as the protocol has it"
"""The place of a site that was not moved."""


def conditions_of(
    visit: VisitRecord, protocol: Protocol | None, sites: tuple[str, ...]
) -> dict[str, Conditions]:
    """For each site how it was taken; what is not on record is None."""
    caliper = visit.plan.get("caliper")
    described = str(caliper.get("description")) if isinstance(caliper, Mapping) else None
    setups = {} if protocol is None else setups_of(visit, protocol)
    found = {}
    for site in sites:
        setup = setups.get(site)
        if setup is None:
            found[site] = Conditions(site, caliper=described, clothing=_clothing(visit, site))
            continue
        found[site] = Conditions(
            site,
            Side(setup.side.value),
            FoldDirection(setup.fold.value),
            described,
            _clothing(visit, site),
            AS_PLANNED if setup.offset_mm is None else f"{setup.offset_mm} mm in front of its line",
        )
    return found


def setups_of(visit: VisitRecord, protocol: Protocol) -> dict[str, SiteSetup]:
    """The protocol, then the last visit, then what was changed on the day."""
    carried = _carried(visit.plan.get("last_time"))
    found = {}
    for site in protocol.sites:
        setup = None if carried is None else carried.site(site.id)
        found[site.id] = setup or usual_setup(site)
    for change in visit.facts_of("setup_changed"):
        site_id, value = change["site"], change.get("value")
        if site_id not in found or not isinstance(value, str | int):
            continue
        try:
            found[site_id] = found[site_id].changed(SetupField(change["field"]), value)
        except ValueError:
            # Written by a version that knows more ways; what we know still holds.
            continue
    return found


def _carried(plain: Any) -> Carried | None:
    try:
        return None if plain is None else Carried.from_plain(plain)
    except (KeyError, TypeError, ValueError):
        return None


def _clothing(visit: VisitRecord, site: str) -> str:
    """What lay between skin and caliper: each reading that counts keeps it."""
    layers = {
        each.cloth_tenths_mm or 0
        for each in visit.readings
        if each.site == site and each.counts_tenths_mm is not None
    }
    if layers <= {0}:
        return "bare skin"
    return " and ".join(
        f"cloth of {layer / 10:.1f} mm" if layer else "bare skin" for layer in sorted(layers)
    )
