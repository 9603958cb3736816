"""Keys to intents."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture.language.intents import Confirm, Correct, Intent, Reading, Refuse, Repeat, Undo
from capture.screen.keys import BACKSPACE, ENTER, SINGLE_KEYS, Struck, strike

DIGITS = "0123456789"


def type_in(keys: str, *, read_back: bool = False) -> Struck:
    """Strike these characters and then Enter."""
    struck = Struck("")
    for key in keys:
        struck = strike(struck.typed, key, read_back=read_back)
    return strike(struck.typed, ENTER, read_back=read_back)


def test_every_value_can_be_typed() -> None:
    """0.5 to 99.9 with a point, whole ones without: a reading, or a correction at a read-back."""
    for value in range(5, 1000):
        whole, tenth = divmod(value, 10)
        forms = [f"{whole}.{tenth}"] + ([str(whole)] if not tenth else [])
        for typed in forms:
            assert type_in(typed) == Struck("", Reading(value))
            assert type_in(typed, read_back=True) == Struck("", Correct(value))


@pytest.mark.parametrize(
    "typed", ["0", "00", "0.0", "0.4", "100", "999", ".", ".5", "5.", "1.23", "123."]
)
def test_what_is_no_reading_stays_to_be_mended(typed: str) -> None:
    """Too small, too large or unfinished: nothing is taken, and what was typed stays."""
    struck = type_in(typed)
    assert struck.intent is None
    assert struck.typed == typed
    assert struck.problem


@given(st.text(alphabet=DIGITS + ".", max_size=6))
def test_a_number_is_taken_only_as_it_reads(typed: str) -> None:
    """Whatever is typed, the value taken is the number on the screen, or nothing."""
    struck = Struck("")
    for key in typed:
        struck = strike(struck.typed, key, read_back=False)
    shown = struck.typed
    taken = strike(shown, ENTER, read_back=False).intent
    if isinstance(taken, Reading):
        assert taken.value_tenths_mm == round(float(shown) * 10)
        assert 5 <= taken.value_tenths_mm <= 999
    else:
        assert taken == (None if shown else Confirm())


def test_no_fifth_character_and_no_second_point() -> None:
    """A key too many is refused and changes nothing."""
    assert strike("12.4", "5", read_back=False).typed == "12.4"
    assert strike("12.4", "5", read_back=False).problem
    assert strike("1.", ".", read_back=False) == strike("1.", ".", read_back=True)
    assert strike("1.", ".", read_back=False).typed == "1."


def test_backspace() -> None:
    """The last character goes; on nothing, nothing happens, least of all a refusal."""
    assert strike("12", BACKSPACE, read_back=True) == Struck("1")
    assert strike("", BACKSPACE, read_back=True) == Struck("")


@pytest.mark.parametrize(
    ("key", "intent"),
    [(ENTER, Confirm()), ("-", Refuse()), ("*", Repeat()), ("u", Undo())],
)
def test_single_keys_act_at_once(key: str, intent: Intent) -> None:
    """Enter, minus, star and u do the same whether something waits or not."""
    for read_back in (True, False):
        assert strike("", key, read_back=read_back) == Struck("", intent)


def test_every_single_key_is_explained() -> None:
    """The help has words for each of them."""
    assert all(words for _, words in SINGLE_KEYS.values())


@pytest.mark.parametrize("key", [*SINGLE_KEYS, "x", "f1", "escape", "²", "٣", "12", ",", ""])
def test_other_keys_do_not_disturb_a_number(key: str) -> None:
    """A key that is no digit leaves what was typed alone, in any script."""
    struck = strike("12", key, read_back=True)
    assert (struck.typed, struck.intent) == ("12", None)
    assert struck.problem
