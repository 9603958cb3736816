"""What in a visit did not go by its protocol, or was changed afterwards."""

from collections.abc import Iterator

from capture.report.names import spaced
from capture.report.record import VisitRecord
from capture.report.remarks import dwell_lines
from capture.report.results import circuits_of, measured, protocol_of, sites_of_record
from capture.report.setups import AS_PLANNED

PERMISSION_NAMES = ("clothing", "marks", "touch")


def permissions_missing(visit: VisitRecord) -> list[str]:
    """The permissions that were neither answered nor settled in another way."""
    settled = {**visit.permissions, **visit.instead}
    return [name for name in PERMISSION_NAMES if name not in settled]


def permissions_refused(visit: VisitRecord) -> list[str]:
    """The permissions that were refused or withdrawn."""
    return [name for name, granted in visit.permissions.items() if not granted]


def deviations(visit: VisitRecord) -> tuple[str, ...]:
    """What did not go by the protocol, or was changed afterwards."""
    found = []
    missing, refused = permissions_missing(visit), permissions_refused(visit)
    if visit.from_table:
        found.append("Only the readings are on record: they came from a table.")
    elif missing:
        found.append(f"Permission not asked: {', '.join(missing)}.")
    if refused:
        found.append(f"Permission refused: {', '.join(refused)}.")
    for name, option in visit.instead.items():
        found.append(f"Instead of the permission {name}: {option.replace('_', ' ')}.")
    if visit.through_cloth:
        found.append(f"Taken through cloth: {', '.join(map(spaced, visit.through_cloth))}.")
    if visit.cautions:
        found.append(f"Noted before measuring: {', '.join(map(spaced, visit.cautions))}.")
    if visit.facts_of("finished_early"):
        found.append("Finished early, before all was measured.")
    found.extend(_turned(visit))
    found.extend(f"Out of time: {each}." for each in dwell_lines(visit))
    for (site, circuit), reason in visit.skips.items():
        what = "tape" if circuit == 0 else f"circuit {circuit}"
        found.append(f"Skipped: {spaced(site)}, {what} ({reason.replace('_', ' ')}).")
    circuits = circuits_of(visit)
    for site in sites_of_record(visit):
        count = len(visit.trials(site))
        if 0 < count < circuits:
            found.append(f"Only {count} of {circuits} readings: {spaced(site)}.")
        elif not count and not any(key[0] == site for key in visit.skips):
            found.append(f"Not measured: {spaced(site)}.")
    if not visit.is_signed:
        found.append("The visit is not signed off.")
    for each in visit.readings:
        if each.is_forked:
            found.append(f"Amended in two ways, not settled: {spaced(each.site)}, {each.circuit}.")
    return tuple(found)


def _turned(visit: VisitRecord) -> Iterator[str]:
    """The sites taken another way than the protocol asks for."""
    protocol, taken = protocol_of(visit), measured(visit)
    if protocol is None:
        return
    for site in protocol.sites:
        found = taken.at(site.id)
        if found is None:
            continue
        fold, side = found.conditions.fold_direction.value, found.conditions.side
        if fold != site.fold.value:
            yield f"Fold lifted {fold}, not {site.fold.value}: {spaced(site.id)}."
        if side is not None and side.value != site.side.value:
            yield f"Measured on the {side.value} side: {spaced(site.id)}."
        if found.conditions.place != AS_PLANNED:
            yield f"Moved, {found.conditions.place}: {spaced(site.id)}."
