"""Moves that say which site comes next: chosen, put off, left out, once more, or no more."""

from dataclasses import replace

from capture.language.intents import Extra, GoTo, Skip
from capture.visit.announcement import Finished, PutOff, Skipped, Why
from capture.visit.course import TAPE_CIRCUIT, next_tape, next_target, outstanding, phase
from capture.visit.moves import Outcome, drop_pending, is_pending, refused
from capture.visit.state import (
    EarlyFinish,
    ExtraAsked,
    Phase,
    SitePutOff,
    SkippedSite,
    Target,
    Visit,
)


def go_to(visit: Visit, intent: GoTo) -> Outcome:
    """Measure another site next. What waits for its yes must be answered first."""
    if is_pending(visit):
        pending, setup = visit.pending, visit.pending_setup
        site = pending.target.site if pending else setup.site if setup else None
        return refused(visit, Why.OTHER_PENDING, site)
    target, objection = target_for(visit, intent.site)
    if target is None or phase(visit) is not Phase.CIRCUITS:
        return refused(visit, objection, intent.site)
    return Outcome(replace(visit, chosen=target.site), ({"kind": "went_to", "site": target.site},))


def skip(visit: Visit, intent: Skip) -> Outcome:
    """Leave out the present site, or its tape, with the reason."""
    target = _present(visit)
    if target is None:
        return refused(visit, Why.NOT_NOW)
    dropped = drop_pending(visit)
    skipped = SkippedSite(target, intent.reason)
    fact_of_skip = {
        "kind": "skipped",
        "site": target.site,
        "circuit": target.circuit,
        "reason": intent.reason.value,
    }
    return Outcome(
        replace(dropped.visit, done=(*visit.done, skipped), chosen=None),
        (*dropped.facts, fact_of_skip),
        dropped.readings,
        (Skipped(target.site, intent.reason),),
    )


def _present(visit: Visit) -> Target | None:
    if visit.pending is not None:
        return visit.pending.target
    if visit.pending_tape is not None:
        return Target(visit.pending_tape.site, TAPE_CIRCUIT)
    match phase(visit):
        case Phase.CIRCUITS:
            return next_target(visit)
        case Phase.TAPES:
            site = next_tape(visit)
            return Target(site, TAPE_CIRCUIT) if site else None
        case _:
            return None


def target_for(visit: Visit, site: str | None) -> tuple[Target | None, Why]:
    """Where a reading belongs, or why nowhere."""
    if site is None:
        return next_target(visit), Why.NOT_NOW
    if site not in {each.id for each in visit.plan.protocol.sites}:
        return None, Why.NOT_IN_PROTOCOL
    left = outstanding(visit)
    if all(target.site != site for target in left):
        return None, Why.ALREADY_DONE
    if site == visit.last_measured and any(target.site != site for target in left):
        return None, Why.JUST_MEASURED
    return next(target for target in left if target.site == site), Why.NOT_NOW


def put_off(visit: Visit) -> Outcome:
    """Measure the present site at the end of its circuit."""
    target = next_target(visit)
    if is_pending(visit) or phase(visit) is not Phase.CIRCUITS or target is None:
        return refused(visit, Why.NOT_NOW)
    if all(each == target or each in visit.put_off for each in outstanding(visit)):
        return refused(visit, Why.NOT_NOW)
    done = visit.done if visit.plan.rules < 2 else (*visit.done, SitePutOff(target))
    return Outcome(
        replace(visit, put_off=(*visit.put_off, target), done=done, chosen=None),
        ({"kind": "put_off", "site": target.site, "circuit": target.circuit},),
        said=(PutOff(target.site),),
    )


def finish_early(visit: Visit, at: str) -> Outcome:
    """Leave out everything that is not measured yet; the visit can be signed off."""
    if is_pending(visit) or phase(visit) not in {Phase.TAPES, Phase.CIRCUITS}:
        return refused(visit, Why.NOT_NOW)
    left = [{"site": each.site, "circuit": each.circuit} for each in outstanding(visit)]
    return Outcome(
        replace(visit, done=(*visit.done, EarlyFinish(at)), chosen=None),
        ({"kind": "finished_early", "left": left},),
        said=(Finished(),),
    )


def ask_extra(visit: Visit, intent: Extra) -> Outcome:
    """Take one reading more at a site than the protocol wants."""
    if is_pending(visit) or phase(visit) is not Phase.CLOSING:
        return refused(visit, Why.NOT_NOW)
    if intent.site not in {each.id for each in visit.plan.protocol.sites}:
        return refused(visit, Why.NOT_IN_PROTOCOL, intent.site)
    taken = [each.target.circuit for each in visit.readings_of(intent.site)]
    target = Target(intent.site, max([visit.plan.protocol.circuits, *taken]) + 1)
    if visit.is_skipped(target):
        return refused(visit, Why.ALREADY_DONE, intent.site)
    return Outcome(
        replace(visit, done=(*visit.done, ExtraAsked(target))),
        ({"kind": "extra_asked", "site": target.site, "circuit": target.circuit},),
    )
