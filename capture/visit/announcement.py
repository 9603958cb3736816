"""What the program says and shows, as data. A language's wording is chosen at the edge."""

from dataclasses import dataclass, field
from enum import StrEnum

from capture.language.intents import Caution, NotUnderstood, Option, SkipReason
from capture.protocol.plausibility import Doubt
from capture.protocol.setup import SetupField, SiteSetup
from capture.protocol.sites import HALF
from capture.protocol.tape import TapeDoubt
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
    BEGUN_EARLY = "begun_early"
    """A word that takes effect at once may lack those before it: the program listened too late."""
    CLOTH_UNKNOWN = "cloth_unknown"
    """The site is measured through cloth, and how thick it is was not said."""
    THINNER_THAN_CLOTH = "thinner_than_cloth"
    """Two layers of the cloth alone are as thick as the reading."""
    ALREADY_SO = "already_so"
    """A change of the setup to what it is."""


class WhyNext(StrEnum):
    """Why a site is the next one."""

    ORDER = "order"
    """The protocol's order."""
    CHOSEN = "chosen"
    """It was asked for."""
    RECOVERS = "recovers"
    """The fold that would come first was lifted just now and must recover."""
    PUT_OFF = "put_off"
    """It was put off to the end of the circuit."""
    DISAGREE = "disagree"
    """Its readings differ by more than the protocol allows."""
    EXTRA = "extra"
    """One reading more was asked for."""


@dataclass(frozen=True, slots=True)
class AskPermission:
    """Asks for one permission; `permission` is its name."""

    permission: str


@dataclass(frozen=True, slots=True)
class AskTape:
    """Asks for the tape length at a site; `last_time` is the length of the last visit."""

    site: str
    last_time: TapeLength | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class AskReading:
    """Names the site to measure, the circuit, and whether this is a third."""

    site: str
    circuit: int
    third: bool
    same_again: bool = False
    """The only site left is the one just measured: wait before lifting the fold again."""
    why: WhyNext = field(default=WhyNext.ORDER, compare=False)
    setup: SiteSetup | None = field(default=None, compare=False)
    """How the site was measured last time or is to be measured now, where that is worth a word."""


@dataclass(frozen=True, slots=True)
class ReadBack:
    """A reading that waits for its yes, with the doubts about it."""

    site: str
    circuit: int
    value_tenths_mm: int
    doubts: tuple[Doubt, ...]
    cloth_tenths_mm: int = 0
    """Thickness of one layer of the cloth between; the value is that of the dial."""
    goes_through: bool = field(default=False, compare=False)
    """It counts when another site is called."""


@dataclass(frozen=True, slots=True)
class ReadBackTape:
    """A tape length and its mark that wait for their yes."""

    site: str
    length: TapeLength
    mark: TapeLength
    rounded: bool
    doubts: tuple[TapeDoubt, ...] = ()
    share: tuple[int, int] = field(default=HALF, compare=False)
    """How far along the length the mark lies."""


@dataclass(frozen=True, slots=True)
class Saved:
    """A reading counts from now on."""

    site: str
    value_tenths_mm: int
    cloth_tenths_mm: int = 0


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
class Ended:
    """Nothing more is measured today: another method, or another day, was chosen."""

    option: Option


@dataclass(frozen=True, slots=True)
class Chosen:
    """It was recorded what is done instead."""

    option: Option


@dataclass(frozen=True, slots=True)
class Noted:
    """A reason for care was recorded."""

    caution: Caution


@dataclass(frozen=True, slots=True)
class AskPreparation:
    """Asks for one thing that is settled before anybody is touched; `what` is its name."""

    what: str


@dataclass(frozen=True, slots=True)
class Prepared:
    """It was settled, by yes or no."""

    what: str
    yes: bool


@dataclass(frozen=True, slots=True)
class AskSetup:
    """A change of how a site is measured waits for its yes.

    `last_time`: the value before is that of the last visit, with which the new one cannot be
    compared.
    """

    site: str
    field: SetupField
    before: str | int | None
    after: str | int
    last_time: bool


@dataclass(frozen=True, slots=True)
class SetupSaved:
    """The site is measured so from now on."""

    site: str
    field: SetupField
    value: str | int


@dataclass(frozen=True, slots=True)
class PutOff:
    """A site comes at the end of its circuit."""

    site: str


@dataclass(frozen=True, slots=True)
class Finished:
    """Everything not measured yet is left out."""


@dataclass(frozen=True, slots=True)
class Paused:
    """Listening for "resume" only."""


@dataclass(frozen=True, slots=True)
class NoteOpen:
    """What is said next is a note and no call."""


@dataclass(frozen=True, slots=True)
class RemarkTaken:
    """A note was recorded; of a spoken one that there was one."""

    spoken: bool


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
    | Ended
    | Chosen
    | Noted
    | AskPreparation
    | Prepared
    | AskSetup
    | SetupSaved
    | PutOff
    | Finished
    | Paused
    | NoteOpen
    | RemarkTaken
    | Signed
)
