"""Moves: the permissions that are asked before anybody is touched."""

from dataclasses import replace

from capture.visit.announcement import Answered, Why
from capture.visit.course import next_permission, phase
from capture.visit.moves import Outcome, refused
from capture.visit.state import Answer, Phase, Visit


def answer(visit: Visit, *, granted: bool, at: str) -> Outcome:
    """Record the answer to the permission that is being asked."""
    permission = next_permission(visit)
    if phase(visit) is not Phase.PERMISSIONS or permission is None:
        return refused(visit, Why.NOT_NOW)
    given = Answer(permission, granted, at)
    fact = {"kind": "permission", "permission": permission.value, "granted": granted}
    return Outcome(
        replace(visit, done=(*visit.done, given)),
        (fact,),
        said=(Answered(permission.value, granted),),
    )
