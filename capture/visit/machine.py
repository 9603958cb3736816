"""The visit machine: one call in, the next state and the effects out. No clock, no I/O.

Voice, keypad, demo and replay all enter by `step`. The caller carries out the effects in their
order: the journal entry comes first, so that nothing is announced as saved before it is.
"""

from dataclasses import dataclass, replace

from capture.language.intents import (
    Choose,
    Confirm,
    Correct,
    CorrectTape,
    Extra,
    Finish,
    GoTo,
    Intent,
    JawsOn,
    Later,
    Note,
    NotUnderstood,
    Pause,
    Reading,
    Ready,
    Refuse,
    Remark,
    Repeat,
    Resume,
    SetupChange,
    SignOff,
    Skip,
    Stop,
    TakeNote,
    Tape,
    Undo,
    Wiped,
    to_plain,
)
from capture.visit.announcement import Announcement, SayAgain, Why
from capture.visit.call import DECISIVE, Call
from capture.visit.course import next_permission, next_preparation, phase, question
from capture.visit.entry import Entry
from capture.visit.moves import Outcome, is_pending, refused
from capture.visit.ordering import ask_extra, finish_early, go_to, put_off, skip
from capture.visit.permissions import answer, choose, note, prepare, ready, stop
from capture.visit.readings import (
    confirm_reading,
    correct_reading,
    drop_reading,
    hear_reading,
)
from capture.visit.remarks import close_note, open_note, take_remark
from capture.visit.setups import change_setup, confirm_setup, drop_setup
from capture.visit.state import Phase, Preparation, Visit
from capture.visit.tapes import confirm_tape, correct_tape, drop_tape, hear_tape
from capture.visit.through import calls_next, count_and_go_on
from capture.visit.undoing import undo


@dataclass(frozen=True, slots=True)
class Record:
    """Effect: append this entry to the journal, durably, before anything else."""

    entry: Entry


@dataclass(frozen=True, slots=True)
class Say:
    """Effect: say and show this."""

    announcement: Announcement


Effect = Record | Say

Step = tuple[Visit, tuple[Effect, ...]]


def step(visit: Visit, call: Call, at: str) -> Step:
    """Take one call. `at` is the time as ISO 8601 with offset, given by the caller.

    Every call is recorded, whether it was understood or not.
    """
    numbered = replace(visit, sequence=visit.sequence + 1)
    outcome = _answer_to(numbered, call, at)
    entry = Entry(
        sequence=numbered.sequence,
        at=at,
        source=call.source,
        words=call.words,
        confidence=call.confidence,
        alternatives=tuple(rival.to_plain() for rival in call.rivals),
        intent=to_plain(call.intent),
        facts=(*outcome.facts, *call.facts()),
        readings=outcome.readings,
    )
    said = [Say(each) for each in outcome.said]
    # While a fold is held, or a note is spoken, nothing is said that it would have to wait for.
    quiet = isinstance(call.intent, JawsOn) or outcome.visit.noting
    asked = () if quiet else (Say(question(outcome.visit)),)
    return outcome.visit, (Record(entry), *said, *asked)


def opening(visit: Visit) -> tuple[Effect, ...]:
    """What is said when a visit is opened, or opened again after an interruption."""
    return (Say(question(visit)),)


def _answer_to(visit: Visit, call: Call, at: str) -> Outcome:
    intent = call.intent
    if isinstance(intent, NotUnderstood):
        return _not_understood(visit, intent)
    if visit.signed_at is not None:
        return refused(visit, Why.NOT_NOW)
    if isinstance(intent, Stop):
        return stop(visit, intent, at)
    if visit.paused and not isinstance(intent, Resume | Remark):
        return refused(visit, Why.NOT_NOW)
    if isinstance(intent, JawsOn):
        return Outcome(visit, ({"kind": "jaws_on"},))
    if visit.noting and not isinstance(intent, Remark | TakeNote):
        if isinstance(intent, Refuse | Undo):
            return close_note(visit)
        visit = replace(visit, noting=False)
    if call.is_lost and not isinstance(intent, Pause):
        return _lost(visit, call)
    if call.begun_early and isinstance(intent, (*DECISIVE, SetupChange)):
        return refused(visit, Why.BEGUN_EARLY)
    if isinstance(intent, DECISIVE) and not call.is_clear:
        return refused(visit, Why.UNCLEAR)
    if isinstance(intent, Confirm) and call.late:
        # Nobody answers a question so late: it is asked once more.
        return Outcome(visit, ({"kind": "too_late"},))
    if calls_next(visit, intent):
        return count_and_go_on(visit, call, lambda after: _taken(after, intent, call, at))
    return _taken(visit, intent, call, at)


def _taken(visit: Visit, intent: Intent, call: Call, at: str) -> Outcome:
    match intent:
        case Reading():
            return hear_reading(visit, intent, call)
        case Correct():
            return correct_reading(visit, intent, call)
        case Tape():
            return hear_tape(visit, intent, call)
        case CorrectTape():
            return correct_tape(visit, intent, call)
        case Confirm():
            return _confirm(visit, at)
        case Refuse():
            return _refuse(visit, at)
        case Undo():
            return undo(visit)
        case Repeat():
            return Outcome(visit, ())
        case Skip():
            return skip(visit, intent)
        case GoTo():
            return go_to(visit, intent)
        case Pause():
            return Outcome(replace(visit, paused=True), ({"kind": "paused"},))
        case Resume():
            return Outcome(replace(visit, paused=False), ({"kind": "resumed"},))
        case SignOff():
            return _sign_off(visit, at)
        case _:
            return _taken_of_the_trade(visit, intent, at)


def _taken_of_the_trade(visit: Visit, intent: Intent, at: str) -> Outcome:
    match intent:
        case Choose():
            return choose(visit, intent, at)
        case Note():
            return note(visit, intent, at)
        case Ready():
            return ready(visit, at)
        case Wiped():
            return prepare(visit, Preparation.WIPED, yes=True, at=at)
        case Finish():
            return finish_early(visit, at)
        case Extra():
            return ask_extra(visit, intent)
        case Later():
            return put_off(visit)
        case TakeNote():
            return open_note(visit)
        case Remark():
            return take_remark(visit, intent, at)
        case _ if isinstance(intent, SetupChange):
            return change_setup(visit, intent)
        case _:
            return refused(visit, Why.NOT_NOW)


def _not_understood(visit: Visit, intent: NotUnderstood) -> Outcome:
    fact, again = {"kind": "not_understood"}, SayAgain(intent)
    if intent.refuses and is_pending(visit):
        # The "no" was heard, and it holds: only the new value is lost.
        outcome = _refuse(visit, "")
        return replace(outcome, facts=(*outcome.facts, fact), said=(*outcome.said, again))
    return Outcome(visit, (fact,), said=(again,))


def _lost(visit: Visit, call: Call) -> Outcome:
    """Nothing is taken. Where a "no" was heard, what was read back does not count either."""
    outcome = refused(visit, Why.UNCLEAR)
    if not is_pending(visit) or call.limits is None or call.refusal < call.limits.again_below:
        return outcome
    dropped = _refuse(visit, "")
    return replace(
        dropped,
        facts=(*dropped.facts, *outcome.facts),
        said=(*dropped.said, *outcome.said),
    )


def _confirm(visit: Visit, at: str) -> Outcome:
    if visit.pending is not None:
        return confirm_reading(visit, visit.pending)
    if visit.pending_tape is not None:
        return confirm_tape(visit, visit.pending_tape)
    if visit.pending_setup is not None:
        return confirm_setup(visit, visit.pending_setup)
    return _answer_asked(visit, yes=True, at=at)


def _refuse(visit: Visit, at: str) -> Outcome:
    if visit.pending is not None:
        return drop_reading(visit, visit.pending)
    if visit.pending_tape is not None:
        return drop_tape(visit, visit.pending_tape)
    if visit.pending_setup is not None:
        return drop_setup(visit, visit.pending_setup)
    return _answer_asked(visit, yes=False, at=at)


def _answer_asked(visit: Visit, *, yes: bool, at: str) -> Outcome:
    """The yes or no to a question that is about no number."""
    preparation, permission = next_preparation(visit), next_permission(visit)
    match phase(visit):
        case Phase.PREPARATION if preparation is not None:
            return prepare(visit, preparation, yes=yes, at=at)
        case Phase.PERMISSIONS if permission is not None:
            return answer(visit, permission, granted=yes, at=at)
        case _:
            return refused(visit, Why.NOT_NOW)


def _sign_off(visit: Visit, at: str) -> Outcome:
    if is_pending(visit) or phase(visit) not in {Phase.CLOSING, Phase.STOPPED}:
        return refused(visit, Why.NOT_NOW)
    return Outcome(replace(visit, signed_at=at), ({"kind": "signed_off"},))
