"""A person at a visit, for harnesses: looks at what is asked, and answers by key or by voice.

What is answered depends on nothing but the visit, so that after an interruption the same person
goes on as if there had been none.
"""

from capture.hearing import Order, Spoken
from capture.recognise.port import Heard
from capture.session import Session
from capture.units import Inches
from capture.visit.announcement import AllMeasured, AskReading, AskTape, Paused, ReadBack, Signed
from capture.visit.course import question
from capture.visit.state import Visit
from capture.wording.numbers import NumberWords

BASE_TENTHS_MM = {
    "chest": 84, "midaxillary": 112, "triceps": 106, "subscapular": 150, "abdominal": 224,
    "suprailiac": 160, "thigh": 176,
}  # fmt: skip
"""Invented folds; the second circuit gives a little more, and at the thigh the two disagree."""

TAPE = Inches(108)
"""Six and three quarters."""


def value_of(asked: AskReading) -> int:
    """What the dial shows for this fold, in tenths of a millimetre."""
    apart = 40 if asked.site == "thigh" and asked.circuit == 2 else 4 * (asked.circuit - 1)
    return BASE_TENTHS_MM[asked.site] + apart


def keys_for(visit: Visit) -> list[str] | None:
    """The keys to strike now; None when the visit is signed off.

    Now and then a value is corrected, refused, undone, a site left out, or the visit paused.
    """
    asked, turn = question(visit), visit.sequence
    match asked:
        case Signed():
            return None
        case Paused():
            return ["p"]
        case AskTape():
            return [*"6", "space", *"3/4", "enter"]
        case AskReading() if turn == 22:
            return ["p"]
        case AskReading() if turn in {27, 41}:
            return ["u"]
        case AskReading() if turn == 33:
            return ["s", "5"]
        case AskReading():
            return [*f"{value_of(asked) / 10:g}", "enter"]
        case ReadBack() if turn % 9 == 4:
            return ["c", *f"{asked.value_tenths_mm / 10 + 0.2:g}", "enter"]
        case ReadBack() if turn % 14 == 10:
            return ["-"]
        case AllMeasured():
            return ["o"]
    return ["enter"]


def phrase_for(visit: Visit, numbers: NumberWords) -> str | None:
    """What to say now, in the words of the grammar; None when the visit is signed off."""
    asked, turn = question(visit), visit.sequence
    match asked:
        case Signed():
            return None
        case Paused():
            return "resume"
        case AskTape():
            return numbers.length(TAPE)
        case AskReading() if turn == 22:
            return "pause"
        case AskReading() if turn in {27, 41}:
            return "undo"
        case AskReading() if turn == 33:
            return "skip unable"
        case AskReading():
            return numbers.plain(value_of(asked))
        case ReadBack() if turn % 9 == 4:
            return f"no {numbers.plain(asked.value_tenths_mm + 2)}"
        case ReadBack() if turn % 14 == 10:
            return "no"
        case AllMeasured():
            return "sign off"
    return "yes"


class PosedEar:
    """Hearing without sound: what is said reaches the session under its present order."""

    def __init__(self) -> None:
        self.order = Order(0, None, 0.0)

    def tell(self, order: Order) -> None:
        """Listen for this from now on."""
        self.order = order

    def now_s(self) -> float:
        """Everything is said at once."""
        return 0.0

    def say(self, session: Session, heard: Heard) -> None:
        """Let the session take an utterance."""
        session.post(Spoken(heard, self.order.epoch, 0.0))
        session.drain()
