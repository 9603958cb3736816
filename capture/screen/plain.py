"""One line an event: for the demo, for a log on paper, for a screen reader."""

from collections.abc import Callable

from capture.recognise.port import Heard
from capture.screen.view import View
from capture.showable import one_line
from capture.units import millimetres
from capture.visit.announcement import (
    Announcement,
    AskReading,
    ReadBack,
    ReadBackTape,
    Refused,
    Saved,
    SavedTape,
    SayAgain,
)
from capture.visit.call import Call
from capture.visit.entry import Source
from capture.visit.state import Target, Visit
from capture.wording.english import English

_BAR_WIDTH = 14


class PlainScreen:
    """Writes what happens, one line at a time.

    `write` takes a line without its end; `clock_s` gives the seconds shown at its left. `bar`:
    the way done is drawn as well; whoever has the lines read aloud does without.
    """

    def __init__(
        self,
        write: Callable[[str], None],
        wording: English,
        clock_s: Callable[[], float],
        *,
        bar: bool = True,
    ) -> None:
        self._write = write
        self._wording = wording
        self._clock_s = clock_s
        self._bar = bar

    def heard(self, call: Call) -> None:
        """Show what came in, as it was heard or keyed."""
        if call.source is Source.VOICE:
            sure = "" if call.confidence is None else f"   {call.confidence:4.0%}"
            self._line("heard", f'"{call.words}"{sure}')
        else:
            self._line("keyed", call.words)

    def ignored(self, heard: Heard) -> None:
        """Show that there was speech and nothing was taken."""
        self._line("-", f"{heard.end_s - heard.start_s:.1f} s of other speech, nothing taken")

    def noticed(self, text: str) -> None:
        """Show a word about keys, sound or store."""
        self._line("!", text)

    def said(self, announcement: Announcement, visit: Visit) -> None:
        """Show what the program says."""
        text = self._wording.say(announcement)
        match announcement:
            case ReadBack(site, _, value, _):
                name = self._wording.site(site)
                mark = "next?" if announcement.goes_through else "confirm?"
                self._line(mark, f"{name} {millimetres(value)} mm   {text}")
            case ReadBackTape():
                self._line("confirm?", text)
            case Saved(site, value):
                name = self._wording.site(site)
                way = progress(visit) if self._bar else progress(visit).rpartition("] ")[2]
                self._line("SAVED", f"{name} {millimetres(value)} mm   {way}")
            case SavedTape():
                self._line("SAVED", text)
            case Refused() | SayAgain():
                self._line("refused", text)
            case AskReading():
                self._line(">", text)
            case _:
                self._line(">", text)

    def _line(self, mark: str, text: str) -> None:
        minutes, seconds = divmod(int(self._clock_s()), 60)
        self._write(one_line(f"{minutes:02d}:{seconds:02d}  {mark:<8}  {text}"))


def status_lines(view: View) -> tuple[str, ...]:
    """What the screen would show, in sentences: for those who have it read aloud."""
    now = " ".join(part for part in (view.value, str(view.standing), view.standing_about) if part)
    lines = [f"Now: {view.headline}, {view.about}. {now}"]
    for row in view.table:
        taken = ", ".join(cell for cell in row.readings if cell not in {"", "-"}) or "nothing yet"
        value = f"; {row.how or 'value'} {row.value}" if row.value else ""
        spread = f", spread {row.spread}" if row.spread else ""
        wanted = f"; {row.open}" if row.open else ""
        lines.append(f"{row.site}: {taken}{value}{spread}{wanted}")
    lines.append(f"Done: {view.progress}. What makes a reading count: {view.mode}.")
    names = ", ".join(name for name in (view.sound.microphone, view.sound.recogniser) if name)
    lines.append(f"Sound: {view.sound.state}{names and f' ({names})'}.")
    lines += [f"May be said: {'; '.join(view.may_say)}"] if view.may_say else []
    return tuple(lines)


def progress(visit: Visit) -> str:
    """How far the circuits are, as a bar and in figures.

    Thirds that have become due lengthen the way, skipped sites shorten it.
    """
    protocol = visit.plan.protocol
    thirds = sum(protocol.third_due(visit.trials(site.id)[:2]) for site in protocol.sites)
    wanted = [
        Target(site.id, circuit)
        for circuit in range(1, protocol.circuits + 1)
        for site in protocol.sites
    ]
    whole = max(1, sum(not visit.is_skipped(target) for target in wanted) + thirds)
    done = len(visit.confirmed)
    filled = _BAR_WIDTH * done // whole
    return f"[{'#' * filled}{'.' * (_BAR_WIDTH - filled)}] {done} of {whole}"
