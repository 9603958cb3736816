"""What in a visit did not go by its protocol, or was changed afterwards."""

from collections.abc import Iterator

from capture.protocol.caliper import Caliper
from capture.report.names import spaced
from capture.report.record import VisitRecord
from capture.report.remarks import dwell_lines
from capture.report.results import circuits_of, protocol_of, sites_of_record
from capture.report.setups import setups_of
from capture.units import millimetres

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
    found.extend(_sentence(each) for each in before_touching(visit))
    found.extend(_sentence(f"{spaced(site)}: {how}") for site, how in turned(visit))
    found.extend(_sentence(each) for each in out_of_turn(visit))
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


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def turned(visit: VisitRecord) -> Iterator[tuple[str, str]]:
    """Each site with readings that was taken another way than the protocol asks for, and how.

    Whether it was changed on the day or carried over from the last visit.
    """
    protocol = protocol_of(visit)
    if protocol is None:
        return
    setups = setups_of(visit, protocol)
    read = {each.site for each in visit.readings if each.counts_tenths_mm is not None}
    for site in protocol.sites:
        if site.id not in read:
            continue
        setup = setups[site.id]
        if setup.fold is not site.fold:
            yield site.id, f"fold {setup.fold.value}, not {site.fold.value}"
        if setup.side is not site.side:
            yield site.id, f"{setup.side.value} side, not {site.side.value}"
        if setup.offset_mm is not None:
            yield site.id, f"{setup.offset_mm} mm in front of its line"


def out_of_turn(visit: VisitRecord) -> Iterator[str]:
    """What was put off to the end of its circuit, and what was read once more at the end."""
    for kind, words in (("put_off", "put off"), ("extra_asked", "one reading more")):
        for fact in visit.facts_of(kind):
            yield f"{words}: {spaced(str(fact['site']))}, circuit {fact['circuit']}"


def before_touching(visit: VisitRecord) -> Iterator[str]:
    """What was not as it should be before anybody was touched."""
    settled = {str(fact["what"]): fact["yes"] is True for fact in visit.facts_of("settled")}
    if settled.get("wiped") is False:
        yield "caliper not wiped"
    if "other_caliper" in settled:
        yield "another caliper than at the last visit"
    if "other_assessor" in settled:
        yield "another assessor than at the last visit"
    try:
        caliper = Caliper.from_plain(visit.plan["caliper"])
        if caliper.check is not None and caliper.check.has_drifted:
            yield f"the caliper had drifted by {millimetres(abs(caliper.check.drift_tenths_mm))} mm"
        if caliper.check is not None and caliper.check.is_overdue(visit.started_at):
            yield "the caliper's check with gauge blocks was overdue"
    except (KeyError, TypeError, ValueError):
        # Only the readings came in, or a later version wrote it: of this caliper nothing is known.
        return
