"""One line an event."""

from dataclasses import replace
from typing import Any

import pytest

from capture.language.intents import Confirm
from capture.recognise.port import Heard
from capture.recognise.scripted import spoken
from capture.road import Road
from capture.screen.plain import PlainScreen, progress
from capture.visit.state import Confirmation, Plan, Visit
from capture.wording.english import English


@pytest.fixture
def lines(desk: Any, english: English) -> list[str]:
    """The lines of a screen that sits at the desk."""
    written: list[str] = []
    screen = PlainScreen(written.append, english, lambda: 61.9)
    desk.road = Road(desk.visit, desk.grammar, desk, screen, lambda: desk.now)
    return written


def test_a_reading_from_call_to_save(desk: Any, lines: list[str]) -> None:
    """Heard, read back to be confirmed, saved: each is one line with its time and mark."""
    desk.marked()
    lines.clear()
    desk.say("eight point four", confidence=0.98).key(Confirm())
    assert [line[:17] for line in lines] == [
        "01:01  heard     ", "01:01  confirm?  ", "01:01  keyed     ", "01:01  SAVED     ",
        "01:01  >         ",
    ]  # fmt: skip
    assert '"eight point four"' in lines[0]
    assert "98%" in lines[0]
    assert "chest 8.4 mm" in lines[1]
    assert "chest 8.4 mm" in lines[3]
    assert "1 of 14" in lines[3]


def test_nothing_says_saved_before_it_is(desk: Any, lines: list[str]) -> None:
    """The word SAVED comes with confirmations only."""
    desk.permitted()
    assert not any("SAVED" in line for line in lines)
    desk.say("seven")
    assert "confirm?" in lines[-1]
    desk.say("yes")
    assert sum("SAVED" in line for line in lines) == 1
    desk.say("mumble mumble", "seven", "no", "undo")
    assert sum("SAVED" in line for line in lines) == 1


def test_what_is_refused_is_marked(desk: Any, lines: list[str]) -> None:
    """A call that was understood and not done, or not understood, stands out."""
    desk.marked().say("ninety")
    assert lines[-2].startswith("01:01  refused   90.0 is wider")
    desk.say("fifty fifteen")
    assert lines[-2].startswith("01:01  refused   Two numbers.")


def test_other_speech_shows_how_long_it_was(desk: Any, lines: list[str]) -> None:
    """Chatter is shown as seconds, never as words."""
    desk.road.hear(replace(spoken("[unk] secret"), start_s=1.0, end_s=3.5))
    assert lines == ["01:01  -         2.5 s of other speech, nothing taken"]
    desk.road.hear(Heard((), 0.0, (), 0.0, 1.0))
    assert len(lines) == 2


def test_progress_grows_to_the_end(measuring: Any) -> None:
    """The bar fills as readings are saved, and a third that falls due lengthens the way."""
    seen = [progress(measuring.visit)]
    for value in ["twelve"] * 13 + ["fifteen", "fourteen"]:
        measuring.say(value, "yes")
        seen.append(progress(measuring.visit))
    figures = [text.partition("] ")[2] for text in seen]
    assert figures[:14] == [f"{n} of 14" for n in range(14)]
    assert figures[14:] == ["14 of 15", "15 of 15"]
    assert seen[0].count("#") == 0
    assert "." not in seen[-1]
    assert len({text.index("]") for text in seen}) == 1


def test_progress_of_a_new_visit(plan: Plan) -> None:
    """A new visit has nothing done."""
    assert progress(Visit(plan)).endswith("0 of 14")


def test_the_way_is_told_without_a_drawing(desk: Any, english: English) -> None:
    """A row of number signs read aloud says nothing: the figures alone do."""
    written: list[str] = []
    screen = PlainScreen(written.append, english, lambda: 0.0, bar=False)
    desk.marked().say("eight point four")
    desk.road = Road(desk.visit, desk.grammar, desk, screen, lambda: desk.now)
    desk.say("yes")
    saved = next(line for line in written if "SAVED" in line)
    assert saved.endswith("1 of 14")
    assert "#" not in saved


def test_a_reading_that_goes_through_is_told_so(desk: Any, lines: list[str], plan: Plan) -> None:
    """In call-through the line says that the next site is enough."""
    desk.marked()
    through = replace(plan, confirmation=Confirmation.CALL_THROUGH)
    desk.road.visit = replace(desk.visit, plan=through)
    lines.clear()
    desk.say("chest eight point four")
    assert any(line.startswith("01:01  next?") for line in lines)
