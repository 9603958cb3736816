"""What a phrase can mean, and its way into the journal and back."""

import json
from typing import get_args

import pytest

from capture.language.intents import (
    Caution,
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
    Option,
    Pause,
    Reading,
    Ready,
    Refuse,
    Remark,
    Repeat,
    Resume,
    SetCloth,
    SetFold,
    SetOffset,
    SetSide,
    SignOff,
    Skip,
    SkipReason,
    Stop,
    TakeNote,
    Tape,
    Undo,
    WhyNot,
    Wiped,
    from_plain,
    kind_of,
    to_plain,
)
from capture.language.meaning import PackError, intent_from
from capture.protocol.sites import Fold, Side
from capture.units import Centimetres, Inches

EXAMPLES: list[Intent | NotUnderstood] = [
    Reading(124),
    Reading(5, "chest"),
    Correct(999),
    Tape(Inches(108)),
    Tape(Centimetres(372), "thigh"),
    CorrectTape(Inches(1)),
    CorrectTape(Centimetres(1)),
    Confirm(),
    Refuse(),
    Undo(),
    Repeat(),
    *(Skip(reason) for reason in SkipReason),
    GoTo("thigh"),
    Pause(),
    Resume(),
    SignOff(),
    Stop(),
    *(Stop(name) for name in ("clothing", "marks", "touch")),
    *(Choose(option) for option in Option),
    *(Note(caution) for caution in Caution),
    Ready(),
    Wiped(),
    *(SetFold(fold) for fold in Fold),
    *(SetSide(side) for side in Side),
    SetCloth(15),
    SetOffset(25),
    Finish(),
    Extra("thigh"),
    Later(),
    JawsOn(),
    TakeNote(),
    Remark("dry skin, \u00fc"),
    *(NotUnderstood(why, "100.0") for why in WhyNot),
]


def test_examples_hold_every_kind() -> None:
    """Every intent there is, and "not understood", is tried below, each under its own name."""
    kinds = {type(example) for example in EXAMPLES}
    assert kinds == {*get_args(Intent), NotUnderstood}
    assert len({kind_of(example) for example in EXAMPLES}) == len(kinds)


@pytest.mark.parametrize("example", EXAMPLES, ids=repr)
def test_every_intent_survives_the_journal(example: Intent | NotUnderstood) -> None:
    """What was understood comes back the same, enumerations and units included."""
    back = from_plain(json.loads(json.dumps(to_plain(example))))
    assert back == example
    assert repr(back) == repr(example)


@pytest.mark.parametrize(
    "plain",
    [
        {},
        {"kind": "banana"},
        {"kind": "reading"},
        {"kind": "reading", "value_tenths_mm": 5, "site": None, "colour": "red"},
        {"kind": "skip", "reason": "bored"},
        {"kind": "choose", "option": "dance"},
        {"kind": "note", "caution": None},
        {"kind": "set_fold", "fold": "sideways"},
        {"kind": "tape", "length": {"feet": 3}, "site": None},
        {"kind": "not_understood", "why": "because", "detail": ""},
    ],
    ids=[
        "nothing",
        "no kind",
        "no value",
        "too much",
        "no reason",
        "no option",
        "no caution",
        "no fold",
        "no unit",
        "no why",
    ],
)
def test_a_damaged_intent_is_not_guessed(plain: dict[str, object]) -> None:
    """What no intent could have written is an error, never another intent."""
    with pytest.raises((KeyError, TypeError, ValueError)):
        from_plain(plain)


@pytest.mark.parametrize(
    "slots",
    [
        {},
        {"call": "dance"},
        {"call": "go_to"},
        {"call": "skip"},
        {"call": "skip", "reason": "bored"},
        {"call": "choose"},
        {"call": "note", "caution": "rain"},
        {"call": "set_fold", "fold": "sideways"},
        {"call": "set_side"},
        {"call": "extra"},
        {"call": "tape", "whole": 6},
        {"call": "tape", "whole": 6, "unit": "mile"},
        {"call": "reading", "whole": "twelve"},
        {"call": 7},
        {"call": "reading", "whole": 12, "site": 3},
        {"wrong": "colour"},
    ],
    ids=str,
)
def test_tags_that_make_no_intent_are_the_packs_fault(slots: dict[str, int | str]) -> None:
    """A pack whose tags contradict themselves fails loudly instead of yielding a reading."""
    with pytest.raises(ValueError, match=r".") as caught:
        intent_from(slots)
    assert isinstance(caught.value, PackError) or "is not a valid" in str(caught.value)


@pytest.mark.parametrize("call", ["reading", "correct"])
@pytest.mark.parametrize(
    ("whole", "tenths", "taken"), [(0, 4, False), (0, 5, True), (99, 9, True), (100, 0, False)]
)
def test_the_scale_of_all_calipers(call: str, whole: int, tenths: int, taken: bool) -> None:
    """0.5 and 99.9 mm are the first and the last value that can be a reading."""
    answer = intent_from({"call": call, "whole": whole, "tenths": tenths})
    assert isinstance(answer, NotUnderstood) != taken
    if not taken:
        refuses = call == "correct"
        assert answer == NotUnderstood(WhyNot.OUT_OF_RANGE, f"{whole}.{tenths}", refuses)


def test_a_wrong_form_is_never_a_reading() -> None:
    """A phrase that is known to be wrong stays wrong whatever number it holds."""
    slots = {"call": "reading", "wrong": "lost_point", "whole": 12}
    assert intent_from(slots) == NotUnderstood(WhyNot.LOST_POINT)
