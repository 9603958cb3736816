"""Which question comes next. Derived from the state, never stored beside it."""

from capture.visit.announcement import (
    AllMeasured,
    Announcement,
    AskPermission,
    AskPreparation,
    AskReading,
    AskSetup,
    AskTape,
    Ended,
    Paused,
    ReadBack,
    ReadBackTape,
    Signed,
    Stopped,
    WhyNext,
)
from capture.visit.entry import ReadingState
from capture.visit.moves import moved
from capture.visit.permissions import (
    ending,
    next_permission,
    next_preparation,
    refused_permission,
    takes_marks,
)
from capture.visit.setup_now import worth_a_word
from capture.visit.state import Confirmation, ExtraAsked, Phase, Target, Visit

__all__ = [
    "TAPE_CIRCUIT",
    "goes_through",
    "listening_rule",
    "next_permission",
    "next_preparation",
    "next_tape",
    "next_target",
    "outstanding",
    "phase",
    "question",
    "refused_permission",
    "why_next",
]

TAPE_CIRCUIT = 0
"""A target in this circuit stands for the tape at the site, not for a fold."""


def outstanding(visit: Visit) -> tuple[Target, ...]:
    """What is still to be measured in the present round: in the protocol's order, put off last.

    A round is a circuit; when all circuits are done, the thirds that are due form the last one,
    with the extra readings that were asked for. After an early finish only these are left.
    """
    protocol = visit.plan.protocol
    taken = {each.target for each in visit.confirmed}
    asked = [each.target for each in visit.done if isinstance(each, ExtraAsked)]
    if visit.finished_early:
        rounds = [asked]
    else:
        thirds = [
            Target(site.id, protocol.circuits + 1)
            for site in protocol.sites
            if protocol.third_due(visit.trials(site.id))
        ]
        rounds = [
            [Target(site.id, circuit) for site in protocol.sites]
            for circuit in range(1, protocol.circuits + 1)
        ]
        rounds.append(list(dict.fromkeys((*thirds, *asked))))
    for targets in rounds:
        left = [each for each in targets if each not in taken and not visit.is_skipped(each)]
        if left:
            return tuple(sorted(left, key=lambda each: each in visit.put_off))
    return ()


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


def why_next(visit: Visit) -> WhyNext:
    """Why `next_target` gives the site that it gives."""
    left, target = outstanding(visit), next_target(visit)
    if target is None:
        return WhyNext.ORDER
    if target.circuit > visit.plan.protocol.circuits:
        due = visit.plan.protocol.third_due(visit.trials(target.site))
        return WhyNext.DISAGREE if due else WhyNext.EXTRA
    if target in visit.put_off:
        return WhyNext.PUT_OFF
    if target == left[0]:
        return WhyNext.ORDER
    return WhyNext.CHOSEN if target.site == visit.chosen else WhyNext.RECOVERS


def next_tape(visit: Visit) -> str | None:
    """The first site whose midpoint is neither marked nor skipped.

    None if nothing may be drawn on the skin, or if the rest was left out.
    """
    if not takes_marks(visit) or visit.finished_early:
        return None
    marked = {mark.site for mark in visit.marks}
    for site in visit.plan.protocol.tape_sites:
        if site.id not in marked and not visit.is_skipped(Target(site.id, TAPE_CIRCUIT)):
            return site.id
    return None


def phase(visit: Visit) -> Phase:
    """Where the visit stands."""
    if visit.signed_at is not None:
        return Phase.SIGNED
    if refused_permission(visit) is not None or ending(visit) is not None:
        return Phase.STOPPED
    if next_preparation(visit) is not None:
        return Phase.PREPARATION
    if next_permission(visit) is not None:
        return Phase.PERMISSIONS
    if next_tape(visit) is not None:
        return Phase.TAPES
    return Phase.CLOSING if next_target(visit) is None else Phase.CIRCUITS


def goes_through(visit: Visit) -> bool:
    """Whether the reading that waits counts as soon as another site is called.

    Never a doubtful one, and not the last: there must be another site to call.
    """
    pending = visit.pending
    if pending is None or pending.doubts:
        return False
    if visit.plan.confirmation is not Confirmation.CALL_THROUGH:
        return False
    counted, _ = moved(visit, pending, ReadingState.CONFIRMED)
    return any(each.site != pending.target.site for each in outstanding(counted))


def question(visit: Visit) -> Announcement:
    """What the program is waiting for, as something to say and show."""
    pending, tape, setup = visit.pending, visit.pending_tape, visit.pending_setup
    if visit.paused:
        return Paused()
    if pending is not None:
        target = pending.target
        return ReadBack(
            target.site,
            target.circuit,
            pending.value_tenths_mm,
            pending.doubts,
            pending.cloth_tenths_mm,
            goes_through(visit),
        )
    if tape is not None:
        share = visit.plan.tape_share(visit.plan.protocol.site(tape.site))
        return ReadBackTape(tape.site, tape.length, tape.mark, tape.rounded, tape.doubts, share)
    if setup is not None:
        return AskSetup(setup.site, setup.field, setup.before, setup.value, setup.last_time)
    match phase(visit):
        case Phase.SIGNED:
            return Signed()
        case Phase.STOPPED:
            option = ending(visit)
            return Stopped(str(refused_permission(visit))) if option is None else Ended(option)
        case Phase.PREPARATION:
            return AskPreparation(str(next_preparation(visit)))
        case Phase.PERMISSIONS:
            return AskPermission(str(next_permission(visit)))
        case Phase.TAPES:
            site = str(next_tape(visit))
            earlier = None if visit.plan.last_time is None else visit.plan.last_time.site(site)
            return AskTape(site, None if earlier is None else earlier.length)
        case Phase.CLOSING:
            return AllMeasured()
        case Phase.CIRCUITS:
            return _ask_reading(visit)


def _ask_reading(visit: Visit) -> Announcement:
    target = next_target(visit)
    if target is None:
        return AllMeasured()
    why = why_next(visit)
    return AskReading(
        target.site,
        target.circuit,
        third=why is WhyNext.DISAGREE,
        same_again=target.site == visit.last_measured,
        why=why,
        setup=worth_a_word(visit, target.site),
    )


def listening_rule(visit: Visit) -> str | None:
    """The name of the listening rule that is active now, None when the visit is closed."""
    if visit.signed_at is not None:
        return None
    if visit.paused:
        return "paused"
    if visit.noting:
        return "noting"
    if visit.pending is not None:
        # Another site is listened for beside a doubtful reading too, to say that this one waits.
        through = visit.plan.confirmation is Confirmation.CALL_THROUGH
        return "readback_through" if through else "readback"
    if visit.pending_tape is not None:
        return "tape_readback"
    if visit.pending_setup is not None:
        # A question with yes and no, as the permissions are.
        return "permission"
    return {
        Phase.PREPARATION: "preparation",
        Phase.PERMISSIONS: "permission",
        Phase.TAPES: "tape_wanted",
        Phase.CIRCUITS: "reading_wanted",
        Phase.CLOSING: "closing",
        Phase.STOPPED: "closing",
    }[phase(visit)]
