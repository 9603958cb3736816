"""Move: take back the last thing that counted, or what waits for its yes."""

from dataclasses import replace

from capture.visit.announcement import Undone, Why
from capture.visit.course import TAPE_CIRCUIT
from capture.visit.entry import ReadingState
from capture.visit.moves import Outcome, moved, refused
from capture.visit.readings import drop_reading
from capture.visit.setups import drop_setup
from capture.visit.state import (
    Answer,
    Choice,
    DoneReading,
    EarlyFinish,
    ExtraAsked,
    NotedCaution,
    NotedRemark,
    Preparation,
    Settled,
    SetupChanged,
    SitePutOff,
    SkippedSite,
    TapeMark,
    Visit,
)
from capture.visit.tapes import drop_tape


def undo(visit: Visit) -> Outcome:
    """Take back one step. What waits for its yes goes first; then the last that counted."""
    if visit.pending is not None:
        return drop_reading(visit, visit.pending)
    if visit.pending_tape is not None:
        return drop_tape(visit, visit.pending_tape)
    if visit.pending_setup is not None:
        return drop_setup(visit, visit.pending_setup)
    if not visit.done:
        return refused(visit, Why.NOTHING_TO_UNDO)
    last = visit.done[-1]
    before = replace(visit, done=visit.done[:-1])
    match last:
        case DoneReading(number):
            return _undo_reading(before, number)
        case TapeMark(site=site):
            return _undone(before, "tape", site)
        case Answer(permission=permission):
            return _undone(before, "permission", permission.value)
        case SkippedSite(target=target):
            # A tape that was skipped says nothing about the order of the folds.
            chosen = before.chosen if target.circuit == TAPE_CIRCUIT else target.site
            return _undone(replace(before, chosen=chosen), "skip", target.site)
        case SetupChanged(site=site):
            return _undone(before, "setup", site)
        case ExtraAsked(target=target):
            return _undone(before, "extra", target.site)
        case Choice(option=option):
            return _undone(before, "choice", option.value)
        case NotedCaution(caution=caution):
            return _undone(before, "caution", caution.value)
        case Settled(what=Preparation.READY, yes=True):
            return _undo_ready(before)
        case Settled(what=what):
            return _undone(before, "preparation", what.value)
        case SitePutOff(target=target):
            left = tuple(each for each in before.put_off if each != target)
            after = replace(before, put_off=left, chosen=target.site)
            return _undone(after, "later", target.site)
        case EarlyFinish():
            return _undone(before, "finish", None)
        case NotedRemark():
            return _undone(before, "remark", None)


def _undo_reading(visit: Visit, number: int) -> Outcome:
    reading = next(each for each in visit.readings if each.number == number)
    after, fact = moved(visit, reading, ReadingState.UNDONE)
    site, value = reading.target.site, reading.value_tenths_mm
    return Outcome(
        replace(after, chosen=site),
        ({"kind": "undone", "what": "reading", "site": site},),
        (fact,),
        (Undone("reading", site, value),),
    )


def _undo_ready(visit: Visit) -> Outcome:
    """What "ready" settled is taken back one by one in the journal, and said once."""
    outcome = _undone(visit, "preparation", Preparation.READY.value)
    more = tuple(
        {"kind": "undone", "what": "preparation", "site": each.value}
        for each in (Preparation.WIPED, Preparation.CAUTIONS)
    )
    return replace(outcome, facts=(*outcome.facts, *more))


def _undone(visit: Visit, what: str, name: str | None) -> Outcome:
    return Outcome(
        visit, ({"kind": "undone", "what": what, "site": name},), said=(Undone(what, name),)
    )
