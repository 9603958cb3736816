"""Before anybody is touched."""

from typing import Any

import pytest

from capture.language.grammar import LISTENING
from capture.language.intents import Reading, SignOff
from capture.visit.announcement import (
    Answered,
    AskPermission,
    AskTape,
    Refused,
    SayAgain,
    Signed,
    Stopped,
    Undone,
    Why,
)

ORDER = ("clothing", "marks", "touch")


def test_three_permissions_are_asked_in_their_order(desk: Any) -> None:
    """Clothing, marks, touch: each answer is said back and the next is asked."""
    desk.road.open()
    asked = [desk.told[-1]]
    for permission in ORDER:
        desk.say("granted")
        assert desk.told[0] == Answered(permission, granted=True)
        asked.append(desk.told[-1])
    assert asked == [*(AskPermission(each) for each in ORDER), AskTape("chest")]
    assert [(each.permission.value, each.granted) for each in desk.visit.answers] == [
        (each, True) for each in ORDER
    ]


@pytest.mark.parametrize("refused", range(3), ids=ORDER)
@pytest.mark.parametrize("word", ["no", "refused"])
def test_nothing_is_measured_after_a_refusal(desk: Any, refused: int, word: str) -> None:
    """With one permission refused the visit stops: no tape, no reading; it can be signed off."""
    desk.say(*["yes"] * refused, word)
    assert desk.told == [Answered(ORDER[refused], granted=False), Stopped(ORDER[refused])]
    assert desk.road.listening == LISTENING + "closing"
    desk.key(Reading(120))
    assert desk.told[0] == Refused(Why.NOT_NOW)
    assert desk.visit.readings == ()
    assert desk.say("sign off").told == [Signed()]


def test_a_refusal_can_be_taken_back(desk: Any) -> None:
    """A refusal by mistake is undone, and the same permission is asked again."""
    desk.say("yes", "no", "undo")
    assert desk.told == [Undone("permission", "marks"), AskPermission("marks")]
    assert len(desk.visit.answers) == 1


def test_a_reading_before_permission_is_no_call(desk: Any) -> None:
    """Numbers are not listened for before touch is granted, and keys do not help."""
    desk.say("twelve")
    assert isinstance(desk.told[0], SayAgain)
    desk.key(Reading(120), SignOff())
    assert desk.told == [Refused(Why.NOT_NOW), AskPermission("clothing")]
    assert desk.visit.readings == ()


def test_the_answer_is_kept_with_its_time(desk: Any) -> None:
    """A permission is recorded with when it was given."""
    desk.now = "2026-03-02T12:34:56+01:00"
    desk.say("granted")
    assert [answer.at for answer in desk.visit.answers] == [desk.now]
    assert desk.journal[-1].facts[0] == {
        "kind": "permission",
        "permission": "clothing",
        "granted": True,
    }
