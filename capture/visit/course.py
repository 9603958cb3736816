"""Which question comes next. Derived from the state, never stored beside it."""

from capture.visit.announcement import (
    AllMeasured,
    Announcement,
    AskPermission,
    AskReading,
    AskTape,
    Paused,
    ReadBack,
    ReadBackTape,
    Signed,
    Stopped,
)
from capture.visit.state import Permission, Phase, Target, Visit

TAPE_CIRCUIT = 0
"""A target in this circuit stands for the tape at the site, not for a fold."""


def outstanding(visit: Visit) -> tuple[Target, ...]:
    """What is still to be measured in the present round, in the protocol's order.

    A round is a circuit; when all circuits are done, the thirds that are due form the last one.
    """
    protocol = visit.plan.protocol
    taken = {each.target for each in visit.confirmed}
    for circuit in range(1, protocol.circuits + 1):
        targets = [Target(site.id, circuit) for site in protocol.sites]
        left = tuple(each for each in targets if each not in taken and not visit.is_skipped(each))
        if left:
            return left
    thirds = [
        Target(site.id, protocol.circuits + 1)
        for site in protocol.sites
        if protocol.third_due(visit.trials(site.id))
    ]
    return tuple(each for each in thirds if not visit.is_skipped(each))


def next_target(visit: Visit) -> Target | None:
    """The site to measure now: the chosen one, else the next in order, but not one twice running.

    Only where nothing else is left may the site just measured come again.
    """
    left = outstanding(visit)
    for target in left:
        if target.site == visit.chosen:
            return target
    for target in left:
        if target.site != visit.last_measured:
            return target
    return left[0] if left else None


def next_tape(visit: Visit) -> str | None:
    """The first site whose midpoint is neither marked nor skipped."""
    marked = {mark.site for mark in visit.marks}
    for site in visit.plan.protocol.tape_sites:
        if site.id not in marked and not visit.is_skipped(Target(site.id, TAPE_CIRCUIT)):
            return site.id
    return None


def next_permission(visit: Visit) -> Permission | None:
    """The first permission that has not been asked."""
    asked = {answer.permission for answer in visit.answers}
    return next((each for each in Permission if each not in asked), None)


def refused_permission(visit: Visit) -> Permission | None:
    """The permission that was refused, if one was."""
    return next((each.permission for each in visit.answers if not each.granted), None)


def phase(visit: Visit) -> Phase:
    """Where the visit stands."""
    if visit.signed_at is not None:
        return Phase.SIGNED
    if refused_permission(visit) is not None:
        return Phase.STOPPED
    if next_permission(visit) is not None:
        return Phase.PERMISSIONS
    if next_tape(visit) is not None:
        return Phase.TAPES
    return Phase.CLOSING if next_target(visit) is None else Phase.CIRCUITS


def question(visit: Visit) -> Announcement:
    """What the program is waiting for, as something to say and show."""
    pending, tape = visit.pending, visit.pending_tape
    if visit.paused:
        return Paused()
    if pending is not None:
        target = pending.target
        return ReadBack(target.site, target.circuit, pending.value_tenths_mm, pending.doubts)
    if tape is not None:
        return ReadBackTape(tape.site, tape.length, tape.mark, tape.rounded)
    match phase(visit):
        case Phase.SIGNED:
            return Signed()
        case Phase.STOPPED:
            return Stopped(str(refused_permission(visit)))
        case Phase.PERMISSIONS:
            return AskPermission(str(next_permission(visit)))
        case Phase.TAPES:
            return AskTape(str(next_tape(visit)))
        case Phase.CLOSING:
            return AllMeasured()
        case Phase.CIRCUITS:
            return _ask_reading(visit)


def _ask_reading(visit: Visit) -> Announcement:
    target = next_target(visit)
    if target is None:
        return AllMeasured()
    return AskReading(
        target.site,
        target.circuit,
        third=target.circuit > visit.plan.protocol.circuits,
        same_again=target.site == visit.last_measured,
    )


def listening_rule(visit: Visit) -> str | None:
    """The name of the listening rule that is active now, None when the visit is closed."""
    if visit.signed_at is not None:
        return None
    if visit.paused:
        return "paused"
    if visit.pending is not None:
        return "readback"
    if visit.pending_tape is not None:
        return "tape_readback"
    return {
        Phase.PERMISSIONS: "permission",
        Phase.TAPES: "tape_wanted",
        Phase.CIRCUITS: "reading_wanted",
        Phase.CLOSING: "closing",
        Phase.STOPPED: "closing",
    }[phase(visit)]
