"""The application itself, with piped keys, a silent output and a clock that stands still."""

from collections.abc import Iterator
from dataclasses import dataclass, field

import pytest
from prompt_toolkit.data_structures import Size as TerminalSize
from prompt_toolkit.input import PipeInput, create_pipe_input
from prompt_toolkit.output import ColorDepth, DummyOutput

from capture.language.grammar import Grammar, understand
from capture.road import Road
from capture.screen.app import KEYPAD_SEQUENCES, Screen
from capture.screen.keymap import USUAL, Bindings, bindings_from
from capture.screen.view import Standing, View
from capture.session import Session
from capture.showing import view_of
from capture.sound.voice import SilentVoice
from capture.visit.entry import Entry
from capture.visit.state import Plan, Visit
from capture.wording.english import English


class Terminal(DummyOutput):
    """An output of 80 by 24 that shows nothing."""

    def get_size(self) -> TerminalSize:
        """The size of the screen that is described for two metres."""
        return TerminalSize(rows=24, columns=80)


@dataclass
class Stage:
    """A session on a list for a journal. The clock goes on by a second with every key."""

    grammar: Grammar
    english: English
    plan: Plan
    bindings: Bindings = USUAL
    now_s: float = 0.0
    journal: list[Entry] = field(default_factory=list)

    def __post_init__(self) -> None:
        sites = {site.id for site in self.plan.protocol.sites}
        self.session = Session(
            lambda audience: Road(
                Visit(self.plan), self.grammar, self, audience, lambda: "2026-03-02T12:00:00+01:00"
            ),
            self.english,
            SilentVoice(),
            self.bindings,
            lambda: self.now_s,
            understand=lambda rule, text: understand(
                self.grammar.parser(rule, sites), text.split()
            ),
        )
        self.session.open()

    def append(self, entry: Entry) -> None:
        """Keep an entry."""
        self.journal.append(entry)

    def view(self) -> View:
        """The present view."""
        return view_of(self.session, "Ada Moss", "Bo", {}, None)

    def strike(self, key: str) -> None:
        """Queue a key, and let a second go by before it is taken."""
        self.session.strike(key)
        self.now_s += 1.0
        self.session.drain()

    def drain(self) -> None:
        """Take what waits."""
        self.session.drain()

    def tick(self) -> None:
        """Nothing is due."""
        self.session.tick()

    @property
    def over(self) -> bool:
        """Whether the session is to end."""
        return self.session.over


@pytest.fixture
def keyboard() -> Iterator[PipeInput]:
    """Keys that are piped in."""
    with create_pipe_input() as piped:
        yield piped


@pytest.fixture
def stage(grammar: Grammar, english: English, plan: Plan) -> Stage:
    """A new visit."""
    return Stage(grammar, english, plan)


def press(stage: Stage, keyboard: PipeInput, keys: str) -> Visit:
    """Run the application over these keys, up to Ctrl-C."""
    screen = Screen(stage, input=keyboard, output=Terminal())
    stage.session.wake = screen.wake
    keyboard.send_text(keys + "\x03")
    screen.run()
    return stage.session.visit


TO_THE_FIRST_FOLD = "\r" * 3 + "6 3/4\r\r" * 3


def test_a_visit_is_typed(stage: Stage, keyboard: PipeInput) -> None:
    """Permissions, tape lengths with fractions, two readings, a correction, an undo."""
    visit = press(stage, keyboard, TO_THE_FIRST_FOLD + "8.4\r\r" + "15\r" + "c50\r" + "\r" + "u")
    assert [str(mark.mark) for mark in visit.marks] == ["2 1/4 in", "3 3/8 in", "3 3/8 in"]
    assert [each.value_tenths_mm for each in visit.confirmed] == [84]
    states = [(each.value_tenths_mm, each.state.value) for each in visit.readings]
    assert states == [(84, "confirmed"), (150, "replaced"), (500, "undone")]


def test_a_value_being_typed_does_not_stand_beside_saved(stage: Stage) -> None:
    """While digits are typed the state says so; it is about them and not about the last mark."""
    for key in (*["enter"] * 3, "6", "enter", "enter"):
        stage.strike(key)
    assert stage.view().standing is Standing.SAVED
    stage.strike("7")
    assert stage.view().standing is Standing.TYPED
    assert stage.view().standing_about == ""


def test_a_keypad_in_application_mode_types_digits(stage: Stage, keyboard: PipeInput) -> None:
    """Its three-byte codes are the digits, the point and Enter, and nothing else."""
    code = {
        name if isinstance(name, str) and len(name) == 1 else "enter": sequence
        for sequence, name in KEYPAD_SEQUENCES.items()
    }
    typed = "".join(code[sign] for sign in "12.4") + code["enter"]
    visit = press(stage, keyboard, TO_THE_FIRST_FOLD + typed)
    assert visit.pending is not None
    assert visit.pending.value_tenths_mm == 124


def test_lists_are_chosen_by_number(stage: Stage, keyboard: PipeInput) -> None:
    """Skip with its reason, and another site by its number."""
    visit = press(stage, keyboard, TO_THE_FIRST_FOLD + "s4" + "g7" + "9\r")
    assert [each.reason.value for each in visit.skips] == ["skin"]
    assert visit.pending is not None
    assert visit.pending.target.site == "thigh"


@pytest.mark.parametrize("key", ["\x1bOP", "?"], ids=["F1", "question mark"])
def test_the_help_opens(stage: Stage, keyboard: PipeInput, key: str) -> None:
    """F1 or the question mark; the visit is not touched."""
    press(stage, keyboard, key)
    assert len(stage.view().help) > 15
    assert stage.journal == []


def test_escape_closes_the_help(stage: Stage, keyboard: PipeInput) -> None:
    """And another key after it is that key."""
    press(stage, keyboard, "?\x1b")
    assert stage.view().help == ()


def test_a_pedal_can_be_bound(grammar: Grammar, english: English, plan: Plan) -> None:
    """A pedal that sends F13 grants the first permission."""
    stage = Stage(grammar, english, plan, bindings_from({"confirm": ["f13"]}, "settings.toml"))
    with create_pipe_input() as keyboard:
        assert len(press(stage, keyboard, "\x1b[25~").answers) == 1


def test_leaving_by_key(stage: Stage, keyboard: PipeInput) -> None:
    """Two strokes end the application by themselves."""
    screen = Screen(stage, input=keyboard, output=Terminal())
    stage.session.wake = screen.wake
    keyboard.send_text("qq")
    screen.run()
    assert stage.session.over


def test_a_closed_terminal_ends_the_session(stage: Stage, keyboard: PipeInput) -> None:
    """The input is gone: no error, the journal holds what was struck."""
    screen = Screen(stage, input=keyboard, output=Terminal())
    stage.session.wake = screen.wake
    keyboard.send_text("\r")
    keyboard.close()
    screen.run()
    assert len(stage.journal) <= 1


@pytest.mark.parametrize(
    ("setting", "depth"),
    [
        ({"TERM": "xterm"}, ColorDepth.DEPTH_4_BIT),
        ({"TERM": "xterm", "NO_COLOR": "1"}, ColorDepth.DEPTH_1_BIT),
        ({"TERM": "vt220"}, ColorDepth.DEPTH_1_BIT),
        ({"TERM": "xterm-mono"}, ColorDepth.DEPTH_1_BIT),
    ],
    ids=["colours", "NO_COLOR", "an old terminal", "monochrome"],
)
def test_colours_can_be_refused(
    stage: Stage,
    keyboard: PipeInput,
    monkeypatch: pytest.MonkeyPatch,
    setting: dict[str, str],
    depth: ColorDepth,
) -> None:
    """Bold and reverse are left then; otherwise sixteen colours are the most."""
    monkeypatch.delenv("NO_COLOR", raising=False)
    for name, value in setting.items():
        monkeypatch.setenv(name, value)
    assert Screen(stage, input=keyboard, output=Terminal()).app.color_depth is depth


class OldTerminal(Terminal):
    """One that can write ASCII only."""

    def encoding(self) -> str:
        """As an old terminal says."""
        return "ascii"


@pytest.mark.parametrize(
    ("ascii_only", "output", "ink"),
    [
        (None, Terminal(), "█"),
        (None, OldTerminal(), "#"),
        (True, Terminal(), "#"),
        (False, OldTerminal(), "█"),
    ],
    ids=["blocks", "cannot show blocks", "asked for ASCII", "asked for blocks"],
)
def test_letters_are_drawn_with_what_the_terminal_has(
    stage: Stage, keyboard: PipeInput, ascii_only: bool | None, output: Terminal, ink: str
) -> None:
    """Where the encoding lacks block characters, or the settings say so, with number signs."""
    screen = Screen(stage, input=keyboard, output=output, ascii_only=ascii_only)
    shown = "".join(piece[1] for piece in screen._text())
    assert set(shown) & set("█#") == {ink}


def test_a_fault_is_not_swallowed(stage: Stage, keyboard: PipeInput) -> None:
    """A programming error ends the screen and comes out."""

    def broken() -> None:
        raise RuntimeError("broken")

    stage.drain = broken  # type: ignore[method-assign]
    screen = Screen(stage, input=keyboard, output=Terminal())
    with pytest.raises(RuntimeError, match="broken"):
        screen.run()
