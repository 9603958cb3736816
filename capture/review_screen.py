"""The review on the screen: the list, one visit, and one line to type in."""

from collections.abc import Callable
from typing import Any

from prompt_toolkit.application import Application
from prompt_toolkit.application.current import get_app
from prompt_toolkit.buffer import Buffer
from prompt_toolkit.data_structures import Point
from prompt_toolkit.document import Document
from prompt_toolkit.filters import Condition
from prompt_toolkit.formatted_text import StyleAndTextTuples
from prompt_toolkit.input import Input
from prompt_toolkit.key_binding import KeyBindings, KeyPressEvent
from prompt_toolkit.layout import HSplit, Layout, ScrollOffsets, Window
from prompt_toolkit.layout.controls import BufferControl, FormattedTextControl
from prompt_toolkit.layout.dimension import Dimension
from prompt_toolkit.output import Output

from capture.errors import CaptureError
from capture.report.day import day_lines
from capture.report.details import wrapped
from capture.reviewing import Review
from capture.showable import cut, one_line

_LIST_KEYS = "Enter opens   / finds   q ends"
_VISIT_KEYS = "a amend  w not counting  p play  u undo  s sign off  Tab next  Esc list  q ends"
_FOOT = 6
"""Lines of the screen that are not list, at most."""
_BELOW = 2
_FAR = 1_000_000
_ASKED = {
    "find": "find (empty shows all): ",
    "amend": "value in mm and the reason: ",
    "withdraw": "reason: ",
    "sign": "your name: ",
    "by": "who are you? ",
    "no sound": "remove all kept sound of this visit for good? type yes: ",
}


class Screen:
    """State of the screen beside the review: where the cursor is, and what is typed in."""

    def __init__(self, review: Review, app_input: Input | None, app_output: Output | None) -> None:
        self.review = review
        self.place = 0
        self.told = ""
        self.asking: str | None = None
        self._then: Callable[[str], str] | None = None
        self.typed = Buffer(multiline=False, accept_handler=self._accept)
        self._list = FormattedTextControl(
            self.text, focusable=True, show_cursor=False, get_cursor_position=self._cursor
        )
        typing = Condition(lambda: self.asking is not None)
        # Notes of a reading stand below it, and are to be seen with it.
        self._body = Window(
            self._list, scroll_offsets=ScrollOffsets(bottom=_BELOW), wrap_lines=False
        )
        self._line = Window(BufferControl(self.typed, focusable=typing), height=1)
        layout = Layout(
            HSplit(
                [
                    self._body,
                    Window(
                        FormattedTextControl(self._message),
                        height=Dimension(min=1, max=5),
                        wrap_lines=True,
                        dont_extend_height=True,
                        style="reverse",
                    ),
                    self._line,
                ]
            ),
            focused_element=self._list,
        )
        self.app: Application[None] = Application(
            layout,
            key_bindings=_keys(self, typing),
            full_screen=True,
            input=app_input,
            output=app_output,
        )
        self.app.ttimeoutlen = 0.05

    def text(self) -> StyleAndTextTuples:
        """The list, or the open visit, with the line of the cursor marked."""
        lines = self.lines()
        marked = self._marked(lines)
        return [
            ("reverse" if number == marked else "", f"{line}\n")
            for number, line in enumerate(lines)
        ]

    def lines(self) -> list[str]:
        """What stands on the screen above its foot."""
        size = get_app().output.get_size()
        if self.review.visit is not None:
            return wrapped([one_line(line) for line in self.review.lines()], size.columns)
        rows, top = self.review.rows, self._top(size.rows)
        drawn = day_lines(rows[top : top + size.rows], size.columns, top + 1)
        return [cut(one_line(self.review.counted), size.columns), *drawn]

    def move(self, by: int) -> None:
        """Move the cursor: over visits; in a visit over its readings, then what is below them."""
        count = len(self.review.rows)
        if self.review.visit is not None:
            count = len(self._stops(self.lines()))
        self.place = max(0, min(count - 1, self.place + by))

    def turn(self, pages: int) -> None:
        """Move the cursor by so many screens."""
        self.move(pages * max(1, get_app().output.get_size().rows - _FOOT))

    def home(self) -> None:
        """Move the cursor to the first visit or reading, and show what is above it."""
        self.place = self._body.vertical_scroll = 0

    def open(self) -> None:
        """Open the visit under the cursor."""
        if self.review.visit is None and self.review.rows:
            self._open(self.place)

    def next(self, by: int) -> None:
        """Open the next visit of the list, or the one before."""
        place = self.review.place() + by
        if 0 <= place < len(self.review.rows):
            self._open(place)
        else:
            self.told = "This is the last visit of the list." if by > 0 else "This is the first."

    def close(self) -> None:
        """Back to the list; a question that waits is answered with no."""
        if self.review.pending is not None:
            self.told = self.review.drop()
            return
        if self.review.visit is not None:
            self.place = self.review.place()
        self.review.close()
        self.told = ""

    def number(self) -> int:
        """The number of the reading under the cursor."""
        visit = self.review.visit
        if visit is None or self.place >= len(visit.readings):
            raise CaptureError("No reading is chosen.", "Move the cursor to a reading.")
        return visit.readings[self.place].number

    def playable(self) -> int:
        """The number of the reading or note under the cursor."""
        lines = self.lines()
        head = lines[self._marked(lines)].split(maxsplit=2)[:2]
        if len(head) == 2 and head[0].isdigit() and head[1] == "NOTE":
            return int(head[0])
        return self.number()

    def _open(self, place: int) -> None:
        self.review.open(place + 1)
        self.told = ""
        self.home()

    def ask(self, what: str, then: Callable[[str], str]) -> None:
        """Ask for a line of text, then do something with it."""
        self.asking, self._then = what, then
        self.typed.document = Document("")
        get_app().layout.focus(self._line)

    def do(self, action: Callable[[], str]) -> None:
        """Do something and tell what came of it, or why it cannot be done."""
        try:
            self.told = action()
        except CaptureError as error:
            self.told = str(error)
        if self.review.visit is not None:
            self.move(0)

    def stop_asking(self) -> None:
        """Leave the line that is typed in."""
        self.asking = self._then = None
        get_app().layout.focus(self._list)

    def _accept(self, buffer: Buffer) -> bool:
        then, text = self._then, buffer.text
        self.stop_asking()
        if then is not None:
            self.do(lambda: then(text))
        return False

    def _message(self) -> str:
        if self.asking is not None:
            return _ASKED[self.asking]
        if self.review.pending is not None:
            return f"{one_line(self.review.pending.question)}  y yes   n no"
        if self.review.visit is not None:
            sound = "x no sound   " if self.review.has_sound else ""
            return f"{one_line(self.told)}   {sound}{_VISIT_KEYS}".strip()
        told = self.told
        if not told and self.place < len(self.review.rows):
            told = self.review.rows[self.place].told
        return f"{one_line(told)}\n{_LIST_KEYS}".strip()

    def _top(self, height: int) -> int:
        """The first visit of the list that is drawn: of thousands, only a screenful is."""
        return max(0, self.place - height // 2)

    def _stops(self, lines: list[str]) -> list[int]:
        """The lines of a visit at which the cursor stops: its readings, and all below them."""
        numbers = [each.number for each in self.review.visit.readings] if self.review.visit else []
        found: list[int] = []
        for place, line in enumerate(lines):
            # A line of a reading begins with its number, right-aligned in five places.
            if len(found) < len(numbers) and line.startswith(f"{numbers[len(found)]:>5} "):
                found.append(place)
        return [*found, *range(found[-1] + 1 if found else 0, len(lines))]

    def _marked(self, lines: list[str]) -> int:
        if self.review.visit is None:
            top = self._top(get_app().output.get_size().rows)
            return self.place - top + 1 if self.review.rows else -1
        stops = self._stops(lines)
        return stops[min(self.place, len(stops) - 1)] if stops else -1

    def _cursor(self) -> Point:
        return Point(0, max(0, self._marked(self.lines())))


def _keys(screen: Screen, typing: Condition) -> KeyBindings:
    keys = KeyBindings()
    free = ~typing
    asked = Condition(lambda: screen.review.pending is not None)
    in_visit = Condition(lambda: screen.review.visit is not None)

    def on(*names: str, when: Any = free & ~asked) -> Callable[[Callable[[], None]], None]:
        def bind(action: Callable[[], None]) -> None:
            for name in names:

                @keys.add(name, filter=when, eager=True)
                def _(_: KeyPressEvent) -> None:
                    action()

        return bind

    on("up", "k")(lambda: screen.move(-1))
    on("down", "j")(lambda: screen.move(1))
    on("pageup")(lambda: screen.turn(-1))
    on("pagedown")(lambda: screen.turn(1))
    on("home")(screen.home)
    on("end")(lambda: screen.move(_FAR))
    on("enter")(screen.open)
    on("q", "c-c", when=free)(lambda: get_app().exit())
    on("escape", "left", when=free)(screen.close)
    on("escape", "c-c", when=typing)(screen.stop_asking)
    on("y", when=free & asked)(lambda: screen.do(screen.review.confirm))
    on("n", when=free & asked)(lambda: screen.do(screen.review.drop))
    ready = free & ~asked & in_visit
    on("/", when=free & ~in_visit)(lambda: screen.ask("find", lambda text: _find(screen, text)))
    on("a", when=ready)(lambda: _named(screen, "amend", lambda text: _amend(screen, text)))
    on("w", when=ready)(
        lambda: _named(
            screen, "withdraw", lambda text: screen.review.withdraw(screen.number(), text)
        )
    )
    on("p", when=ready)(lambda: screen.do(lambda: screen.review.play(screen.playable())))
    on("tab", when=ready)(lambda: screen.next(1))
    on("s-tab", when=ready)(lambda: screen.next(-1))
    on("x", when=ready)(lambda: screen.ask("no sound", lambda text: _no_sound(screen, text)))
    on("u", when=ready)(lambda: screen.do(screen.review.undo))
    on("s", when=ready)(lambda: screen.ask("sign", screen.review.sign))
    return keys


def _named(screen: Screen, what: str, then: Callable[[str], str]) -> None:
    """Ask who it is first, if that is not known; then for the rest."""
    if screen.review.by_name.strip():
        screen.ask(what, then)
        return

    def known(text: str) -> str:
        screen.review.by_name = text
        if text.strip():
            screen.ask(what, then)
        return ""

    screen.ask("by", known)


def _amend(screen: Screen, text: str) -> str:
    value, _, reason = text.strip().partition(" ")
    return screen.review.amend(screen.number(), value, reason)


def _no_sound(screen: Screen, text: str) -> str:
    return screen.review.remove_sound() if text.strip() == "yes" else "Nothing was removed."


def _find(screen: Screen, text: str) -> str:
    screen.review.filter = text
    screen.place = 0
    return ""


def run_screen(
    review: Review, app_input: Input | None = None, app_output: Output | None = None
) -> None:
    """Show the review until it is ended."""
    Screen(review, app_input, app_output).app.run()
