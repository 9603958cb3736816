"""Keys that are no calls: the help, keypad only, push to talk, leaving."""

from collections.abc import Iterator
from dataclasses import dataclass

from capture.protocol.pictures import text_lines
from capture.screen.keymap import Action, Bindings, help_pages
from capture.shown import Shown
from capture.talking import Talk
from capture.visit.setups import site_at_hand
from capture.visit.state import Visit

LEAVE_S = 4.0
"""The second stroke that leaves must come within this."""


@dataclass(frozen=True, slots=True)
class Switched:
    """What a switch asks for: a line to show, to listen anew, to hush the voice, to end.

    `asks`: what follows is meant for the present question.
    """

    notice: str = ""
    listen: bool = False
    hush: bool = False
    over: bool = False
    asks: bool = False


class Switches:
    """Holds what is switched: `talk`, and in `shown` the help, the muted ear, the leaving."""

    def __init__(self, shown: Shown, bindings: Bindings, talk: Talk) -> None:
        self.talk = talk
        self._shown = shown
        self._pages = len(help_pages(bindings))
        self._leave_before_s = 0.0

    def press(self, action: Action, now_s: float, *, signed: bool) -> Switched:
        """Take one of these keys; `signed`: the visit is closed."""
        shown = self._shown
        match action:
            case Action.HELP:
                # After the keys the picture, after the picture none.
                shown.help = (shown.help + 1) % (self._pages + 2)
            case Action.CANCEL:
                shown.help = 0
            case Action.MUTE:
                shown.muted = not shown.muted
                return Switched("Keypad only." if shown.muted else "Listening again.", listen=True)
            case Action.TALK:
                return self._press_talk(now_s)
            case Action.QUIT:
                if signed or shown.leaving:
                    return Switched(over=True)
                shown.leaving = True
                self._leave_before_s = now_s + LEAVE_S
                return Switched("Strike it again to leave. The visit goes on at the next start.")
            case _:
                pass
        return Switched()

    def tick(self, now_s: float) -> Switched:
        """End what lasts only a while."""
        before, self.talk = self.talk, self.talk.at(now_s)
        if self._shown.leaving and now_s >= self._leave_before_s:
            self._shown.leaving = False
        if before.open and not self.talk.open:
            return Switched("The talk key listened long enough.", listen=True)
        return Switched()

    def _press_talk(self, now_s: float) -> Switched:
        if not self.talk.pushed:
            return Switched("It listens all the time. Start with --push-to-talk for this key.")
        self.talk = self.talk.press(now_s)
        return Switched(listen=True, hush=True, asks=True)


def help_told(bindings: Bindings, visit: Visit) -> Iterator[str]:
    """The whole help in lines: the keys, then the site at hand."""
    for keys, does, spoken in (line for page in help_pages(bindings) for line in page):
        yield f"{keys}: {does}" + (f' ("{spoken}")' if spoken else "")
    yield from text_lines(site_at_hand(visit))
