"""What comes into a session, and the ports that it speaks to."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from capture.errors import CaptureError
from capture.hearing import EarIs, MicrophoneIs, Order, Spoken, Unheard
from capture.language.intents import Intent, NotUnderstood
from capture.recognise.port import Heard
from capture.visit.announcement import Announcement
from capture.visit.call import Call
from capture.visit.state import Visit

Understand = Callable[[str, str], Intent | NotUnderstood]
"""What a typed phrase means under a listening rule."""


@dataclass(frozen=True, slots=True)
class KeyStruck:
    """A key, and how many spoken calls had been taken when it was struck."""

    key: str
    seen: int


@dataclass(frozen=True, slots=True)
class Line:
    """A typed line: a value, a key by its name, a phrase such as "go to thigh", or nothing."""

    text: str
    seen: int


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something of the machine's that does not work; the visit goes on."""

    error: CaptureError


Input = KeyStruck | Line | Trouble | Spoken | Unheard | MicrophoneIs | EarIs


class Ear(Protocol):
    """What the session tells its hearing."""

    def tell(self, order: Order) -> None:
        """Listen for this from now on."""
        ...

    def now_s(self) -> float:
        """The clock that orders go by."""
        ...


class NoEar:
    """No hearing at all: a keypad session."""

    def tell(self, order: Order) -> None:
        """Nothing."""

    def now_s(self) -> float:
        """Any time will do."""
        return 0.0


class Watcher(Protocol):
    """Who wants to hear of each event as it comes, such as the line mode."""

    def heard(self, call: Call) -> None:
        """A call came in."""
        ...

    def ignored(self, heard: Heard) -> None:
        """Speech of which nothing was taken."""
        ...

    def said(self, announcement: Announcement, visit: Visit) -> None:
        """The program announces this."""
        ...

    def noticed(self, text: str) -> None:
        """Something about keys, sound or store."""
        ...


class Wording(Protocol):
    """Announcements in words."""

    def say(self, announcement: Announcement) -> str:
        """The announcement in words."""
        ...
