"""`foldcall listen`: real sound through the real recogniser, one JSON object a call."""

import json
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from capture.cli import main
from capture.language.grammar import LISTENING
from capture.listen import described, listen
from capture.pack import Pack
from capture.recognise.scripted import spoken
from capture.resources import data_folder
from capture.training.texts import spoken_whole
from capture.wiring import open_ear

RECORDING = data_folder("demo_audio")
PEOPLE = Path(__file__).parent / "recordings"
DIGITS = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]


def clip(says: str) -> Path:
    """The demo's clip with these words."""
    turns = tomllib.loads((RECORDING / "visit.toml").read_text(encoding="utf-8"))["turn"]
    number = [turn.get("says") for turn in turns if "clip" not in turn].index(says) + 1
    return RECORDING / f"turn_{number:02d}.flac"


def calls(path: Path, pack: Pack, rule: str = "anything") -> list[dict[str, Any]]:
    """What is understood in one file."""
    ((_, _, found),) = listen([path], pack, rule)
    return found


def test_a_reading_is_told_with_all_its_fields(pack: Pack) -> None:
    """File, words, confidence, intent, value, and where in the file it was said."""
    (call,) = calls(clip("chest eight point four"), pack)
    assert call["words"] == "chest eight point four"
    assert (call["intent"], call["value_mm"], call["site"]) == ("reading", 8.4, "chest")
    assert 0.5 < call["confidence"] <= 1
    length_s = soundfile.info(clip("chest eight point four")).duration
    assert 0 <= call["start_s"] < call["end_s"] <= length_s + 0.05
    assert json.loads(json.dumps(call)) == call


def test_a_call_that_is_no_reading_has_no_value(pack: Pack) -> None:
    """A "yes" is told as what it means."""
    (call,) = calls(clip("yes"), pack)
    assert (call["words"], call["intent"], call["value_mm"]) == ("yes", "confirm", None)


def test_a_tape_length_is_understood_where_one_is_wanted(pack: Pack) -> None:
    """The state decides: only there are fractions of an inch listened for."""
    (call,) = calls(clip("six and three quarters"), pack, "tape_wanted")
    assert (call["intent"], call["length"]) == ("tape", {"sixteenths_in": 108})


def test_chatter_is_told_without_an_intent(pack: Pack) -> None:
    """Somebody else's sentence has no value, whatever it sounds like."""
    chatter = "so I told them the gym would open again on Thursday afternoon"
    for call in calls(clip(chatter), pack):
        assert call["intent"] is None
        assert call["value_mm"] is None


def test_silence_has_one_line_without_words(tmp_path: Path, pack: Pack) -> None:
    """A file without any call still has its line."""
    path = tmp_path / "silence.wav"
    soundfile.write(path, np.zeros(32_000), 16_000)
    (call,) = calls(path, pack)
    assert (call["words"], call["intent"], call["start_s"]) == ("", None, None)


@pytest.mark.parametrize(
    ("rate_hz", "channels", "subtype"),
    [
        (8_000, 1, "PCM_16"),
        (11_025, 1, "PCM_16"),
        (22_050, 2, "PCM_24"),
        (44_100, 1, "PCM_U8"),
        (48_000, 2, "FLOAT"),
        (96_000, 1, "DOUBLE"),
    ],
)
def test_any_sample_rate_and_format_is_heard_alike(
    tmp_path: Path, pack: Pack, rate_hz: int, channels: int, subtype: str
) -> None:
    """The same call, converted: the same reading."""
    samples, given_hz = soundfile.read(clip("triceps ten point six"))
    moments = np.arange(int(len(samples) * rate_hz / given_hz)) / rate_hz
    resampled = np.interp(moments, np.arange(len(samples)) / given_hz, samples)
    path = tmp_path / "converted.wav"
    soundfile.write(path, np.column_stack([resampled] * channels), rate_hz, subtype=subtype)
    values = [(call["value_mm"], call.get("site")) for call in calls(path, pack)]
    assert values == [(10.6, "triceps")]


def test_the_digits_of_a_person_never_heard_in_training(pack: Pack) -> None:
    """At least nine in ten are right, and at most one in fifty is another number.

    Source: the test part of one speaker of the Free Spoken Digit Dataset.
    """
    files = sorted(PEOPLE.glob("*.wav"))
    assert len(files) == 50
    right = wrong = 0
    for path, _, found in listen(files, pack, "reading_wanted"):
        said = int(path.name[0])
        right += [call["words"] for call in found] == [DIGITS[said]]
        wrong += any(call["value_mm"] not in {None, float(said)} for call in found)
    assert right >= 45
    assert wrong <= 1


def test_the_numbers_of_a_woman_never_heard_in_training(pack: Pack) -> None:
    """Teens and tens too: hardly one is wrong, and a wrong one is doubtful, so never silent.

    Source: the English prompts of asterisk-core-sounds, spoken by Allison Smith.
    """
    whole = {spoken_whole(number): number for number in (*range(20), *range(20, 100, 10))}
    files = sorted((PEOPLE / "numbers").glob("*.flac"))
    assert {path.stem for path in files} == set(whole)
    right = 0
    for path, _, found in listen(files, pack, "reading_wanted"):
        right += [call["words"] for call in found] == [path.stem]
        for call in found:
            wrong = call["value_mm"] not in {None, float(whole[path.stem])}
            assert not (wrong and call["verdict"] == "normal"), path.stem
    assert right >= 26


def test_the_command_prints_lines_and_goes_on_after_a_bad_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One bad file among good ones: its line on stderr, the others' calls on stdout, exit 1."""
    bad = tmp_path / "notes.wav"
    bad.write_text("not sound at all", encoding="utf-8")
    assert main(["listen", str(bad), str(clip("chest eight point four"))]) == 1
    shown = capsys.readouterr()
    (line,) = shown.out.splitlines()
    assert json.loads(line)["value_mm"] == 8.4
    assert shown.err.count("\n") == 1
    assert "notes.wav" in shown.err


def test_listen_tells_what_a_visit_would_make_of_a_call(pack: Pack) -> None:
    """The probability is the measured one, and the pack's threshold says what it is worth."""
    (clear,) = calls(clip("one seven point six"), pack)
    assert clear["verdict"] == "normal"
    certainty = pack.certainty()
    assert certainty is not None
    assert clear["confidence"] >= certainty.normal_from
    heard = spoken("one seven point six", confidence=0.6, rivals=["one seven point nine"])
    parser = pack.grammar.parser(LISTENING + "reading_wanted")
    rough = replace(heard, score_per_s=40.0)
    unclear = described(Path("a.wav"), rough, parser, certainty)
    assert unclear["verdict"] != "normal"
    assert unclear["confidence"] < certainty.normal_from


@pytest.mark.parametrize("pause_s", [0.2, 0.4, 0.5])
def test_a_number_may_be_spoken_slowly(pack: Pack, tmp_path: Path, pause_s: float) -> None:
    """A pause before "point two" does not cut the reading off at its whole number."""
    samples, rate = soundfile.read(clip("eleven point two"), dtype="int16")
    ear = open_ear(pack, [LISTENING + "reading_wanted"]).listener(
        rate, LISTENING + "reading_wanted"
    )
    found = [ear.feed(samples[at : at + 1600].tobytes()) for at in range(0, len(samples), 1600)]
    (heard,) = [each for each in [*found, ear.finish()] if each is not None]
    first, then = heard.words[0], heard.words[1]
    cut = round((first.end_s + then.start_s) / 2 * rate)
    room = np.random.default_rng(1).normal(0, 3, round(pause_s * rate)).astype("int16")
    slow = np.concatenate([samples[:cut], room, samples[cut:]])
    soundfile.write(tmp_path / "slow.wav", slow, rate)
    assert [each["value_mm"] for each in calls(tmp_path / "slow.wav", pack, "reading_wanted")] == [
        11.2
    ]
