"""The guide's worked example, followed to the letter: a word is added, seen, heard and measured."""

import io
import json
import re
import shlex
import shutil
from pathlib import Path

import numpy as np
import pytest
import soundfile

from capture.cli import main
from capture.packs import chosen_pack
from capture.protocol.protocol import SEVEN_SITES
from capture.store import open_store
from capture.visit.announcement import ReadBack, Saved
from capture.visit.entry import Source
from capture.wiring import default_pack
from capture.wording.english import English
from capture.wording.numbers import NumberWords

HERE = Path(__file__).parent
GAP_S = 1.6
"""Long enough after a call for its end to be noticed."""

BEFORE = (
    *("ready", "granted", "granted", "granted"),
    *("nine inches", "yes", "fourteen and a half inches", "yes"),
    *("nineteen and five eighths inches", "yes"),
)
"""What is called until the first fold is wanted; clips of `trade_audio`."""


def blocks(kind: str) -> list[str]:
    """The blocks of one kind in the section on one's own words."""
    readme = (HERE.parent / "README.md").read_text(encoding="utf-8")
    section = readme.split("\n## Your own words\n")[1].split("\n## ")[0]
    found = re.findall(r"^```(\w*)\n(.*?)^```$", section, re.DOTALL | re.MULTILINE)
    return [text for named, text in found if named == kind]


def commands() -> list[list[str]]:
    """The commands of the section in their order, without the program's name."""
    lines = "".join(blocks("sh")).splitlines()
    return [shlex.split(line)[1:] for line in lines]


@pytest.fixture
def copied(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Path:
    """The folder that the first command writes."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("FOLDCALL_SETTINGS", str(tmp_path / "settings.toml"))
    monkeypatch.setenv("FOLDCALL_STORE", str(tmp_path / "store.db"))
    assert main(commands()[0]) == 0
    told = capsys.readouterr().out
    assert told.splitlines()[-1] == " ".join(["foldcall", *commands()[1]])
    return tmp_path / "own_words"


@pytest.fixture
def edited(copied: Path) -> Path:
    """The folder with both edits made."""
    with_belly, its_sound = blocks("")
    sites = copied / "sites.gram"
    lines = sites.read_text(encoding="utf-8").splitlines(keepends=True)
    (place,) = [number for number, line in enumerate(lines) if " abdomen " in line]
    lines[place] = with_belly
    sites.write_text("".join(lines), encoding="utf-8")
    with (copied / "pronunciations.dict").open("a", encoding="utf-8") as file:
        file.write(its_sound)
    return copied


def about_words(shown: str) -> dict[str, list[str]]:
    """The lines of a check by mark, of those that concern the words."""
    found: dict[str, list[str]] = {}
    for line in shown.splitlines():
        mark, what, *_ = line.split()
        if what in {"language", "lexicon", "alike", "recogniser", "doubt", "voice"}:
            found.setdefault(mark, []).append(line)
    return found


def test_the_check_asks_for_what_is_missing_and_is_content_then(
    copied: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without its sound the new word is named with its place; with it nothing is left to say."""
    sites = copied / "sites.gram"
    whole = sites.read_text(encoding="utf-8")
    sites.write_text(whole.replace("abdomen {", "(abdomen | belly) {"), encoding="utf-8")
    main(commands()[1])
    (told,) = about_words(capsys.readouterr().out)["FAILED"]
    assert re.search(r"sites\.gram:\d+:\d+: .* 'belly'\. .*: " + blocks("")[1].strip(), told)
    with (copied / "pronunciations.dict").open("a", encoding="utf-8") as file:
        file.write(blocks("")[1])
    main(commands()[1])
    found = about_words(capsys.readouterr().out)
    assert list(found) == ["ok"]
    assert len(found["ok"]) == 6


def test_the_new_word_is_among_the_phrases(
    edited: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Beside the old one, wherever a site may be named."""
    assert main(commands()[2]) == 0
    shown = capsys.readouterr().out
    assert shown.count('"go to abdomen", "go to belly"') == 2
    assert '"extra belly"' in shown
    assert main(["phrases"]) == 0
    assert "belly" not in capsys.readouterr().out
    assert edited.is_dir()


def test_the_new_word_is_heard(edited: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By the real recogniser, in its state; without the pack it is no call."""
    clip = HERE / "words_audio" / commands()[3][-1]
    shutil.copyfile(clip, edited.parent / clip.name)
    assert main(commands()[3]) == 0
    line = json.loads(capsys.readouterr().out)
    assert (line["words"], line["intent"], line["site"]) == ("go to belly", "go_to", "abdominal")
    assert line["verdict"] == "normal"
    reading = str(HERE / "words_audio" / "belly_twenty_two_point_six.ogg")
    assert main([*commands()[3][:-1], reading]) == 0
    line = json.loads(capsys.readouterr().out)
    assert (line["value_mm"], line["site"]) == (22.6, "abdominal")
    assert main(["listen", "--as", "reading_wanted", str(clip)]) == 0
    assert json.loads(capsys.readouterr().out)["intent"] is None


def recording(folder: Path) -> Path:
    """A visit in which the next fold is called by the new word."""
    clips = [HERE / "trade_audio" / f"{each.replace(' ', '_')}.ogg" for each in BEFORE]
    clips += [HERE / "words_audio" / "go_to_belly.ogg"]
    clips += [HERE / "words_audio" / "belly_twenty_two_point_six.ogg"]
    clips += [HERE / "trade_audio" / "yes.ogg"]
    parts = []
    rate_hz = 16_000
    for clip in clips:
        sound, rate_hz = soundfile.read(clip, dtype="float32")
        parts += [sound, np.tile(sound[: rate_hz // 5], round(GAP_S / 0.2))]
    path = folder / "visit.wav"
    soundfile.write(path, np.concatenate(parts), rate_hz, subtype="PCM_16")
    return path


@pytest.mark.parametrize("by_settings", [False, True])
def test_the_new_word_measures(
    edited: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    by_settings: bool,
) -> None:
    """A reading called by it is read back by the site's own name, confirmed and kept."""
    command = commands()[4]
    if by_settings:
        (text,) = blocks("toml")
        (edited.parent / "settings.toml").write_text(text, encoding="utf-8")
        at = command.index("--pack")
        del command[at : at + 2]
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    recorded = ["--plain", "--fast", "--from-wav", str(recording(edited.parent))]
    assert main([*command, "--sex", "male", "--age", "34", *recorded]) == 0
    shown = capsys.readouterr().out
    assert re.search(r'heard +"belly twenty two point six"', shown)
    assert re.search(r"confirm\? +abdominal 22\.6 mm +abdominal, twenty two point six\.", shown)
    assert re.search(r"SAVED +abdominal 22\.6 mm", shown)
    with open_store(edited.parent / "store.db") as store:
        (visit,) = store.open_visits()
        entries = store.entries(visit.id)
    (counted,) = [each for each in entries if each.words == "belly twenty two point six"]
    assert counted.source is Source.VOICE


def test_the_read_back_stays_as_it_was(edited: Path) -> None:
    """What the program says of a number is the same with the new word."""
    own, shipped = (
        English(NumberWords(pack.grammar), SEVEN_SITES)
        for pack in (chosen_pack(edited), default_pack())
    )
    for value in (5, 100, 125, 150, 226, 505, 999):
        for announcement in (ReadBack("abdominal", 1, value, ()), Saved("abdominal", value)):
            assert own.say(announcement) == shipped.say(announcement)


def test_a_word_that_sounds_like_a_number_is_not_measured_with(
    edited: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The guide's own warning: "to" for a three is refused by name, and nothing is opened."""
    numbers = edited / "numbers.gram"
    whole = numbers.read_text(encoding="utf-8")
    changed = whole.replace("three {tenths = 3}", "(three | to) {tenths = 3}")
    numbers.write_text(changed, encoding="utf-8")
    assert main([*commands()[4], "--plain", "--no-microphone"]) == 1
    told = capsys.readouterr().err
    assert "'two' sounds like 'to'" in told
    assert "See 'foldcall check --pack own_words'." in told
    assert not (edited.parent / "store.db").exists()
