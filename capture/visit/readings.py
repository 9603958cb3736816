"""Moves: readings heard, confirmed, corrected, dropped."""

from dataclasses import replace

from capture.language.intents import Correct, Intent, NotUnderstood, Reading
from capture.protocol.caliper import THIN_TENTHS_MM
from capture.protocol.plausibility import Doubt, DoubtKind, doubts_about, doubts_of_ear
from capture.protocol.setup import LAYERS
from capture.visit.announcement import Dropped, Saved, Why
from capture.visit.call import Call
from capture.visit.course import phase
from capture.visit.entry import Plain, ReadingState, Source
from capture.visit.misheard import doubts_of_before
from capture.visit.moves import Outcome, fact_of, moved, refused
from capture.visit.ordering import target_for
from capture.visit.setup_now import setup_of
from capture.visit.state import DoneReading, Phase, TakenReading, Target, Visit


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
    if visit.pending_setup is not None:
        return refused(visit, Why.OTHER_PENDING, visit.pending_setup.site)
    if phase(visit) is not Phase.CIRCUITS:
        return refused(visit, Why.NOT_NOW)
    target, objection = target_for(visit, site)
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
        (Saved(reading.target.site, reading.value_tenths_mm, reading.cloth_tenths_mm),),
    )


def drop_reading(visit: Visit, reading: TakenReading) -> Outcome:
    """The value that was read back does not count; the same site is asked again."""
    after, fact = moved(visit, reading, ReadingState.DROPPED)
    return Outcome(after, (), (fact,), (Dropped(reading.target.site),))


def _replaced(visit: Visit, pending: TakenReading, value: int, call: Call) -> Outcome:
    objection = _objection(visit, pending.target.site, value)
    if objection is not None:
        # The correction cannot be taken, but the value it was to correct is wrong all the same.
        after, fact = moved(visit, pending, ReadingState.DROPPED)
        return replace(refused(after, objection, pending.target.site, value), readings=(fact,))
    after, fact = moved(visit, pending, ReadingState.REPLACED)
    outcome = _heard(after, pending.target, value, call)
    return replace(outcome, readings=(fact, *outcome.readings))


def _heard(visit: Visit, target: Target, value: int, call: Call) -> Outcome:
    objection = _objection(visit, target.site, value)
    if objection is not None:
        return refused(visit, objection, target.site, value)
    cloth = setup_of(visit, target.site).cloth_tenths_mm or 0
    doubts = _doubts(visit, target, value, cloth, call)
    reading = TakenReading(
        visit.sequence,
        target,
        value,
        ReadingState.HEARD,
        call.source,
        doubts,
        cloth,
        call.dwell_s,
    )
    through = (_cloth_fact(reading),) if reading.is_estimate else ()
    return Outcome(
        replace(visit, readings=(*visit.readings, reading), chosen=target.site),
        (*(_doubt_fact(doubt) for doubt in doubts), *through),
        (fact_of(reading),),
    )


def _objection(visit: Visit, site: str, value: int) -> Why | None:
    """Why a value cannot be a reading at all, so that there is nothing to say yes to."""
    caliper, cloth = visit.plan.caliper, setup_of(visit, site).cloth_tenths_mm
    if not caliper.within_opening(value):
        return Why.BEYOND_OPENING
    if not (caliper.on_scale(value) or caliper.between_marks(value)):
        return Why.OFF_SCALE
    if cloth is None:
        return Why.CLOTH_UNKNOWN
    if value <= LAYERS * cloth:
        return Why.THINNER_THAN_CLOTH
    return None


def _doubts(visit: Visit, target: Target, value: int, cloth: int, call: Call) -> tuple[Doubt, ...]:
    protocol, caliper = visit.plan.protocol, visit.plan.caliper
    site, earlier = protocol.site(target.site), visit.readings_of(target.site)
    net = value - LAYERS * cloth
    found = list(doubts_about(net, site, protocol.tolerance, visit.trials(target.site)))
    if net < THIN_TENTHS_MM:
        found.append(Doubt(DoubtKind.THIN))
    if not caliper.on_scale(value):
        found.append(Doubt(DoubtKind.BY_EYE))
    if any(each.cloth_tenths_mm != cloth for each in earlier):
        found.append(Doubt(DoubtKind.OTHER_COVER))
    if call.source is not Source.VOICE:
        return tuple(found)
    others = [(_value_of(rival.intent, value), rival.confidence) for rival in call.others]
    dials = tuple(each.value_tenths_mm for each in earlier)
    ear = doubts_of_ear(value, site, protocol.tolerance, dials, call.certainty, others, call.limits)
    early = (Doubt(DoubtKind.BEGUN_EARLY),) if call.begun_early else ()
    named = {doubt.other_tenths_mm for doubt in ear}
    before = [
        doubt for doubt in doubts_of_before(visit, value) if doubt.other_tenths_mm not in named
    ]
    return (*early, *ear, *before, *found)


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


def _cloth_fact(reading: TakenReading) -> Plain:
    return {
        "kind": "through_cloth",
        "cloth_tenths_mm": reading.cloth_tenths_mm,
        "net_tenths_mm": reading.net_tenths_mm,
        "estimate": True,
    }
