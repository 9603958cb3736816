"""Numbers as they are typed at the keypad."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture.language.intents import Correct, Reading
from capture.screen.keymap import USUAL
from capture.screen.keypad import Entry, Pressed, press
from capture.screen.numerals import reading_tenths_mm, with_digit
from capture.visit.state import Visit

DIGITS = "0123456789"


def type_in(visit: Visit, keys: str) -> Pressed:
    """Strike these characters and then Enter."""
    entry = Entry()
    for key in keys:
        entry = press(entry, key, USUAL, visit).entry
    return press(entry, "enter", USUAL, visit)


def test_every_value_can_be_typed(measuring: Any) -> None:
    """0.5 to 99.9 with a point, whole ones without: a reading, or a correction at a read-back."""
    wanted, read_back = measuring.visit, measuring.say("eight").visit
    for value in range(5, 1000):
        whole, tenth = divmod(value, 10)
        forms = [f"{whole}.{tenth}"] + ([str(whole)] if not tenth else [])
        for typed in forms:
            assert type_in(wanted, typed).intent == Reading(value)
            assert type_in(read_back, typed).intent == Correct(value)


@pytest.mark.parametrize(
    "typed", ["0", "00", "0.0", "0.4", "100", "999", ".", ".5", "5.", "1.23", "123."]
)
def test_what_is_no_reading_stays_to_be_mended(measuring: Any, typed: str) -> None:
    """Too small, too large or unfinished: nothing is taken, and what was typed stays."""
    pressed = type_in(measuring.visit, typed)
    assert pressed.intent is None
    assert pressed.entry.typed == typed
    assert pressed.problem


@given(st.text(alphabet=DIGITS + ".", max_size=6))
def test_a_number_is_taken_only_as_it_reads(keys: str) -> None:
    """Whatever is typed, the value taken is the number on the screen, or nothing."""
    typed = ""
    for key in keys:
        typed = with_digit(typed, key) or typed
    value = reading_tenths_mm(typed)
    if value is not None:
        assert value == round(float(typed) * 10)
        assert 5 <= value <= 999


def test_no_fifth_character_and_no_second_point() -> None:
    """A key too many is refused and changes nothing."""
    assert with_digit("12.4", "5") is None
    assert with_digit("1.", ".") is None


@pytest.mark.parametrize("key", ["-", "*", "u", "x", "F", "²", "٣", ""])
def test_other_keys_do_not_disturb_a_number(measuring: Any, key: str) -> None:
    """A key that is no digit leaves what was typed alone, in any script."""
    pressed = press(Entry(typed="12"), key, USUAL, measuring.visit)
    assert (pressed.entry.typed, pressed.intent) == ("12", None)
    assert pressed.problem
