"""What stands beside the readings of a visit: consents, cautions, order, tape marks, setups."""

from collections.abc import Iterator, Mapping, Sequence

from capture.language.intents import length_from_plain
from capture.report.deviations import PERMISSION_NAMES, out_of_turn, turned
from capture.report.names import spaced
from capture.report.record import VisitRecord
from capture.report.results import protocol_of, sites_of_record
from capture.report.setups import conditions_of
from capture.showable import begin, cells, one_line

_FARTHER_IN = " " * 6
_NARROWEST = 20
"""Columns; a screen of less is cut at its edge."""
_NO_YES: Mapping[bool | None, str] = {True: "yes", False: "NO", None: "not asked"}


def settled_lines(visit: VisitRecord) -> Iterator[str]:
    """With what, consents, what was settled before, cautions, what was left out or moved, tape."""
    if visit.from_table:
        yield "Only the readings are known: they came from a table."
        return
    yield from _with_what(visit)
    yield f"permissions: {', '.join(_consent(visit, name) for name in PERMISSION_NAMES)}"
    if visit.agreed_to_sound:
        yield "sound of calls: the client agreed that it is kept until the sign-off by name"
    prepared = {str(fact["what"]): bool(fact["yes"]) for fact in visit.facts_of("settled")}
    if prepared:
        told = (_settled(what, yes) for what, yes in prepared.items())
        yield f"before them: {', '.join(told)}"
    if visit.cautions:
        yield f"cautions: {', '.join(map(_name, visit.cautions))}"
    yield from map(one_line, out_of_turn(visit))
    for (site, circuit), reason in visit.skips.items():
        what = f"circuit {circuit}" if circuit else "tape"
        yield f"left out: {_name(site)}, {what}: {_name(reason)}"
    if visit.facts_of("finished_early"):
        yield "finished early: the rest was left out"
    for site, fact in visit.tapes.items():
        length, mark = (_length(fact.get(part)) for part in ("length", "mark"))
        yield f"tape: {_name(site)} {length}, mark at {mark}"


def setup_lines(visit: VisitRecord) -> Iterator[str]:
    """For each site side, fold and what lay between; what was another way than planned is told."""
    taken = conditions_of(visit, protocol_of(visit), sites_of_record(visit))
    if not any(each.side for each in taken.values()):
        return
    changed = {str(fact["site"]) for fact in visit.facts_of("setup_changed")}
    others: dict[str, list[str]] = {}
    for site, how in turned(visit):
        others.setdefault(site, []).append(how)
    yield f"{'taken at':<14}{'side':<7}{'fold':<12}{'through':<20}not as the protocol has it"
    for site, each in taken.items():
        side = "" if each.side is None else each.side.value
        mark = f"! {'; '.join(others[site])}" if site in others else ""
        mark += " (changed at this visit)" if site in changed else ""
        yield (
            f"{_name(site):<14}{side:<7}{each.fold_direction.value:<12}"
            f"{each.clothing or '':<20}{mark}"
        ).rstrip()


def _with_what(visit: VisitRecord) -> Iterator[str]:
    protocol, caliper = protocol_of(visit), visit.plan.get("caliper")
    if protocol is not None:
        yield f"protocol: {one_line(protocol.title)}"
    if isinstance(caliper, Mapping):
        yield f"caliper: {one_line(str(caliper.get('description', 'not named')))}"


def wrapped(lines: Sequence[str], width: int) -> list[str]:
    """The lines within a width; what does not fit goes on below, farther in."""
    width = max(width, _NARROWEST)
    found = []
    for line in lines:
        rest = line
        while cells(rest) > width:
            fits = begin(rest, width)
            blank = fits.rstrip().rfind(" ", len(_FARTHER_IN) + 1)
            # A word that is longer than a line is broken where the line ends.
            end = blank if blank > 0 else len(fits)
            found.append(rest[:end].rstrip())
            rest = _FARTHER_IN + rest[end:].lstrip()
        found.append(rest)
    return found


def _consent(visit: VisitRecord, name: str) -> str:
    if name in visit.instead:
        return f"{name} NO, instead {_name(visit.instead[name])}"
    return f"{name} {_NO_YES[visit.permissions.get(name)]}"


def _settled(what: str, yes: bool) -> str:
    if what == "cautions":
        # "No" is the good answer here: no reason for care, or none more than the list below has.
        return "more cautions" if yes else "no more cautions"
    return f"{_name(what)} {_NO_YES[yes]}"


def _length(plain: object) -> str:
    try:
        return str(length_from_plain(plain)) if isinstance(plain, Mapping) else "not known"
    except (KeyError, TypeError):
        return "not readable"


def _name(name: str) -> str:
    return one_line(spaced(name))
