"""Nonsense is refused with a reason or taken whole. The whole harness: `python tests/fuzz.py`."""

import io
import json
import math
import struct
import tomllib
from collections.abc import Callable
from pathlib import Path

import fuzz
import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from capture.demo import read_script
from capture.errors import CaptureError
from capture.exchange.columns import NAMES
from capture.exchange.document import read_document
from capture.exchange.errors import FileRefused
from capture.exchange.table_read import MOST_PROBLEMS, read_table
from capture.language.grammar import Grammar, understand
from capture.language.jsgf import GrammarError
from capture.protocol.reading import read_protocol
from capture.recognise.certainty import parse_certainty
from capture.recognise.lexicon import parse_lexicon
from capture.screen.keymap import bindings_from
from capture.settings_file import read_settings
from capture.sound.wav import open_sound

quick = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))


def taken(give: Callable[[], object], named: str = "") -> object | None:
    """What a reader took, None if it refused it; then it must say why, and name the file."""
    try:
        return give()
    except CaptureError as error:
        told = str(error)
    assert told.strip()
    assert named in told
    return None


def test_a_part_of_the_harness_finds_nothing() -> None:
    """Phrases, keys and files with mistakes, one in a hundred of what the script tries."""
    told: list[str] = []
    assert fuzz.run((), 0.01, 7, told.append) == 0, told


def test_the_harness_sees_what_it_looks_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """A parser that takes nonsense, or ends in another error, is told with its input."""
    monkeypatch.setattr(fuzz, "read_protocol", lambda _text, _file: 5)
    monkeypatch.setattr(fuzz, "parse_lexicon", lambda text: text[10**9])
    told: list[str] = []
    assert fuzz.run(("protocol",), 0.001, 1, told.append) >= 1
    assert fuzz.run(("pronunciations",), 0.001, 1, told.append) >= 1
    assert any("AssertionError" in line for line in told)
    assert any("IndexError" in line for line in told)


TEXTS: dict[str, Callable[[str], object]] = {
    "table": read_table,
    "document": read_document,
    "protocol": lambda text: read_protocol(text, "p.toml"),
    "certainty": parse_certainty,
    "pronunciations": parse_lexicon,
    "grammar": lambda text: Grammar({"a.gram": text}),
}


@pytest.mark.parametrize("name", TEXTS)
@quick
@given(text=st.text(max_size=400))
def test_any_text_is_taken_or_refused(name: str, text: str) -> None:
    """No text at all ends a reader with anything but its own error."""
    taken(lambda: TEXTS[name](text))


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["visits", "clients", "id", "journal", "x"]), inner)
    ),
    max_leaves=12,
)


@quick
@given(value=JSON)
def test_any_json_is_taken_or_refused(value: object) -> None:
    """Any shape of JSON, with numbers that are none, is taken whole or refused."""
    found = taken(lambda: read_document(json.dumps(value)))
    if found is not None:
        fuzz.check_document(found)


@quick
@given(table=st.dictionaries(st.sampled_from(["confirm", "repeat", "quit", "x"]), JSON))
def test_any_keys_in_the_settings_are_taken_or_refused(table: dict[str, object]) -> None:
    """Whatever stands in the table of keys, the error names it."""
    taken(lambda: bindings_from(table, "settings.toml"), "settings.toml")


def test_a_million_rows_are_not_all_looked_at() -> None:
    """A table of a million rows that are wrong is refused after the first twenty."""
    text = ",".join(NAMES) + "\n" + (",".join("x" * len(NAMES)) + "\n") * 1_000_000
    with pytest.raises(FileRefused, match="line 2") as caught:
        read_table(text)
    assert caught.value.problems[-1] == "and perhaps more"
    assert len(caught.value.problems) == MOST_PROBLEMS + 1


@pytest.mark.parametrize(
    "text",
    ["[" * 1_000_000, '{"a":' * 100_000, "1" * 1_000_000, '{"visits": 1e309}', '"' + "a" * 10**6],
    ids=["brackets", "objects", "digits", "infinite", "open"],
)
def test_huge_and_deep_json_is_refused(text: str) -> None:
    """Depth and length end no reader."""
    with pytest.raises(CaptureError):
        read_document(text)


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 100_000,
        "a" * 1_000_000,
        "a = " + "9" * 100_000,
        'id = "' + "x" * 1_000_000 + '"',
    ],
    ids=["deep", "long", "digits", "name"],
)
def test_huge_and_deep_toml_is_refused(text: str, tmp_path: Path) -> None:
    """So it is with protocols, certainty, settings and recorded visits."""
    with pytest.raises(CaptureError):
        read_protocol(text, "p.toml")
    with pytest.raises(CaptureError):
        parse_certainty(text)
    for name in ("settings.toml", "visit.toml"):
        (tmp_path / name).write_text(text, encoding="utf-8")
    with pytest.raises(CaptureError):
        read_script(tmp_path)
    taken(lambda: read_settings(tmp_path / "settings.toml"), "settings.toml")


GRAMMAR = "#JSGF V1.0;\ngrammar a;\n"


@pytest.mark.parametrize(
    "rules",
    [
        "public <x> = " + "(" * 10_000 + "one" + ")" * 10_000 + ";",
        "public <x> = <x> one;",
        "public <x> = one+;",
        "public <x> = <y>; <y> = <z>; <z> = <x>;",
        "public <x> = " + "[one] " * 5_000 + ";",
    ],
    ids=["deep", "itself", "repeated", "circle", "options"],
)
def test_a_grammar_that_would_never_end_is_refused(rules: str) -> None:
    """Rules that refer to themselves, or nest without end, are refused and do not hang."""
    with pytest.raises(CaptureError):
        Grammar({"a.gram": GRAMMAR + rules}).parser("a.x", None)


def test_a_meaning_that_no_call_has_is_told() -> None:
    """A tag that nothing is known of is a fault of the pack in one line, not a traceback."""
    grammar = Grammar({"a.gram": GRAMMAR + "public <x> = one {call = dance};"})
    with pytest.raises(GrammarError, match="'one' has a meaning that no call has"):
        understand(grammar.parser("a.x", None), ["one"])


def wav(rate: int, channels: int, bits: int, size: int, held: int = 3200) -> bytes:
    """A WAV file whose header says what it likes."""
    frame = channels * bits // 8
    head = struct.pack("<HHIIHH", 1, channels, rate, rate * frame % 2**32, frame % 2**16, bits)
    data = b"data" + struct.pack("<I", size) + bytes(held)
    body = b"WAVEfmt " + struct.pack("<I", len(head)) + head + data
    return b"RIFF" + struct.pack("<I", min(2**32 - 1, len(body))) + body


@pytest.mark.parametrize(
    ("rate", "channels", "bits", "size"),
    [
        (0, 1, 16, 3200),
        (1, 1, 16, 3200),
        (2**31 - 1, 1, 16, 3200),
        (16_000, 0, 16, 3200),
        (16_000, 60_000, 16, 3200),
        (16_000, 1, 0, 3200),
        (16_000, 1, 1000, 3200),
    ],
)
def test_a_header_that_cannot_be_is_refused(
    rate: int, channels: int, bits: int, size: int, tmp_path: Path
) -> None:
    """No rate, too many channels, no width: one line, before anything is allocated."""
    file = tmp_path / "a.wav"
    file.write_bytes(wav(rate, channels, bits, size))
    with pytest.raises(CaptureError, match=r"a\.wav"):
        open_sound(file)


@pytest.mark.parametrize("size", [2**32 - 1, 2**31, 2**30, 10**9])
def test_a_small_file_that_says_it_is_huge_is_small(size: int, tmp_path: Path) -> None:
    """The length in a header is never believed: what is there is read, and no more."""
    file = tmp_path / "a.wav"
    file.write_bytes(wav(16_000, 1, 16, size))
    sound = open_sound(file)
    assert sound.frames == 1600
    assert sum(map(len, sound.blocks())) == 3200


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_samples_that_are_no_numbers_are_refused(
    bad: float, tmp_path: Path, recwarn: pytest.WarningsRecorder
) -> None:
    """Also where two channels would cancel them out; and no warning of the library is printed."""
    file = io.BytesIO()
    samples = np.array([[0.1, 0.1], [bad, -bad]] * 800, np.float32)
    soundfile.write(file, samples, 16_000, "FLOAT", format="WAV")
    (tmp_path / "a.wav").write_bytes(file.getvalue())
    with pytest.raises(CaptureError, match="not numbers"):
        open_sound(tmp_path / "a.wav")
    assert list(recwarn) == []


SCRIPT = """
client = "Rowan Alderby"
sex = "male"
age_years = 34
assessor = "Tobias Quill"
caliper = "dial caliper"
caliper_step_tenths_mm = 2
caliper_opening_tenths_mm = 800
turn = [{ keys = "enter" }]
"""


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ("= 800", "= 1e309", "caliper_opening_tenths_mm"),
        ("= 800", '= ""', "caliper_opening_tenths_mm"),
        ("= 2", "= nan", "caliper_step_tenths_mm"),
        ("= 34", "= -1", "age_years"),
        ("= 34", "= true", "age_years"),
        ('"Rowan Alderby"', "7", "client"),
        ('"enter"', "7", "keys"),
        ('{ keys = "enter" }', '"enter"', "turn 1"),
    ],
)
def test_a_recorded_visit_with_nonsense_in_it_is_refused(
    old: str, new: str, named: str, tmp_path: Path
) -> None:
    """A caliper without end, a negative age, a name that is no text: each is named."""
    assert tomllib.loads(SCRIPT)["age_years"] == 34
    (tmp_path / "visit.toml").write_text(SCRIPT.replace(old, new), encoding="utf-8")
    with pytest.raises(CaptureError, match=named):
        read_script(tmp_path)
