"""What the screen of a session shows beside its visit, and how the last step is summed up."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from capture.errors import CaptureError
from capture.hearing import MicrophoneIs
from capture.screen.keypad import Entry
from capture.screen.view import Standing
from capture.sound.cues import Cue, cue_of
from capture.visit.announcement import (
    Announcement,
    AskSetup,
    Dropped,
    NoteOpen,
    ReadBack,
    ReadBackTape,
    Refused,
    Saved,
    SavedTape,
    SayAgain,
)

_KEPT_EVENTS = 40


@dataclass(slots=True)
class Shown:
    """What the screen shows beside the visit. Only the session's thread changes it."""

    standing: Standing = Standing.ASKED
    about: Announcement | None = None
    """The announcement that the standing is about."""
    lines: list[str] = field(default_factory=list)
    """What the last step said, in words."""
    heard: str = ""
    notice: str = ""
    warning: str = ""
    """Stays in sight until it is taken back."""
    entry: Entry = field(default_factory=Entry)
    events: list[str] = field(default_factory=list)
    microphone: MicrophoneIs | None = None
    recogniser: str = ""
    ear_trouble: CaptureError | None = None
    muted: bool = False
    help: int = 0
    """The page of the help that is open, from 1; 0 for none."""
    leaving: bool = False

    def stepped(
        self, asked: Announcement, said: Sequence[Announcement], words: Sequence[str]
    ) -> None:
        """After a step: what is asked now, what the step said, and that in words."""
        news = [each for each in said if each != asked] or [asked]
        self.lines = list(words)
        self.standing, self.about = standing_of(asked, news[0])

    def note(self, text: str) -> None:
        """Add a line to what happened, and forget the oldest."""
        self.events.append(text)
        del self.events[:-_KEPT_EVENTS]


def standing_of(asked: Announcement, news: Announcement) -> tuple[Standing, Announcement]:
    """The state of the last reading, from the question and from what was said before it."""
    if isinstance(news, NoteOpen):
        return Standing.NOTING, news
    if isinstance(asked, ReadBack | ReadBackTape):
        if isinstance(asked, ReadBack) and asked.goes_through:
            return Standing.GOES_THROUGH, asked
        doubtful = bool(asked.doubts)
        return (Standing.DOUBTFUL if doubtful else Standing.CONFIRM), asked
    if isinstance(asked, AskSetup):
        return Standing.CONFIRM, asked
    match news:
        case Saved() | SavedTape():
            return Standing.SAVED, news
        case Refused() | SayAgain():
            return Standing.NOT_TAKEN, news
        case Dropped():
            return Standing.NOT_SAVED, news
        case _:
            return Standing.ASKED, news


def cue_for(said: list[Announcement]) -> Cue:
    """One tone for a whole step: what went wrong, else what waits, else what was saved."""
    cues = [cue_of(each) for each in said]
    for cue in (Cue.ERROR, Cue.DOUBT, Cue.CONFIRM, Cue.SAVED, Cue.NEXT):
        if cue in cues:
            return cue
    return Cue.TELL
