"""Moves: readings heard, confirmed, corrected, dropped; sites chosen and skipped."""

from dataclasses import replace

from capture.language.intents import Correct, GoTo, Intent, NotUnderstood, Reading, Skip
from capture.protocol.plausibility import Doubt, doubts_about, doubts_of_ear
from capture.visit.announcement import Dropped, Saved, Skipped, Why
from capture.visit.call import Call
from capture.visit.course import TAPE_CIRCUIT, next_tape, next_target, outstanding, phase
from capture.visit.entry import Plain, ReadingFact, ReadingState, Source
from capture.visit.moves import Outcome, fact_of, is_pending, moved, refused
from capture.visit.state import (
    DoneReading,
    Phase,
    SkippedSite,
    TakenReading,
    Target,
    Visit,
)
from capture.visit.tapes import drop_tape


def hear_reading(visit: Visit, intent: Reading, call: Call) -> Outcome:
    """Read a value back; it waits for its yes.

    While a reading waits already, a bare value takes its place, as a correction would.
    """
    site, value = intent.site, intent.value_tenths_mm
    pending = visit.pending
    if pending is not None:
        if site not in {None, pending.target.site}:
            return refused(visit, Why.OTHER_PENDING, pending.target.site)
        return _replaced(visit, pending, value, call)
    if phase(visit) is not Phase.CIRCUITS:
        return refused(visit, Why.NOT_NOW)
    target, objection = _target_for(visit, site)
    if target is None:
        return refused(visit, objection, site, value)
    return _heard(visit, target, value, call)


def correct_reading(visit: Visit, intent: Correct, call: Call) -> Outcome:
    """Put another value in the place of the one that was read back; the old one is kept."""
    if visit.pending is None:
        return refused(visit, Why.NOT_NOW)
    return _replaced(visit, visit.pending, intent.value_tenths_mm, call)


def confirm_reading(visit: Visit, reading: TakenReading) -> Outcome:
    """The reading counts from now on."""
    after, fact = moved(visit, reading, ReadingState.CONFIRMED)
    return Outcome(
        replace(after, done=(*after.done, DoneReading(reading.number)), chosen=None),
        (),
        (fact,),
        (Saved(reading.target.site, reading.value_tenths_mm),),
    )


def drop_reading(visit: Visit, reading: TakenReading) -> Outcome:
    """The value that was read back does not count; the same site is asked again."""
    after, fact = moved(visit, reading, ReadingState.DROPPED)
    return Outcome(after, (), (fact,), (Dropped(reading.target.site),))


def go_to(visit: Visit, intent: GoTo) -> Outcome:
    """Measure another site next. What waits for its yes must be answered first."""
    if is_pending(visit):
        pending = visit.pending
        return refused(visit, Why.OTHER_PENDING, pending.target.site if pending else None)
    target, objection = _target_for(visit, intent.site)
    if target is None or phase(visit) is not Phase.CIRCUITS:
        return refused(visit, objection, intent.site)
    return Outcome(replace(visit, chosen=target.site), ({"kind": "went_to", "site": target.site},))


def skip(visit: Visit, intent: Skip) -> Outcome:
    """Leave out the present site, or its tape, with the reason."""
    readings: tuple[ReadingFact, ...] = ()
    facts: tuple[Plain, ...] = ()
    target = _present(visit)
    if target is None:
        return refused(visit, Why.NOT_NOW)
    if visit.pending_tape is not None:
        facts = drop_tape(visit, visit.pending_tape).facts
    if visit.pending is not None:
        visit, fact = moved(visit, visit.pending, ReadingState.DROPPED)
        readings = (fact,)
    skipped = SkippedSite(target, intent.reason)
    fact_of_skip = {
        "kind": "skipped",
        "site": target.site,
        "circuit": target.circuit,
        "reason": intent.reason.value,
    }
    return Outcome(
        replace(visit, done=(*visit.done, skipped), chosen=None, pending_tape=None),
        (*facts, fact_of_skip),
        readings,
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


def _target_for(visit: Visit, site: str | None) -> tuple[Target | None, Why]:
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


def _replaced(visit: Visit, pending: TakenReading, value: int, call: Call) -> Outcome:
    objection = _objection(visit, value)
    if objection is not None:
        # The correction cannot be taken, but the value it was to correct is wrong all the same.
        after, fact = moved(visit, pending, ReadingState.DROPPED)
        return replace(refused(after, objection, pending.target.site, value), readings=(fact,))
    after, fact = moved(visit, pending, ReadingState.REPLACED)
    outcome = _heard(after, pending.target, value, call)
    return replace(outcome, readings=(fact, *outcome.readings))


def _heard(visit: Visit, target: Target, value: int, call: Call) -> Outcome:
    objection = _objection(visit, value)
    if objection is not None:
        return refused(visit, objection, target.site, value)
    doubts = _doubts(visit, target, value, call)
    reading = TakenReading(visit.sequence, target, value, ReadingState.HEARD, call.source, doubts)
    return Outcome(
        replace(visit, readings=(*visit.readings, reading), chosen=target.site),
        tuple(_doubt_fact(doubt) for doubt in doubts),
        (fact_of(reading),),
    )


def _objection(visit: Visit, value: int) -> Why | None:
    if not visit.plan.caliper.within_opening(value):
        return Why.BEYOND_OPENING
    if not visit.plan.caliper.on_scale(value):
        return Why.OFF_SCALE
    return None


def _doubts(visit: Visit, target: Target, value: int, call: Call) -> tuple[Doubt, ...]:
    protocol = visit.plan.protocol
    site = protocol.site(target.site)
    earlier = visit.trials(target.site)
    found = doubts_about(value, site, protocol.tolerance, earlier)
    if call.source is not Source.VOICE:
        return found
    others = [(_value_of(rival.intent, value), rival.confidence) for rival in call.others]
    return (*doubts_of_ear(value, site, earlier, call.certainty, others), *found)


def _value_of(intent: Intent | NotUnderstood, unlike: int) -> int | None:
    """The reading that a rival means, None if it means another site or no reading."""
    if isinstance(intent, Reading | Correct) and intent.value_tenths_mm != unlike:
        return intent.value_tenths_mm
    return None


def _doubt_fact(doubt: Doubt) -> Plain:
    return {
        "kind": "doubt",
        "doubt": doubt.kind.value,
        "other_tenths_mm": doubt.other_tenths_mm,
    }
