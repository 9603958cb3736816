"""The command line: what it says, and how it ends."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from capture import __version__
from capture.cli import main
from capture.resources import data_folder

CLIP = str(data_folder("demo_audio") / "turn_03.flac")


def test_the_version_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """`foldcall --version` names program and version."""
    with pytest.raises(SystemExit) as ended:
        main(["--version"])
    assert ended.value.code == 0
    assert capsys.readouterr().out == f"foldcall {__version__}\n"


def test_without_a_command_the_help_is_shown(capsys: pytest.CaptureFixture[str]) -> None:
    """The help names every command."""
    assert main([]) == 0
    shown = capsys.readouterr().out
    assert all(command in shown for command in ("demo", "listen", "phrases", "compute"))


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["demo", "--speed", "fast"], 2, "Give a number from 0.1 to 1000, or max."),
        (["demo", "--speed", "nan"], 2, "Give a number from 0.1 to 1000, or max."),
        (["demo", "--from", "nowhere"], 1, "Name a folder with a visit.toml."),
        (["listen", "--as", "anywhere", CLIP], 2, "Choose of: preparation, permission"),
        (["listen", "missing.wav"], 1, "Check the name."),
        (["listen", "."], 1, "Name one recording in it."),
        (["listen", "--model", "nowhere", CLIP], 1, "There is no model folder at nowhere."),
    ],
    ids=["speed", "speed nan", "recording", "state", "no file", "folder", "model"],
)
def test_bad_input_has_one_line_and_a_code(
    arguments: list[str],
    code: int,
    said: str,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What is wrong and what to do, on one line of stderr; 2 for misuse, 1 for failure."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("FOLDCALL_STORE", str(tmp_path / "store.db"))
    assert main(arguments) == code
    shown = capsys.readouterr()
    assert said in shown.err
    assert shown.err.count("\n") == 1
    assert shown.err.startswith("foldcall: ")
    assert shown.out == ""


@pytest.mark.parametrize(
    "content",
    [b"", b"not a database at all, only text " * 40],
    ids=["a folder", "not a store"],
)
def test_a_store_that_cannot_be_used_stops_the_demo(
    content: bytes, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """One line, exit 1, and the file is as it was."""
    store = tmp_path / "store.db"
    if content:
        store.write_bytes(content)
    else:
        store.mkdir()
    assert main(["demo", "--speed", "max", "--store", str(store)]) == 1
    assert capsys.readouterr().err.count("\n") == 1
    assert not content or store.read_bytes() == content


def test_no_command_needs_a_sound_card_or_its_library(tmp_path: Path) -> None:
    """With sounddevice unimportable the package and the demo's commands work all the same."""
    block = "import sys; sys.modules['sounddevice'] = None; from capture.cli import main; "
    run = subprocess.run(
        [sys.executable, "-c", block + f"sys.exit(main(['listen', {CLIP!r}]))"],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
        env={**os.environ, "FOLDCALL_STORE": str(tmp_path / "store.db")},
    )
    assert run.returncode == 0, run.stderr
    assert json.loads(run.stdout)["intent"] == "confirm"


def test_nothing_goes_to_the_network(tmp_path: Path) -> None:
    """The whole demo runs in a process where every socket is refused."""
    block = (
        "import socket, sys\n"
        "def refuse(*_, **__): raise AssertionError('a socket was opened')\n"
        "socket.socket.__init__ = socket.create_connection = socket.getaddrinfo = refuse\n"
        "from capture.cli import main\n"
        f"sys.exit(main(['demo', '--speed', 'max', '--store', {str(tmp_path / 'd.db')!r}]))"
    )
    run = subprocess.run(
        [sys.executable, "-c", block], capture_output=True, text=True, check=False, cwd=tmp_path
    )
    assert run.returncode == 0, run.stderr
    assert "Signed off." in run.stdout
    assert run.stderr == ""


def test_the_phrases_come_from_the_grammar(capsys: pytest.CaptureFixture[str]) -> None:
    """Every state has its heading, and its calls have examples."""
    assert main(["phrases"]) == 0
    shown = capsys.readouterr().out
    assert "While a reading is read back:" in shown
    assert '"yes", "confirm"' in shown


@pytest.mark.skipif(os.name != "posix", reason="pipes are POSIX's")
def test_a_reader_that_has_gone_is_no_error() -> None:
    """`foldcall --help | head -1` ends quietly, as does any other output."""
    ours, theirs = os.pipe()
    os.close(ours)
    for arguments in (["--help"], [], ["compute", "--list"], ["restore", "--help"]):
        run = subprocess.run(
            [sys.executable, "-m", "capture", *arguments],
            stdout=theirs,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
            cwd=Path(__file__).parents[1],
        )
        assert run.stderr == ""
    os.close(theirs)


@pytest.mark.parametrize("store", [".", "/", "d/" * 3000 + "x", "n" * 300, "cli.py/below"])
@pytest.mark.parametrize(
    "command",
    [
        ["clients", "list"],
        ["export", "new.csv"],
        ["backup"],
        ["restore", "none.db"],
        ["merge", "x"],
    ],
    ids=" ".join,
)
def test_what_is_no_store_is_told_in_a_line(
    command: list[str],
    store: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Folders, names that are too long, a file in a folder's place."""
    (tmp_path / "cli.py").write_text("", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert main([*command, "--store", store]) == 1
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("foldcall: ")
