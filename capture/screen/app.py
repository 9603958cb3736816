"""The full-screen program: keys in, the rendered view out. The only module with prompt_toolkit.

Handlers and callbacks only queue or draw. What the keys and the sound lead to happens in
`Stage.drain`, always in this thread.
"""

import asyncio
import errno
import os
import signal
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace
from typing import Any, Protocol

from prompt_toolkit.application import Application
from prompt_toolkit.formatted_text import StyleAndTextTuples
from prompt_toolkit.input import Input
from prompt_toolkit.input.ansi_escape_sequences import ANSI_SEQUENCES
from prompt_toolkit.key_binding import KeyBindings, KeyPressEvent
from prompt_toolkit.keys import Keys
from prompt_toolkit.layout import FormattedTextControl, Layout, Window
from prompt_toolkit.output import ColorDepth, Output
from prompt_toolkit.styles import Style

from capture.screen.blocks import ASCII_INK, can_encode
from capture.screen.render import STYLES, Line, Size, render
from capture.screen.view import View

TICK_S = 0.1
ESCAPE_S = 0.05
"""How long an Escape waits for the rest of a sequence."""

KEYPAD_SEQUENCES = {
    **{f"\x1bO{chr(ord('p') + n)}": str(n) for n in range(10)},
    "\x1bOn": ".",
    "\x1bOl": ",",
    "\x1bOj": "*",
    "\x1bOk": "+",
    "\x1bOm": "-",
    "\x1bOo": "/",
    "\x1bOM": Keys.ControlM,
}
"""What a keypad sends in application mode (xterm control sequences, VT220-style keypad)."""

_NAMES = {
    Keys.ControlM: "enter",
    Keys.ControlJ: "enter",
    Keys.ControlH: "backspace",
    Keys.ControlI: "tab",
    " ": "space",
}
_NOT_KEYS = {
    Keys.CPRResponse,
    Keys.Vt100MouseEvent,
    Keys.WindowsMouseEvent,
    Keys.ScrollUp,
    Keys.ScrollDown,
    Keys.Ignore,
}


_TERMINAL_GONE = {errno.EIO, errno.EPIPE, errno.EBADF}
"""What writing to a terminal gives whose window was closed."""


def _is_monochrome(environment: Mapping[str, str]) -> bool:
    """Whether the terminal says of itself that it has no colours (names of terminfo)."""
    name = environment.get("TERM", "")
    return name in {"dumb", "vt52", "vt100", "vt102", "vt220"} or name.endswith(("-m", "-mono"))


Drawing = Callable[[Any, Size, bool], tuple[Line, ...]]
"""Lines for a view and a size; the last says whether large letters are drawn in ASCII."""


def draw_visit(shown: View, size: Size, ascii_only: bool) -> tuple[Line, ...]:
    """The drawing of a visit."""
    return render(replace(shown, ink=ASCII_INK) if ascii_only else shown, size)


class Stage(Protocol):
    """What the screen shows and feeds."""

    def view(self) -> Any:
        """What is to be seen now, as the screen's drawing takes it."""
        ...

    def strike(self, key: str) -> None:
        """Queue a key by its name in the table of keys."""
        ...

    def drain(self) -> None:
        """Take all that waits."""
        ...

    def tick(self) -> None:
        """Do what the time asks for."""
        ...

    @property
    def over(self) -> bool:
        """Whether the session is to end."""
        ...


class Screen:
    """The application around a stage. `input` and `output` are the terminal unless given.

    `draw` makes lines of the stage's views, a visit's unless given. `ascii_only`: the large letters
    are drawn without block characters; None: where the terminal's encoding lacks them. `colour`
    None: unless NO_COLOR is set.
    """

    def __init__(
        self,
        stage: Stage,
        *,
        draw: Drawing = draw_visit,
        input: Input | None = None,
        output: Output | None = None,
        colour: bool | None = None,
        ascii_only: bool | None = None,
    ) -> None:
        self._stage = stage
        self._draw = draw
        self._shown: Any = None
        self._loop: asyncio.AbstractEventLoop | None = None
        ANSI_SEQUENCES.update(KEYPAD_SEQUENCES)  # type: ignore[arg-type]
        self._ascii_only = ascii_only
        if colour is None:
            colour = not os.environ.get("NO_COLOR") and not _is_monochrome(os.environ)
        self.app: Application[None] = Application(
            layout=Layout(
                Window(FormattedTextControl(self._text), always_hide_cursor=True, wrap_lines=False)
            ),
            key_bindings=self._bindings(),
            style=Style.from_dict(STYLES),
            full_screen=True,
            color_depth=ColorDepth.DEPTH_4_BIT if colour else ColorDepth.DEPTH_1_BIT,
            input=input,
            output=output,
        )
        self.app.ttimeoutlen = ESCAPE_S
        self.app.timeoutlen = ESCAPE_S

    def run(self) -> None:
        """Show the stage until it is over or the terminal goes away."""
        try:
            self.app.run(pre_run=self._begin, set_exception_handler=False)
        except EOFError:
            pass
        except OSError as error:
            if error.errno not in _TERMINAL_GONE:
                raise

    def wake(self) -> None:
        """Something was queued. May be called from any thread, before and after the run."""
        loop = self._loop
        if loop is not None:
            with suppress(RuntimeError):  # the loop is closed: the session has ended
                loop.call_soon_threadsafe(self._drain)

    def _begin(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._loop.set_exception_handler(self._failed)
        for name in ("SIGHUP", "SIGTERM"):
            with suppress(AttributeError, NotImplementedError, RuntimeError, ValueError):
                self._loop.add_signal_handler(getattr(signal, name), self._leave)
        self.app.create_background_task(self._tick())
        self._loop.call_soon(self._drain)

    async def _tick(self) -> None:
        while True:
            await asyncio.sleep(TICK_S)
            self._stage.tick()
            self._refresh()

    def _drain(self) -> None:
        try:
            self._stage.drain()
        except Exception as error:
            if self.app.is_running:
                self.app.exit(exception=error)
            return
        if self._stage.over:
            self._leave()
        else:
            self._refresh()

    def _failed(self, _: asyncio.AbstractEventLoop, found: dict[str, Any]) -> None:
        """End with the error: asyncio would write it out, with all that its message holds."""
        error = found.get("exception")
        if isinstance(error, Exception) and self.app.is_running:
            self.app.exit(exception=error)

    def _refresh(self) -> None:
        # Drawing costs more than looking: an unchanged view is not drawn again.
        if self._stage.view() != self._shown:
            self.app.invalidate()

    def _leave(self) -> None:
        with suppress(Exception):  # it may be leaving already
            self.app.exit()

    def _text(self) -> StyleAndTextTuples:
        size = self.app.output.get_size()
        self._shown = self._stage.view()
        ascii_only = self._draws_ascii()
        lines = self._draw(self._shown, Size(size.columns, size.rows), ascii_only)
        pieces: StyleAndTextTuples = []
        for line in lines:
            pieces += [*line, ("", "\n")]
        return pieces[:-1]

    def _draws_ascii(self) -> bool:
        if self._ascii_only is not None:
            return self._ascii_only
        return not can_encode(self.app.output.encoding())

    def _bindings(self) -> KeyBindings:
        bindings = KeyBindings()

        def leave(_: KeyPressEvent) -> None:
            self._leave()

        def struck(event: KeyPressEvent) -> None:
            key = event.key_sequence[0].key
            if key not in _NOT_KEYS:
                self._stage.strike(_NAMES.get(key, key.value if isinstance(key, Keys) else key))

        bindings.add(Keys.ControlC)(leave)
        bindings.add(Keys.SIGINT)(leave)
        bindings.add(Keys.Escape, eager=True)(struck)
        bindings.add(Keys.Any)(struck)
        return bindings
