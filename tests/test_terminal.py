"""The installed program in a real pseudo-terminal."""

import os
import re
import signal
import sys
import time
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import pytest

from capture.begin import Wish, open_visit
from capture.screen import blocks
from capture.store import open_store
from capture.visit.state import Visit

pexpect = pytest.importorskip("pexpect", reason="a pseudo-terminal is needed")
pyte = pytest.importorskip("pyte")
if sys.platform == "win32":
    pytest.skip("pseudo-terminals are of Unix", allow_module_level=True)

LONGEST_S = 30.0
CLIENT = "Rowan Alderby"
TO_THE_FIRST_FOLD = ("\r", "\r", "\r", "\r", *(("6 3/4\r", "\r") * 3))


class Terminal:
    """The program on a screen of a given size; keys go in, what is shown comes out."""

    def __init__(self, folder: Path, columns: int = 80, rows: int = 24, **environment: str) -> None:
        self.store = folder / "visits.db"
        self.screen = pyte.Screen(columns, rows)
        self._stream = pyte.ByteStream(self.screen)
        people = ["--client", CLIENT, "--assessor", "Tobias Quill", "--sex", "male", "--age", "34"]
        options = ["--store", str(self.store), "--no-microphone", "--silent"]
        self.child = pexpect.spawn(
            sys.executable,
            ["-m", "capture", "measure", *people, *options],
            dimensions=(rows, columns),
            timeout=LONGEST_S,
            env={
                **os.environ,
                "TERM": "xterm-256color",
                "FOLDCALL_SETTINGS": str(folder / "settings.toml"),
                "XDG_STATE_HOME": str(folder),
                **environment,
            },
        )
        self.raw = b""

    @property
    def text(self) -> str:
        """What is on the screen now."""
        return "\n".join(self.screen.display)

    def until(self, holds: Callable[[str], bool]) -> str:
        """Wait until the screen shows this; the screen."""
        give_up = time.monotonic() + LONGEST_S
        while not holds(self.text):
            assert time.monotonic() < give_up, f"not on the screen:\n{self.text}"
            try:
                seen = self.child.read_nonblocking(4096, timeout=0.2)
            except pexpect.TIMEOUT:
                continue
            self.raw += seen
            self._stream.feed(seen)
        return self.text

    def shows(self, words: str) -> str:
        """Wait until these words are on the screen."""
        return self.until(lambda text: words in text)

    def type(self, *keys: str) -> None:
        """Type keys, looking at the screen after each until it stands still."""
        self.shows("Say:")
        for key in keys:
            before = self.text
            self.child.send(key)
            self.until(lambda text, before=before: text != before)
            self.rest()

    def rest(self) -> None:
        """Read on until nothing has come for as long as a bounce of a key may last."""
        while True:
            try:
                seen = self.child.read_nonblocking(4096, timeout=0.25)
            except (pexpect.TIMEOUT, pexpect.EOF):
                return
            self.raw += seen
            self._stream.feed(seen)

    def ended(self) -> int | None:
        """Wait for the program to end; its exit code, None if a signal ended it."""
        while True:
            try:
                self.child.read_nonblocking(4096, timeout=LONGEST_S)
            except pexpect.EOF:
                break
        self.child.wait()
        return self.child.exitstatus


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Callable[..., Terminal]]:
    """Starts the program; what is still running at the end is killed."""
    started: list[Terminal] = []

    def start(columns: int = 80, rows: int = 24, **environment: str) -> Terminal:
        started.append(Terminal(tmp_path, columns, rows, **environment))
        return started[-1]

    yield start
    for each in started:
        each.child.close(force=True)


def stored(store: Path) -> Visit:
    """The unfinished visit as the store has it."""
    with open_store(store, create=False) as opened:
        return open_visit(opened, Wish(CLIENT, ""), date(2026, 3, 2), "").visit


def test_a_visit_outlives_a_kill(terminal: Callable[..., Terminal]) -> None:
    """Killed in mid-visit: the next start has each confirmed reading and the pending one."""
    first = terminal()
    first.shows("Caliper wiped")
    first.type(*TO_THE_FIRST_FOLD)
    for value in ("8.4", "11", "10.6"):
        first.type(f"{value}\r", "\r")
    first.type("15\r")
    first.shows("subscapular, fifteen: one five")
    first.child.kill(signal.SIGKILL)
    assert first.ended() is None
    again = terminal()
    shown = again.shows("goes on where it was left")
    assert "subscapular, fifteen: one five" in shown
    assert blocks.large("15.0", 2)[0] in shown
    for value in ("8.4", "11.0", "10.6", "15.0?"):
        assert value in shown
    again.type("\r")
    again.shows("abdominal, first circuit.")
    again.type("qq")
    assert again.ended() == 0
    values = [each.value_tenths_mm for each in stored(again.store).confirmed]
    assert values == [84, 110, 106, 150]


@pytest.mark.slow
def test_a_whole_visit_is_typed_and_signed_off(terminal: Callable[..., Terminal]) -> None:
    """From the first permission to the end, with a third where two disagree."""
    program = terminal()
    program.shows("Caliper wiped")
    program.type(*TO_THE_FIRST_FOLD)
    for value in ("8.4", "11", "10.6", "15", "22", "11", "9", "8.4", "11", "15"):
        program.type(f"{value}\r", "\r")
    for value in ("15", "22", "11", "9"):
        program.type(f"{value}\r", "\r")
    program.shows("triceps, a third")
    program.type("11\r", "\r")
    program.shows("sign off")
    program.type("o", "q")
    assert program.ended() == 0
    with open_store(program.store, create=False) as store:
        assert store.open_visits() == []
        (row,) = store.visits()
        assert len(store.results(row.id)) == 1


@pytest.mark.parametrize("name", ["SIGHUP", "SIGTERM"])
def test_a_closed_terminal_closes_cleanly(terminal: Callable[..., Terminal], name: str) -> None:
    """What was keyed is in the store; the program ends by itself, without a traceback."""
    program = terminal()
    program.shows("Caliper wiped")
    program.type("\r", "\r")
    program.child.kill(getattr(signal, name))
    assert program.ended() == 0
    assert len(stored(program.store).answers) == 1


def test_ctrl_c_leaves_at_once(terminal: Callable[..., Terminal]) -> None:
    """The terminal is as before, and the visit is kept."""
    program = terminal()
    program.shows("Caliper wiped")
    program.type("\r", "\r")
    program.child.send("\x03")
    assert program.ended() == 0
    assert len(stored(program.store).answers) == 1


def test_the_screen_follows_the_terminal(terminal: Callable[..., Terminal]) -> None:
    """Made small and large again in mid-visit."""
    program = terminal()
    program.shows("Caliper wiped")
    program.type(*TO_THE_FIRST_FOLD)
    program.screen.resize(12, 40)
    program.child.setwinsize(12, 40)
    program.until(lambda text: text.startswith(" CHEST"))
    program.screen.resize(40, 120)
    program.child.setwinsize(40, 120)
    program.shows(blocks.large("chest", 4, 2)[0])


def test_no_colour_where_none_is_wanted(terminal: Callable[..., Terminal]) -> None:
    """NO_COLOR: no colour code is sent, and the words are the same."""
    program = terminal(NO_COLOR="1")
    program.shows("Caliper wiped")
    program.type(*TO_THE_FIRST_FOLD, "50\r")
    program.shows("unusual for this site")
    looks = re.findall(rb"\x1b\[([0-9;]*)m", program.raw)
    assert {part for look in looks for part in look.split(b";")} <= {b"", b"0", b"1", b"7"}
