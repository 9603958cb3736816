"""Moves: lengths called from the tape and the marks at their halves or other shares."""

from dataclasses import replace

from capture.language.intents import CorrectTape, Intent, NotUnderstood, Tape
from capture.protocol.tape import (
    TapeDoubt,
    TapeDoubtKind,
    doubts_about_tape,
    doubts_of_ear_about_tape,
)
from capture.units import TapeLength
from capture.visit.announcement import Dropped, SavedTape, Why
from capture.visit.call import Call
from capture.visit.course import next_tape, phase
from capture.visit.entry import Source
from capture.visit.moves import Outcome, refused, tape_fact
from capture.visit.state import Phase, TapeMark, Visit


def hear_tape(visit: Visit, intent: Tape, call: Call) -> Outcome:
    """Read a tape length back with its mark; it waits for its yes."""
    site = intent.site or next_tape(visit)
    if phase(visit) is not Phase.TAPES or site is None:
        return refused(visit, Why.NOT_NOW)
    if visit.pending_tape is not None and intent.site not in {None, visit.pending_tape.site}:
        return refused(visit, Why.OTHER_PENDING, visit.pending_tape.site)
    if site not in {each.id for each in visit.plan.protocol.tape_sites}:
        return refused(visit, Why.NOT_IN_PROTOCOL, site)
    if site in {mark.site for mark in visit.marks}:
        return refused(visit, Why.ALREADY_DONE, site)
    return _pending(visit, site, intent.length, call)


def correct_tape(visit: Visit, intent: CorrectTape, call: Call) -> Outcome:
    """Put another length in the place of the one that was read back."""
    if visit.pending_tape is None:
        return refused(visit, Why.NOT_NOW)
    return _pending(visit, visit.pending_tape.site, intent.length, call)


def confirm_tape(visit: Visit, tape: TapeMark) -> Outcome:
    """The mark counts from now on."""
    return Outcome(
        replace(visit, pending_tape=None, done=(*visit.done, tape)),
        (tape_fact("tape_marked", tape),),
        said=(SavedTape(tape.site, tape.mark),),
    )


def drop_tape(visit: Visit, tape: TapeMark) -> Outcome:
    """The length that was read back does not count."""
    return Outcome(
        replace(visit, pending_tape=None),
        (tape_fact("tape_dropped", tape),),
        said=(Dropped(tape.site),),
    )


def _pending(visit: Visit, site: str, length: TapeLength, call: Call) -> Outcome:
    share = visit.plan.tape_share(visit.plan.protocol.site(site))
    mark, rounded = length.part(share, up=visit.plan.protocol.tape_up)
    tape = TapeMark(site, length, mark, rounded, _doubts(visit, site, length, call))
    return Outcome(replace(visit, pending_tape=tape), (tape_fact("tape_heard", tape),))


def _doubts(visit: Visit, site: str, length: TapeLength, call: Call) -> tuple[TapeDoubt, ...]:
    known = visit.plan.protocol.site(site)
    earlier = None if visit.plan.last_time is None else visit.plan.last_time.site(site)
    found = doubts_about_tape(length, known, None if earlier is None else earlier.length)
    if call.source is not Source.VOICE:
        return found
    if call.begun_early:
        found = (TapeDoubt(TapeDoubtKind.BEGUN_EARLY), *found)
    others = [(_length_of(rival.intent, length), rival.confidence) for rival in call.others]
    return (*doubts_of_ear_about_tape(length, known, call.certainty, others, call.limits), *found)


def _length_of(intent: Intent | NotUnderstood, unlike: TapeLength) -> TapeLength | None:
    """The length that a rival means, None if it means another site or no length."""
    if isinstance(intent, Tape | CorrectTape) and intent.length != unlike:
        return intent.length
    return None
