"""Call-through: a reading that is not doubtful counts when another site is called.

Naming a site is what counts, in a call such as "thigh sixteen" or by going to it. A bare number
never does: whoever was misheard says the number again, and that must not save the wrong one. The
last reading of a visit has no site after it and needs its own yes.
"""

from collections.abc import Callable
from dataclasses import replace

from capture.language.intents import GoTo, Intent, Reading
from capture.visit.announcement import Why
from capture.visit.call import Call
from capture.visit.course import goes_through
from capture.visit.moves import Outcome, refused
from capture.visit.readings import confirm_reading
from capture.visit.state import Visit

CALLED_THROUGH = "called_through"
"""The kind of the fact that a reading counts by the call of the next site."""


def calls_next(visit: Visit, intent: Intent) -> bool:
    """Whether a call names another site while a reading waits that counts by it."""
    if not isinstance(intent, Reading | GoTo) or visit.pending is None:
        return False
    return intent.site not in {None, visit.pending.target.site} and goes_through(visit)


def count_and_go_on(visit: Visit, call: Call, move: Callable[[Visit], Outcome]) -> Outcome:
    """The reading that waits counts, and the call is taken: both or neither.

    `move` takes the call in the state after the reading. A call that was not heard clearly, or
    so late that it need not be about this visit, makes nothing count.
    """
    pending = visit.pending
    if pending is None:
        return move(visit)
    if not call.is_clear or call.late:
        return refused(visit, Why.OTHER_PENDING, pending.target.site)
    counted = confirm_reading(visit, pending)
    after = move(counted.visit)
    if any(fact.get("kind") == "refused" for fact in after.facts):
        return replace(after, visit=visit)
    through = {"kind": CALLED_THROUGH, "reading": pending.number, "site": pending.target.site}
    return Outcome(
        after.visit,
        (through, *after.facts),
        (*counted.readings, *after.readings),
        (*counted.said, *after.said),
    )
