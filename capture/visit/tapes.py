"""Moves: lengths called from the tape and the marks at their halves."""

from dataclasses import replace

from capture.language.intents import CorrectTape, Tape, length_to_plain
from capture.units import TapeLength
from capture.visit.announcement import Dropped, SavedTape, Why
from capture.visit.course import next_tape, phase
from capture.visit.entry import Plain
from capture.visit.moves import Outcome, refused
from capture.visit.state import Phase, TapeMark, Visit


def hear_tape(visit: Visit, intent: Tape) -> Outcome:
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
    return _pending(visit, site, intent.length)


def correct_tape(visit: Visit, intent: CorrectTape) -> Outcome:
    """Put another length in the place of the one that was read back."""
    if visit.pending_tape is None:
        return refused(visit, Why.NOT_NOW)
    return _pending(visit, visit.pending_tape.site, intent.length)


def confirm_tape(visit: Visit, tape: TapeMark) -> Outcome:
    """The mark counts from now on."""
    return Outcome(
        replace(visit, pending_tape=None, done=(*visit.done, tape)),
        (_fact("tape_marked", tape),),
        said=(SavedTape(tape.site, tape.mark),),
    )


def drop_tape(visit: Visit, tape: TapeMark) -> Outcome:
    """The length that was read back does not count."""
    return Outcome(
        replace(visit, pending_tape=None),
        (_fact("tape_dropped", tape),),
        said=(Dropped(tape.site),),
    )


def _pending(visit: Visit, site: str, length: TapeLength) -> Outcome:
    mark, rounded = length.halved()
    tape = TapeMark(site, length, mark, rounded)
    return Outcome(replace(visit, pending_tape=tape), (_fact("tape_heard", tape),))


def _fact(kind: str, tape: TapeMark) -> Plain:
    return {
        "kind": kind,
        "site": tape.site,
        "length": length_to_plain(tape.length),
        "mark": length_to_plain(tape.mark),
        "rounded": tape.rounded,
    }
