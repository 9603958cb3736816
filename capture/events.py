"""What happens in a session, told to its screen and to whoever watches it line by line.

The road's audience: calls that came in, and what the program announces.
"""

from collections.abc import Iterable

from capture.inputs import Watcher, Wording
from capture.recognise.port import Heard
from capture.shown import Shown
from capture.visit.announcement import Announcement
from capture.visit.call import Call
from capture.visit.entry import Source
from capture.visit.state import Visit
from capture.wording.lists import menu_words


class Events:
    """Collects the call and the announcements of one step; they are spoken as one."""

    def __init__(self, shown: Shown, wording: Wording, watcher: Watcher | None) -> None:
        self.called: Call | None = None
        """The call of this step, None while nothing came in."""
        self.announced: list[Announcement] = []
        self._shown = shown
        self._wording = wording
        self._watcher = watcher

    def begin(self) -> None:
        """Another step begins."""
        self.announced, self.called = [], None

    @property
    def words(self) -> list[str]:
        """What this step says, in words."""
        return [self._wording.say(each) for each in self.announced]

    @property
    def is_watched(self) -> bool:
        """Whether somebody wants each event as a line."""
        return self._watcher is not None

    def heard(self, call: Call) -> None:
        """Show a call that came in."""
        self.called = call
        sure = "" if call.confidence is None else f" ({call.confidence:.0%})"
        came = "heard" if call.source is Source.VOICE else "keyed"
        self._shown.heard = f"{came}: {call.words}{sure}"
        self._shown.note(self._shown.heard)
        if self._watcher is not None:
            self._watcher.heard(call)

    def ignored(self, heard: Heard) -> None:
        """Other speech: nothing is taken."""
        self._shown.heard = "heard: other speech, nothing taken"
        if self._watcher is not None:
            self._watcher.ignored(heard)

    def said(self, announcement: Announcement, visit: Visit) -> None:
        """The program announces this."""
        self.announced.append(announcement)
        self._shown.note(self._wording.say(announcement))
        if self._watcher is not None:
            self._watcher.said(announcement, visit)

    def notice(self, text: str) -> None:
        """Show a line about something other than a call."""
        self._shown.notice = text
        self._shown.note(text)
        self.tell([text])

    def tell(self, lines: Iterable[str]) -> None:
        """Tell whoever watches; the screen shows it in another way."""
        if self._watcher is not None:
            for line in lines:
                self._watcher.noticed(line)

    def tell_list(self, visit: Visit) -> None:
        """Tell the list that is open, also one that is open by itself."""
        self.tell(menu_words(self._shown.entry, visit))
