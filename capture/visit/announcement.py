"""What the program says and shows, as data. A language's wording is chosen at the edge."""

from dataclasses import dataclass
from enum import StrEnum

from capture.language.intents import NotUnderstood, SkipReason
from capture.protocol.plausibility import Doubt
from capture.units import TapeLength


class Why(StrEnum):
    """Why something that was understood is not done."""

    BEYOND_OPENING = "beyond_opening"
    OFF_SCALE = "off_scale"
    NOT_NOW = "not_now"
    NOT_IN_PROTOCOL = "not_in_protocol"
    ALREADY_DONE = "already_done"
    JUST_MEASURED = "just_measured"
    """The same fold must not be lifted twice running: it needs to recover."""
    OTHER_PENDING = "other_pending"
    """Another reading waits for its yes or no."""
    NOTHING_TO_UNDO = "nothing_to_undo"
    UNCLEAR = "unclear"
    """A word that takes effect at once was not heard clearly enough to act on."""


@dataclass(frozen=True, slots=True)
class AskPermission:
    """Asks for one permission; `permission` is its name."""

    permission: str


@dataclass(frozen=True, slots=True)
class AskTape:
    """Asks for the tape length at a site."""

    site: str


@dataclass(frozen=True, slots=True)
class AskReading:
    """Names the site to measure, the circuit, and whether this is a third."""

    site: str
    circuit: int
    third: bool
    same_again: bool = False
    """The only site left is the one just measured: wait before lifting the fold again."""


@dataclass(frozen=True, slots=True)
class ReadBack:
    """A reading that waits for its yes, with the doubts about it."""

    site: str
    circuit: int
    value_tenths_mm: int
    doubts: tuple[Doubt, ...]


@dataclass(frozen=True, slots=True)
class ReadBackTape:
    """A tape length and its mark that wait for their yes."""

    site: str
    length: TapeLength
    mark: TapeLength
    rounded: bool


@dataclass(frozen=True, slots=True)
class Saved:
    """A reading counts from now on."""

    site: str
    value_tenths_mm: int


@dataclass(frozen=True, slots=True)
class SavedTape:
    """A tape mark counts from now on."""

    site: str
    mark: TapeLength


@dataclass(frozen=True, slots=True)
class Answered:
    """A permission was given or refused."""

    permission: str
    granted: bool


@dataclass(frozen=True, slots=True)
class Dropped:
    """A reading or tape length that was read back does not count."""

    site: str


@dataclass(frozen=True, slots=True)
class Skipped:
    """A site is left out in this circuit."""

    site: str
    reason: SkipReason


@dataclass(frozen=True, slots=True)
class Undone:
    """The last thing that counted was taken back; `site` where it had one."""

    what: str
    site: str | None = None
    value_tenths_mm: int | None = None


@dataclass(frozen=True, slots=True)
class Refused:
    """Understood, and not done."""

    why: Why
    site: str | None = None
    value_tenths_mm: int | None = None


@dataclass(frozen=True, slots=True)
class SayAgain:
    """Not understood."""

    reason: NotUnderstood


@dataclass(frozen=True, slots=True)
class AllMeasured:
    """Nothing is left to measure: results can be shown and the visit signed off."""


@dataclass(frozen=True, slots=True)
class Stopped:
    """A permission was refused: nothing is measured under it."""

    permission: str


@dataclass(frozen=True, slots=True)
class Paused:
    """Listening for "resume" only."""


@dataclass(frozen=True, slots=True)
class Signed:
    """The visit is closed."""


Announcement = (
    AskPermission
    | AskTape
    | AskReading
    | ReadBack
    | ReadBackTape
    | Saved
    | SavedTape
    | Answered
    | Dropped
    | Skipped
    | Undone
    | Refused
    | SayAgain
    | AllMeasured
    | Stopped
    | Paused
    | Signed
)
