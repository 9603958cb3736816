"""What a visit makes of a spoken call, before its protocol has a say. Pure."""

from capture.recognise.certainty import Verdict
from capture.visit.call import DECISIVE, Call


def verdict_of(call: Call) -> Verdict:
    """Whether a spoken call is taken as usual, with a doubt, or asked for again.

    A call that takes effect at once has no read-back: it is clear, or it is said again. One whose
    first words may be missing is never taken as usual.
    """
    at_once = isinstance(call.intent, DECISIVE)
    if call.is_lost or (at_once and not call.is_clear):
        return Verdict.AGAIN
    if at_once:
        return Verdict.NORMAL
    return Verdict.DOUBTFUL if call.is_doubtful or call.begun_early else Verdict.NORMAL
