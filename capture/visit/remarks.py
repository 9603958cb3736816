"""Moves: notes in free text, typed, or spoken as a mark that there was one."""

from dataclasses import replace

from capture.language.intents import Remark
from capture.visit.announcement import NoteOpen, RemarkTaken
from capture.visit.course import next_tape, next_target, phase
from capture.visit.moves import Outcome
from capture.visit.state import NotedRemark, Phase, Target, Visit


def open_note(visit: Visit) -> Outcome:
    """The next utterance is a note, whatever it holds."""
    return Outcome(replace(visit, noting=True), ({"kind": "note_open"},), said=(NoteOpen(),))


def close_note(visit: Visit) -> Outcome:
    """No note after all."""
    return Outcome(replace(visit, noting=False), ({"kind": "note_closed"},))


def take_remark(visit: Visit, intent: Remark, at: str) -> Outcome:
    """A note about the site at hand; without a text it was spoken."""
    target = _about(visit)
    remark = NotedRemark(visit.sequence, intent.text, at)
    fact = {
        "kind": "remark",
        "text": intent.text,
        "site": None if target is None else target.site,
        "circuit": None if target is None else target.circuit,
    }
    return Outcome(
        replace(visit, noting=False, done=(*visit.done, remark)),
        (fact,),
        said=(RemarkTaken(spoken=not intent.text),),
    )


def _about(visit: Visit) -> Target | None:
    if visit.pending is not None:
        return visit.pending.target
    if phase(visit) is Phase.CIRCUITS:
        return next_target(visit)
    site = next_tape(visit) if phase(visit) is Phase.TAPES else None
    return None if site is None else Target(site, 0)
