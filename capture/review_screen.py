"""The review on the screen: the list, one visit, and one line to type in."""

from collections.abc import Callable
from typing import Any

from prompt_toolkit.application import Application
from prompt_toolkit.application.current import get_app
from prompt_toolkit.buffer import Buffer
from prompt_toolkit.document import Document
from prompt_toolkit.filters import Condition
from prompt_toolkit.formatted_text import StyleAndTextTuples
from prompt_toolkit.input import Input
from prompt_toolkit.key_binding import KeyBindings, KeyPressEvent
from prompt_toolkit.layout import HSplit, Layout, Window
from prompt_toolkit.layout.controls import BufferControl, FormattedTextControl
from prompt_toolkit.layout.dimension import Dimension
from prompt_toolkit.output import Output

from capture.errors import CaptureError
from capture.report.day import day_lines
from capture.reviewing import Review
from capture.showable import cut, one_line

_LIST_KEYS = "Enter opens   / finds   q ends"
_VISIT_KEYS = "a amend   w not counting   p play   u undo   s sign off   Esc list   q ends"
_ASKED = {
    "find": "find (empty shows all): ",
    "amend": "value in mm and the reason: ",
    "withdraw": "reason: ",
    "sign": "your name: ",
    "by": "who are you? ",
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
        self._list = FormattedTextControl(self.text, focusable=True, show_cursor=False)
        typing = Condition(lambda: self.asking is not None)
        body = Window(self._list, get_vertical_scroll=self._scroll, wrap_lines=False)
        self._line = Window(BufferControl(self.typed, focusable=typing), height=1)
        layout = Layout(
            HSplit(
                [
                    body,
                    Window(
                        FormattedTextControl(self._message),
                        height=Dimension(min=1, max=4),
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
        found: StyleAndTextTuples = []
        for number, line in enumerate(self.lines()):
            style = "reverse" if number == self._marked() else ""
            found.append((style, f"{line}\n"))
        return found

    def lines(self) -> list[str]:
        """What stands on the screen above the two lines at its foot."""
        size = get_app().output.get_size()
        width = size.columns
        if self.review.visit is None:
            rows, top = self.review.rows, self._top(size.rows)
            return day_lines(rows[top : top + size.rows], width, top + 1) or ["No visit."]
        return [cut(one_line(line), width) for line in self.review.lines()]

    def move(self, by: int) -> None:
        """Move the cursor: over visits, or over the readings of one."""
        count = len(self.review.rows)
        if self.review.visit is not None:
            count = len(self.review.visit.readings)
        self.place = max(0, min(count - 1, self.place + by))

    def open(self) -> None:
        """Open the visit under the cursor."""
        if self.review.visit is None and self.review.rows:
            self.review.open(self.place + 1)
            self.place = 0
            self.told = ""

    def close(self) -> None:
        """Back to the list; a question that waits is answered with no."""
        if self.review.pending is not None:
            self.told = self.review.drop()
            return
        self.review.close()
        self.place, self.told = 0, ""

    def number(self) -> int:
        """The number of the reading under the cursor."""
        visit = self.review.visit
        if visit is None or not visit.readings:
            raise CaptureError("No reading is chosen.", "Open a visit first.")
        return visit.readings[self.place].number

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
            return one_line(f"{self.review.pending.question}  y yes   n no")
        keys = _LIST_KEYS if self.review.visit is None else _VISIT_KEYS
        return one_line(f"{self.told}   {keys}".strip())

    def _top(self, height: int) -> int:
        """The first visit of the list that is drawn: of thousands, only a screenful is."""
        return max(0, self.place - height // 2)

    def _marked(self) -> int:
        if self.review.visit is None:
            return self.place - self._top(get_app().output.get_size().rows)
        number = next((each.number for each in self.review.visit.readings[self.place :]), None)
        for place, line in enumerate(self.review.lines()):
            # A line of a reading begins with its number, right-aligned in five places.
            if number is not None and line.startswith(f"{number:>5} "):
                return place
        return -1

    def _scroll(self, window: Any) -> int:
        if self.review.visit is None:
            return 0
        height = window.render_info.window_height if window.render_info else 20
        return max(0, self._marked() - height // 2)


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
    on("pageup")(lambda: screen.move(-20))
    on("pagedown")(lambda: screen.move(20))
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
    on("p", when=ready)(lambda: screen.do(lambda: screen.review.play(screen.number())))
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


def _find(screen: Screen, text: str) -> str:
    screen.review.filter = text
    screen.place = 0
    return f"{len(screen.review.rows)} visits"


def run_screen(
    review: Review, app_input: Input | None = None, app_output: Output | None = None
) -> None:
    """Show the review until it is ended."""
    Screen(review, app_input, app_output).app.run()
