"""The keypad: values, lists, and the table of keys."""

from dataclasses import replace
from typing import Any, get_args

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
    Wiped,
)
from capture.protocol.sites import Fold, Side
from capture.screen.keymap import (
    KEY_TABLE,
    USUAL,
    Action,
    KeysError,
    bindings_from,
    help_lines,
    key_title,
)
from capture.screen.keypad import Entry, Pressed, press, tape_length
from capture.units import Centimetres, Inches
from capture.visit.state import Plan, Visit
from tests.conftest import Desk


def struck(visit: Visit, *keys: str) -> Pressed:
    """What the last of these keys leads to."""
    pressed = Pressed(Entry())
    for key in keys:
        pressed = press(pressed.entry, key, USUAL, visit)
    return pressed


@pytest.mark.parametrize(
    ("keys", "intent"),
    [
        ("1 2 . 4 enter", Reading(124)),
        ("1 2 , 4 enter", Reading(124)),
        ("1 3 backspace 2 enter", Reading(120)),
        ("enter", Confirm()),
        ("-", Refuse()),
        ("*", Repeat()),
        ("r", Repeat()),
        ("u", Undo()),
        ("p", Pause()),
        ("o", SignOff()),
        ("s 1", Skip(SkipReason.REFUSED)),
        ("s 5", Skip(SkipReason.UNABLE)),
        ("s backspace u", Undo()),
        ("g 7", GoTo("thigh")),
        ("n", GoTo("midaxillary")),
        ("+", GoTo("midaxillary")),
        ("b", GoTo("thigh")),
        ("l", Later()),
        ("f", Finish()),
        ("w", Wiped()),
        ("x enter", Stop()),
        ("x 2", Stop("marks")),
        ("i 4", Choose(Option.CHAPERONE)),
        ("a 0", Note(Caution.SURGERY)),
        ("e 3", Extra("triceps")),
        ("h 2", SetFold(Fold.HORIZONTAL)),
        ("h 5", SetSide(Side.LEFT)),
        ("h 6", SetCloth(0)),
        ("h 7 1 . 5 enter", SetCloth(15)),
        ("h 7 0 , 8 enter", SetCloth(8)),
        ("h 8 2 enter", SetOffset(20)),
        ("h 7 1 backspace backspace u", Undo()),
        ("x backspace enter", Confirm()),
        (": u escape u", Undo()),
        (": u backspace backspace u", Undo()),
    ],
)
def test_everything_can_be_keyed(measuring: Any, keys: str, intent: Intent) -> None:
    """At the first fold each key does what its line in the table says."""
    pressed = struck(measuring.visit, *keys.split())
    assert pressed.intent == intent
    assert not pressed.entry.is_open


@pytest.mark.parametrize(
    ("keys", "intent"),
    [("1 5 enter", Correct(150)), ("c 1 5 enter", Correct(150)), ("enter", Confirm())],
)
def test_at_a_read_back(measuring: Any, keys: str, intent: Intent) -> None:
    """A value takes the place of the one that was read back."""
    measuring.say("fifty")
    assert struck(measuring.visit, *keys.split()).intent == intent


def test_a_correction_without_a_value_confirms_nothing(measuring: Any) -> None:
    """After the key for it Enter alone is no yes, until the correction is given up."""
    measuring.say("fifty")
    pressed = struck(measuring.visit, "c", "enter")
    assert pressed.intent is None
    assert pressed.problem
    assert struck(measuring.visit, "c", "backspace", "enter").intent == Confirm()


@pytest.mark.parametrize("typed", ["", ".", "1 .", "1 0", ". 5", "1 2 . 5"])
def test_a_thickness_that_is_none(measuring: Any, typed: str) -> None:
    """Cloth and offset go from 0.0 to 9.9, as the voice has them; nothing is guessed."""
    pressed = struck(measuring.visit, "h", "7", *typed.split(), "enter")
    assert pressed.intent is None
    assert "0.0 to 9.9" in (pressed.problem or "")


def test_before_touching_a_number_is_a_caution(grammar: Any, plan: Plan) -> None:
    """No key before it: the list is on the screen. Enter is "ready"; elsewhere it is yes."""
    desk = Desk(grammar, replace(plan, screening=True))
    assert struck(desk.visit, "4").intent == Note(Caution.LOTION)
    assert struck(desk.visit, "enter").intent == Ready()
    desk.say("no")
    assert struck(desk.visit, "enter").intent == Confirm()
    assert struck(desk.visit, "4").intent is None
    desk.say("yes")
    assert struck(desk.visit, "4").intent == Note(Caution.LOTION)
    assert struck(desk.visit, "enter").intent == Ready()


def test_after_a_refusal_a_number_is_what_is_done_instead(desk: Any) -> None:
    """Only while the choice is open; a value is typed nowhere near it."""
    desk.say("no")
    assert struck(desk.visit, "4").intent == Choose(Option.CHAPERONE)
    desk.say("chaperone")
    assert struck(desk.visit, "4").intent is None
    desk.say("no", "impedance")
    assert struck(desk.visit, "4").intent is None


def test_a_tape_length_at_another_site(desk: Any) -> None:
    """Go to with its number, then the length: for that site, whichever is asked for."""
    desk.permitted()
    assert struck(desk.visit, *"g 7 1 9 enter".split()).intent == Tape(Inches(304), "thigh")
    assert struck(desk.visit, *"g 7 enter".split()).problem
    assert struck(desk.visit, *"g 7 backspace 9 enter".split()).intent == Tape(Inches(144))


def keyed(visit: Visit, intent: Intent) -> tuple[Intent | None, ...]:
    """What is struck for an intent, and what the keys lead to; a site and its value are two."""
    sites = [site.id for site in visit.plan.protocol.sites]
    found: list[Intent | None] = []
    for keys in strokes(intent, sites):
        found.append(struck(visit, *keys.split()).intent)
    return tuple(found)


def strokes(intent: Intent, sites: list[str]) -> tuple[str, ...]:
    """The keys for an intent, as the help tells them, each stroke by its name."""
    match intent:
        case Reading(value, site):
            go = (f"g {sites.index(site) + 1}",) if site is not None else ()
            return (*go, f"{spread(f'{value // 10}.{value % 10}')} enter")
        case Correct(value):
            return (f"c {spread(f'{value // 10}.{value % 10}')} enter",)
        case Tape(length, site):
            go_to = "" if site is None else f"g {sites.index(site) + 1} "
            return (f"{go_to}{spread(str(length).removesuffix(' in').removesuffix(' cm'))} enter",)
        case CorrectTape(length):
            return (f"c {spread(str(length).removesuffix(' in').removesuffix(' cm'))} enter",)
        case Skip(reason):
            return (f"s {list(SkipReason).index(reason) + 1}",)
        case GoTo(site):
            return (f"g {sites.index(site) + 1}",)
        case Extra(site):
            return (f"e {sites.index(site) + 1}",)
        case Stop(None):
            return ("x enter",)
        case Stop(permission):
            return (f"x {['clothing', 'marks', 'touch'].index(str(permission)) + 1}",)
        case Choose(option):
            return (f"i {list(Option).index(option) + 1}",)
        case Note(caution):
            return (f"a {(list(Caution).index(caution) + 1) % 10}",)
        case Remark(text):
            return (f"k {spread(text)} enter",)
        case SetFold(fold):
            return (f"h {list(Fold).index(fold) + 1}",)
        case SetSide(side):
            return (f"h {list(Side).index(side) + 4}",)
        case SetCloth(0):
            return ("h 6",)
        case SetCloth(value):
            return (f"h 7 {value // 10} . {value % 10} enter",)
        case SetOffset(value):
            return (f"h 8 {value // 10} . {value % 10} enter",)
        case _:
            return (_SINGLE[type(intent)],)


_SINGLE: dict[type, str] = {
    Confirm: "enter", Ready: "enter", Refuse: "-", Undo: "u", Repeat: "r", Pause: "p", Resume: "p",
    SignOff: "o", Wiped: "w", Finish: "f", Later: "l",
    JawsOn: "d", TakeNote: "k enter",
}  # fmt: skip


def spread(text: str) -> str:
    """Characters as strokes."""
    return " ".join("space" if sign == " " else sign for sign in text)


def every_intent(sites: list[str]) -> list[Intent]:
    """All that can be meant in a visit of these sites."""
    lengths = [*map(Inches, range(1, 40 * 16)), *map(Centimetres, range(1, 999, 7))]
    return [
        *(Reading(value, site) for value in range(5, 1000) for site in (None, sites[-1])),
        *(Correct(value) for value in range(5, 1000)),
        *(Tape(length, site) for length in lengths for site in (None, sites[-1])),
        *(CorrectTape(length) for length in lengths),
        *(Skip(reason) for reason in SkipReason),
        *(kind(site) for kind in (GoTo, Extra) for site in sites),
        *(Stop(name) for name in (None, "clothing", "marks", "touch")),
        *map(Choose, Option),
        *map(Note, Caution),
        *map(Remark, ("dry skin", "10 min. late; q: why?")),
        *map(SetFold, Fold),
        *map(SetSide, Side),
        *(kind(value) for kind in (SetCloth, SetOffset) for value in range(100)),
        *(kind() for kind in _SINGLE),
    ]


def test_every_intent_has_a_keyed_way(grammar: Any, plan: Plan) -> None:
    """Whatever can be said can be struck, by keys that the help tells, without knowing words.

    A new intent without a keyed way fails here.
    """
    screened = Desk(grammar, replace(plan, screening=True))
    taping = Desk(grammar, plan).permitted()
    taped = Desk(grammar, plan).permitted().say("seven")
    measuring = Desk(grammar, plan).marked()
    read = Desk(grammar, plan).marked().say("eight")
    paused = Desk(grammar, plan).marked().say("pause")
    where: dict[type, Desk] = {
        Ready: screened, Tape: taping, CorrectTape: taped, Correct: read, Resume: paused,
    }  # fmt: skip
    sites = [site.id for site in plan.protocol.sites]
    intents = every_intent(sites)
    assert {type(each) for each in intents} == set(get_args(Intent))
    for intent in intents:
        wanted: tuple[Intent, ...] = (intent,)
        if isinstance(intent, Reading) and intent.site is not None:
            wanted = (GoTo(intent.site), Reading(intent.value_tenths_mm))
        assert keyed(where.get(type(intent), measuring).visit, intent) == wanted


def test_the_pause_key_goes_on_again(measuring: Any) -> None:
    """The same key pauses and resumes."""
    measuring.say("pause")
    assert struck(measuring.visit, "p").intent == Resume()


@pytest.mark.parametrize(
    ("typed", "length"),
    [
        ("6 3/4", Inches(108)),
        ("6", Inches(96)),
        ("3/8", Inches(6)),
        ("12 15/16", Inches(207)),
        ("37.2", Centimetres(372)),
        ("37c", Centimetres(370)),
        ("37 c", Centimetres(370)),
        ("37.2c", Centimetres(372)),
        ("6 3/5", None),
        ("6 4/4", None),
        ("6 /4", None),
        ("6 3", None),
        ("6 3/4 1", None),
        ("37.25", None),
        ("37.", None),
        (".5", None),
        ("0", None),
        ("0.0", None),
        ("100", None),
        ("1 c 2", None),
    ],
)
def test_tape_lengths(typed: str, length: Inches | Centimetres | None) -> None:
    """Inches with a fraction in sixteenths or coarser, or centimetres; nothing is guessed."""
    assert tape_length(typed) == length


def test_a_tape_is_keyed_with_its_fraction(desk: Any) -> None:
    """6 Space 3 / 4 and Enter, and again to correct what was read back."""
    desk.permitted()
    keys = ("6", "space", "3", "/", "4", "enter")
    assert struck(desk.visit, *keys).intent == Tape(Inches(108))
    desk.say("seven inches")
    assert struck(desk.visit, *keys).intent == CorrectTape(Inches(108))


def test_keys_in_a_number_do_not_act(measuring: Any) -> None:
    """A half typed number keeps other keys from doing anything."""
    for key in ("u", "-", "s", "o", "n"):
        pressed = struck(measuring.visit, "1", key)
        assert pressed.intent is None
        assert pressed.entry.typed == "1"
        assert pressed.problem


def test_num_lock_is_named(measuring: Any) -> None:
    """A keypad that sends arrows gets a hint, and no digit."""
    pressed = struck(measuring.visit, "home")
    assert pressed.entry.typed == ""
    assert "Num Lock" in (pressed.problem or "")


def test_every_action_is_in_the_table_once() -> None:
    """The help shows all there is."""
    assert [line.action for line in KEY_TABLE] == list(Action)
    assert len(help_lines()) == len(Action) + 3


def test_keys_can_be_changed() -> None:
    """A pedal that sends F13 confirms; what is not named stays."""
    bindings = bindings_from({"confirm": ["enter", "F13"], "undo": "z"}, "settings.toml")
    assert bindings.action("f13") is Action.CONFIRM
    assert bindings.action("enter") is Action.CONFIRM
    assert bindings.action("z") is Action.UNDO
    assert bindings.action("u") is None
    assert bindings.action("-") is Action.REFUSE
    assert bindings.keys(Action.CONFIRM) == ("enter", "f13")


@pytest.mark.parametrize(
    ("table", "named"),
    [
        ({"conform": "enter"}, "conform"),
        ({"undo": "5"}, "5"),
        ({"undo": "nokey"}, "nokey"),
        ({"undo": 7}, "undo"),
        ({"undo": "x", "repeat": "x"}, "x"),
        ({"confirm": []}, "confirm"),
    ],
    ids=["unknown action", "a digit", "unknown key", "no key", "two meanings", "none left"],
)
def test_wrong_bindings_name_key_and_file(table: dict[str, object], named: str) -> None:
    """The error says which entry of which file, and what to do."""
    with pytest.raises(KeysError) as caught:
        bindings_from(table, "/home/ada/settings.toml")
    assert f"'{named}'" in caught.value.message
    assert "/home/ada/settings.toml" in caught.value.message
    assert caught.value.hint


def test_titles() -> None:
    """Keys are shown as they are written on them."""
    assert [key_title(key) for key in ("enter", "f1", "u", "c-t")] == ["Enter", "F1", "u", "Ctrl-T"]
