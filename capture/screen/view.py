"""What the screen shows at one moment, as plain values. Pure."""

from dataclasses import dataclass
from enum import StrEnum

from capture.screen.blocks import INK


class Standing(StrEnum):
    """How it stands with the last reading. The value is the word on the screen."""

    ASKED = "CALL"
    """A call is waited for."""
    TYPED = "TYPING"
    """A value or words are being typed; nothing that stood before is about them."""
    CONFIRM = "CONFIRM?"
    DOUBTFUL = "DOUBT?"
    SAVED = "SAVED"
    NOT_SAVED = "DROPPED"
    NOT_TAKEN = "AGAIN"
    FAILED = "FAILED"
    GOES_THROUGH = "NEXT?"
    """It counts when another site is called."""
    NOTING = "NOTE"
    """A note is waited for, spoken or typed."""
    HOLD = "HOLD"
    """The jaws are on, not long enough yet."""
    READ = "READ"
    """The jaws are on for as long as they should."""
    LATE = "LATE"
    """The jaws are on too long."""


@dataclass(frozen=True, slots=True)
class TableRow:
    """One site of the table: its readings by circuit, and what they come to.

    `present`: it is measured now. `open`: what is still wanted of it, in words.
    """

    site: str
    readings: tuple[str, ...]
    value: str = ""
    how: str = ""
    spread: str = ""
    open: str = ""
    present: bool = False


@dataclass(frozen=True, slots=True)
class SoundView:
    """How it is with the ear and the voice. `level_dbfs` is None where no sound comes."""

    state: str
    level_dbfs: float | None
    microphone: str
    recogniser: str
    overruns: int = 0


@dataclass(frozen=True, slots=True)
class Picture:
    """The drawing of the site at hand: the figure in lines, and what it shows in words."""

    figure: tuple[str, ...]
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class View:
    """Everything on the screen.

    `headline` is the site, or what is asked; `about` a line on it. `value` is what is read back
    or being typed. `standing_about` is what the standing is about where that is not the value
    shown, such as the value saved just now.
    """

    client: str
    assessor: str
    protocol: str
    headline: str
    about: str
    value: str
    standing: Standing
    standing_about: str
    said: tuple[str, ...]
    heard: str
    notice: str
    menu: tuple[str, ...]
    may_say: tuple[str, ...]
    keys: str
    table: tuple[TableRow, ...]
    progress: str
    sound: SoundView
    events: tuple[str, ...] = ()
    help: tuple[tuple[str, str, str], ...] = ()
    picture: Picture | None = None
    ink: str = INK
    """What the large letters are drawn with."""
    mode: str = ""
    """What makes a reading count, in words."""
    warning: str = ""
    """Something grave that goes on, such as a store that cannot be written."""
