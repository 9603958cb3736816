"""The keypad: values, lists, and the table of keys."""

from typing import Any

import pytest

from capture.language.intents import (
    Confirm,
    Correct,
    CorrectTape,
    GoTo,
    Intent,
    Pause,
    Reading,
    Refuse,
    Repeat,
    Resume,
    SignOff,
    Skip,
    SkipReason,
    Tape,
    Undo,
)
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
from capture.visit.state import Visit


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
