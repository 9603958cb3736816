"""Each mistake in a settings or protocol file is told with the file, the line or key, and the fix.

The protocol's table is made from the file itself: every key is left out, and given every wrong
kind of value, and every table is given a key too many.
"""

import copy
import json
import math
import tomllib
from collections.abc import Callable, Iterator
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from capture.errors import CaptureError
from capture.exchange.document import read_document
from capture.exchange.table_read import read_table
from capture.language.grammar import Grammar
from capture.protocol.reading import ProtocolError, read_protocol
from capture.recognise.certainty import NAMES, parse_certainty
from capture.recognise.lexicon import parse_lexicon
from capture.settings_file import read_settings
from capture.sound.settings import read_sound_settings

FILE = "own.toml"
PROTOCOL = resources.files("capture.protocol").joinpath("data/seven_sites.toml").read_text("utf-8")
WRONG: dict[str, object] = {
    "table": {}, "nan": math.nan, "infinite": math.inf, "negative": -1, "zero": 0, "true": True,
    "empty text": "", "blank": " ", "empty list": [], "mixed list": [1, "a"], "huge": 10**12,
    "fraction": 0.55,
}  # fmt: skip
MAY_BE: frozenset[tuple[str, str]] = frozenset(
    {("mm", "zero"), ("percent", "zero"), ("spoken", "empty list")}
)
"""One of the two bounds may be nothing: the other holds. A site need not be called by name."""


def dumped(value: object) -> str:
    """A value as TOML writes it."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {dumped(each)}" for key, each in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(dumped, value)) + "]"
    return json.dumps(value)


def as_toml(found: dict[str, Any]) -> str:
    """A protocol as a file."""
    return "\n".join(f"{key} = {dumped(value)}" for key, value in found.items())


def places(found: Any, above: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """The way to every key."""
    if isinstance(found, dict):
        for key, value in found.items():
            yield (*above, key)
            yield from places(value, (*above, key))
    if isinstance(found, list):
        for number, each in enumerate(found[:1]):  # all sites are read alike
            yield from places(each, (*above, number))


GOOD: dict[str, Any] = tomllib.loads(PROTOCOL)
PLACES = [place for place in places(GOOD) if isinstance(place[-1], str)]


def name_of(place: tuple[str | int, ...]) -> str:
    """A way to a key as a test's id."""
    return ".".join(map(str, place))


def table_at(found: Any, place: tuple[str | int, ...]) -> Any:
    """The table in which a key stands."""
    for step in place[:-1]:
        found = found[step]
    return found


def told(give: Callable[[], object]) -> CaptureError | None:
    """The error of a reader, None if it took what it was given."""
    try:
        give()
    except CaptureError as error:
        return error
    return None


def test_the_file_that_is_spoilt_below_is_good() -> None:
    """What is written out anew is read as the file itself."""
    assert read_protocol(as_toml(GOOD), FILE) == read_protocol(PROTOCOL, FILE)
    assert len(PLACES) > 20


@pytest.mark.parametrize("place", PLACES, ids=name_of)
def test_a_key_that_is_missing_from_a_protocol_is_named(place: tuple[str | int, ...]) -> None:
    """With the file and what to write; or it is one of those that may be left out."""
    spoilt = copy.deepcopy(GOOD)
    table_at(spoilt, place).pop(place[-1])
    error = told(lambda: read_protocol(as_toml(spoilt), FILE))
    optional = {"spoken", "picture", "tape_from", "tape_to", "tape_mark", "tape_mark_women",
                "tape_usual_cm"}  # fmt: skip
    if error is None:
        assert place[-1] in optional
    else:
        assert error.message.startswith(f"{FILE}: ")
        assert str(place[-1]) in str(error) or place[-1] in optional
        assert error.hint


@pytest.mark.parametrize("kind", WRONG)
@pytest.mark.parametrize("place", PLACES, ids=name_of)
def test_a_wrong_value_in_a_protocol_is_named(place: tuple[str | int, ...], kind: str) -> None:
    """No nonsense is taken for any key; file, key and remedy are told."""
    spoilt = copy.deepcopy(GOOD)
    table_at(spoilt, place)[place[-1]] = WRONG[kind]
    error = told(lambda: read_protocol(as_toml(spoilt), FILE))
    if (place[-1], kind) in MAY_BE:
        assert error is None
        return
    assert isinstance(error, ProtocolError)
    assert error.message.startswith(f"{FILE}: ")
    assert str(place[-1]) in error.message
    assert error.hint


@pytest.mark.parametrize("place", PLACES, ids=name_of)
def test_a_key_too_many_in_a_protocol_is_named(place: tuple[str | int, ...]) -> None:
    """A misspelt key is not passed over in silence."""
    spoilt = copy.deepcopy(GOOD)
    table_at(spoilt, place)[f"{place[-1]}s_"] = 1
    error = told(lambda: read_protocol(as_toml(spoilt), FILE))
    assert error is not None
    assert f"{place[-1]}s_" in error.message
    assert error.hint


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("[sound]\nvolum = 0.5", "volum"),
        ('[sound]\nvolume = "loud"', "volume"),
        ("[sound]\nvolume = nan", "volume"),
        ("[sound]\nvolume = 1e309", "volume"),
        ("[sound]\nvolume = -0.1", "volume"),
        ("[sound]\nvolume = true", "volume"),
        ("[sound]\npace = 0", "pace"),
        ("[sound]\npace = inf", "pace"),
        ("[sound]\necho_tail_s = -1", "echo_tail_s"),
        ("[sound]\necho_tail_s = 1e6", "echo_tail_s"),
        ('[sound]\nvoice = "opera"', "voice"),
        ("[sound]\nvoice = 3", "voice"),
        ("[sound]\nmicrophone = 3", "microphone"),
        ('[sound]\nspeaker = "Desk"\nspeaker_host = 1', "speaker"),
        ("sound = 3", "sound"),
        ("[sound]\nvolume = 0.5\nvolume = 0.6\npace = 1", "line 3"),
        ("[sound\nvolume = 0.5", "line 1"),
        ("[sound]\nvoice = beep", "line 2"),
        ("\x00", "line 1"),
    ],
)
def test_a_mistake_in_the_settings_is_named(text: str, named: str, tmp_path: Path) -> None:
    """The file, the key or the line, and what to write."""
    file = tmp_path / "settings.toml"
    file.write_text(text, encoding="utf-8")
    error = told(lambda: read_sound_settings(read_settings(file)))
    assert error is not None
    assert str(file) in error.message
    assert named in error.message
    assert error.hint


def test_settings_in_another_encoding_are_told(tmp_path: Path) -> None:
    """A file that an editor saved as UTF-16 is named, with what to do."""
    file = tmp_path / "settings.toml"
    file.write_text('[sound]\nvoice = "beep"', encoding="utf-16")
    error = told(lambda: read_sound_settings(read_settings(file)))
    assert error is not None
    assert str(file) in error.message
    assert error.hint


CERTAINTY = (
    "[coefficients]\nintercept = 1.0\n"
    + "".join(f"{name} = 0.5\n" for name in NAMES)
    + "[thresholds]\nnormal_from = 0.9\nagain_below = 0.5\nsure_from = 0.95\n"
)
GRAMMAR = "#JSGF V1.0;\ngrammar a;\npublic <x> = one;\n"
OTHERS: dict[str, tuple[Callable[[str], object], str, str, str]] = {
    "certainty, missing": (parse_certainty, CERTAINTY, "gap = 0.5", ""),
    "certainty, nan": (parse_certainty, CERTAINTY, "gap = 0.5", "gap = nan"),
    "certainty, text": (parse_certainty, CERTAINTY, "gap = 0.5", 'gap = "x"'),
    "certainty, order": (parse_certainty, CERTAINTY, "again_below = 0.5", "again_below = 0.99"),
    "certainty, infinite": (parse_certainty, CERTAINTY, "normal_from = 0.9", "normal_from = 1e309"),
    "pronunciations, phone": (parse_lexicon, "two  T UW\n", "UW", "UX"),
    "pronunciations, none": (parse_lexicon, "two  T UW\n", "T UW", ""),
    "pronunciations, empty": (parse_lexicon, "two  T UW\n", "two  T UW\n", "\n"),
}


@pytest.mark.parametrize("name", OTHERS)
def test_a_mistake_in_the_packs_files_is_named(name: str) -> None:
    """Certainty and pronunciations: the file, the key or the line, and what to do."""
    give, good, old, new = OTHERS[name]
    assert told(lambda: give(good)) is None
    error = told(lambda: give(good.replace(old, new, 1)))
    assert error is not None
    assert name.partition(",")[0] in error.message
    assert error.hint


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ("one;", "one", "a.gram:4:1"),
        ("one;", "(one;", "a.gram:3"),
        ("one;", "<y>;", "a.gram:3"),
        ("one;", "one {x = };", "a.gram:3"),
        ("one;", "/-1/ one | two;", "a.gram:3"),
        ("public", "import <b.*>;\npublic", "a.gram:3"),
        ("#JSGF V1.0;", "", "a.gram:"),
    ],
)
def test_a_mistake_in_a_grammar_is_told_with_its_place(old: str, new: str, place: str) -> None:
    """File, line and column, and what to do."""
    error = told(lambda: Grammar({"a.gram": GRAMMAR.replace(old, new, 1)}))
    assert error is not None
    assert place in error.message
    assert error.hint


@pytest.mark.parametrize(
    ("read", "text", "place"),
    [
        (read_document, '{"format":\n "foldcall export",\n]', "Line 3"),
        (read_document, "{}", "the file has no"),
        (read_document, '{"a": NaN}', "NaN"),
        (read_table, "a,b\n1,2\n", "Line 1"),
        (read_table, "x\0", "Line 1"),
    ],
)
def test_a_mistake_in_an_import_is_told_with_its_place(
    read: Callable[[str], object], text: str, place: str
) -> None:
    """The line or the part, and that nothing was taken."""
    error = told(lambda: read(text))
    assert error is not None
    assert place in error.message
    assert error.hint
