"""Everything needed to draw a visit and to go on with it, as one frozen value."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from capture.composition.forms import Sex
from capture.language.intents import Caution, Option, SkipReason
from capture.protocol.caliper import Caliper
from capture.protocol.dwell import Dwelt, dwelt
from capture.protocol.plausibility import Doubt
from capture.protocol.protocol import Protocol
from capture.protocol.reading import protocol_from_plain, protocol_to_plain
from capture.protocol.setup import LAYERS, Carried, SetupField
from capture.protocol.shipped import protocols
from capture.protocol.sites import HALF, Site
from capture.protocol.tape import TapeDoubt
from capture.units import TapeLength
from capture.visit.entry import ReadingState, Source


class Permission(StrEnum):
    """What a client is asked before anybody touches them, in this order."""

    CLOTHING = "clothing"
    """Clothing moved or removed at the sites."""
    MARKS = "marks"
    """Marks on the skin."""
    TOUCH = "touch"
    """Being touched with hands and caliper."""


RULES = 3
"""The version of the machine's rules that new visits follow.

1 asked for wiped caliper and cautions one after the other, could not take back "later", and knew
no tape mark but the half. 2 did not remember what it had misheard. A visit is replayed by the rules
that it was made by.
"""


class Confirmation(StrEnum):
    """What makes a reading count that was read back."""

    EACH = "each"
    """Its own yes."""
    CALL_THROUGH = "call_through"
    """Its own yes, or calling another site; a doubtful one and the last of all need their yes."""


class Preparation(StrEnum):
    """What is settled before the permissions are asked, in this order."""

    READY = "ready"
    """Both of the following in one word: wiped, and no reason for care beyond those noted."""
    WIPED = "wiped"
    """The caliper was wiped for this client."""
    CAUTIONS = "cautions"
    """Reasons to postpone, or to take care, were gone through."""
    OTHER_CALIPER = "other_caliper"
    """It is known that the last visit used another caliper."""
    OTHER_ASSESSOR = "other_assessor"
    """It is known that another person measured last time."""


class Phase(StrEnum):
    """Where a visit stands."""

    PREPARATION = "preparation"
    PERMISSIONS = "permissions"
    TAPES = "tapes"
    CIRCUITS = "circuits"
    CLOSING = "closing"
    """Everything is measured or skipped; the visit waits to be signed off."""
    STOPPED = "stopped"
    """A permission is missing, or another method was chosen; nothing is measured."""
    SIGNED = "signed"


@dataclass(frozen=True, slots=True)
class Plan:
    """What is settled before the first question: who, by which protocol, with which caliper.

    `screening`: the wiped caliper and the reasons for care are asked before the permissions.
    `assessor` is who measures, by any name or identifier that stays the same. `last_time` is what
    the client's last visit hands on, None for a first visit. `rules` is the version of the
    machine's rules. `confirmation` holds for the whole visit. Weight and height are those of the
    day, None where they were not taken.
    """

    protocol: Protocol
    caliper: Caliper
    sex: Sex
    age_years: int
    screening: bool = False
    assessor: str = ""
    last_time: Carried | None = None
    rules: int = RULES
    confirmation: Confirmation = Confirmation.EACH
    weight_kg: float | None = None
    height_cm: float | None = None

    def tape_share(self, site: Site) -> tuple[int, int]:
        """How far along the tape's length the mark of a site lies, as a fraction."""
        if self.rules < 2:  # the version that brought other shares
            return HALF
        return site.share_of(women=self.sex is Sex.FEMALE)

    def to_plain(self) -> dict[str, Any]:
        """The plan as a JSON object for the store.

        It holds the whole protocol: a later change of its file does not change this visit.
        """
        return {
            "protocol": self.protocol.id,
            "protocol_rules": protocol_to_plain(self.protocol),
            "caliper": self.caliper.to_plain(),
            "sex": self.sex.value,
            "age_years": self.age_years,
            "screening": self.screening,
            "assessor": self.assessor,
            "last_time": None if self.last_time is None else self.last_time.to_plain(),
            "rules": self.rules,
            "confirmation": self.confirmation.value,
            "weight_kg": self.weight_kg,
            "height_cm": self.height_cm,
        }

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> "Plan":
        """The plan that `to_plain` wrote, or one that names its protocol by its id alone.

        Raises KeyError, TypeError or ValueError for anything else.
        """
        rules, last_time = plain.get("protocol_rules"), plain.get("last_time")
        return cls(
            protocol=protocol_from_plain(rules) if rules else protocols()[plain["protocol"]],
            caliper=Caliper.from_plain(plain["caliper"]),
            sex=Sex(plain["sex"]),
            age_years=plain["age_years"],
            screening=plain.get("screening", False),
            assessor=plain.get("assessor", ""),
            last_time=None if last_time is None else Carried.from_plain(last_time),
            rules=plain.get("rules", 1),
            confirmation=Confirmation(plain.get("confirmation", Confirmation.EACH)),
            weight_kg=plain.get("weight_kg"),
            height_cm=plain.get("height_cm"),
        )


@dataclass(frozen=True, slots=True)
class Target:
    """A site in a circuit; circuits count from 1, and circuit 3 is a third where one is due."""

    site: str
    circuit: int


@dataclass(frozen=True, slots=True)
class TakenReading:
    """A reading and the state it is in; `number` is the journal entry that heard it.

    `value_tenths_mm` is what the dial showed, `cloth_tenths_mm` the thickness of one layer of
    cloth between, 0 for bare skin. `dwell_s` is the time in seconds from the cue that the jaws are
    on to the call, None without a cue.
    """

    number: int
    target: Target
    value_tenths_mm: int
    state: ReadingState
    source: Source
    doubts: tuple[Doubt, ...] = ()
    cloth_tenths_mm: int = 0
    dwell_s: float | None = None

    @property
    def net_tenths_mm(self) -> int:
        """The fold without the cloth: the value less two layers. Through cloth, an estimate."""
        return self.value_tenths_mm - LAYERS * self.cloth_tenths_mm

    @property
    def dwell(self) -> Dwelt | None:
        """How the dwell lies to its bounds, None without a cue."""
        return None if self.dwell_s is None else dwelt(self.dwell_s)

    @property
    def is_estimate(self) -> bool:
        """Whether cloth was between."""
        return self.cloth_tenths_mm > 0


@dataclass(frozen=True, slots=True)
class TapeMark:
    """A length called from the tape, and the mark at its half or other share."""

    site: str
    length: TapeLength
    mark: TapeLength
    rounded: bool
    doubts: tuple[TapeDoubt, ...] = ()


@dataclass(frozen=True, slots=True)
class Answer:
    """A client's answer to one permission, or its withdrawal later on; the last one holds."""

    permission: Permission
    granted: bool
    at: str


@dataclass(frozen=True, slots=True)
class SkippedSite:
    """A site left out in one circuit, or its tape if `circuit` is 0."""

    target: Target
    reason: SkipReason


@dataclass(frozen=True, slots=True)
class DoneReading:
    """In the list of things that undo can take back: a confirmed reading."""

    number: int


@dataclass(frozen=True, slots=True)
class Choice:
    """What was settled on, and the permission that was missing then, if one was."""

    option: Option
    permission: Permission | None
    at: str


@dataclass(frozen=True, slots=True)
class NotedCaution:
    """A reason to postpone or to take care, and when it was told."""

    caution: Caution
    at: str = ""


@dataclass(frozen=True, slots=True)
class Settled:
    """One thing of the preparation, answered by yes or no."""

    what: Preparation
    yes: bool
    at: str


@dataclass(frozen=True, slots=True)
class SetupChanged:
    """A site is measured in another way from now on; `before` is what it was."""

    site: str
    field: SetupField
    before: str | int | None
    value: str | int
    last_time: bool


@dataclass(frozen=True, slots=True)
class EarlyFinish:
    """Everything not measured by then is left out."""

    at: str


@dataclass(frozen=True, slots=True)
class ExtraAsked:
    """One reading more was asked for than the protocol wants."""

    target: Target


@dataclass(frozen=True, slots=True)
class SitePutOff:
    """A site comes at the end of its circuit."""

    target: Target


@dataclass(frozen=True, slots=True)
class NotedRemark:
    """A note of the journal entry `number`; without a text it was spoken."""

    number: int
    text: str
    at: str


Done = (
    DoneReading
    | TapeMark
    | Answer
    | SkippedSite
    | Choice
    | NotedCaution
    | Settled
    | SetupChanged
    | EarlyFinish
    | ExtraAsked
    | SitePutOff
    | NotedRemark
)
"""Something that counted, and that undo can take back."""


@dataclass(frozen=True, slots=True)
class Visit:
    """The state of one visit.

    `sequence` is the number of the last journal entry. `readings` holds every reading ever
    heard; `done` holds in order what counts, so that the last of it can be undone. `chosen` is a
    site that was asked for out of turn, `put_off` those that come at the end of their circuit.
    `pending_tape`, `pending_setup` and the reading that is still `heard` wait for their
    confirmation; there is never more than one of them. `noting`: the next utterance is a note.
    """

    plan: Plan
    sequence: int = 0
    readings: tuple[TakenReading, ...] = ()
    done: tuple[Done, ...] = ()
    pending_tape: TapeMark | None = None
    pending_setup: SetupChanged | None = None
    chosen: str | None = None
    put_off: tuple[Target, ...] = ()
    paused: bool = False
    signed_at: str | None = None
    noting: bool = False

    @property
    def answers(self) -> tuple[Answer, ...]:
        """The answers on permissions so far, withdrawals among them."""
        return tuple(each for each in self.done if isinstance(each, Answer))

    @property
    def marks(self) -> tuple[TapeMark, ...]:
        """The confirmed tape marks."""
        return tuple(each for each in self.done if isinstance(each, TapeMark))

    @property
    def skips(self) -> tuple[SkippedSite, ...]:
        """The sites left out, by circuit."""
        return tuple(each for each in self.done if isinstance(each, SkippedSite))

    @property
    def pending(self) -> TakenReading | None:
        """The reading that has been read back and waits for its yes."""
        for reading in reversed(self.readings):
            if reading.state is ReadingState.HEARD:
                return reading
        return None

    @property
    def confirmed(self) -> tuple[TakenReading, ...]:
        """The readings that count, in the order they were heard."""
        return tuple(each for each in self.readings if each.state is ReadingState.CONFIRMED)

    def readings_of(self, site: str) -> tuple[TakenReading, ...]:
        """The readings of a site that count, by circuit."""
        ours = [each for each in self.confirmed if each.target.site == site]
        return tuple(sorted(ours, key=lambda each: each.target.circuit))

    def trials(self, site: str) -> tuple[int, ...]:
        """The confirmed values of a site in tenths of a millimetre, by circuit.

        Cloth is taken off: two layers of it for a reading through clothing.
        """
        return tuple(each.net_tenths_mm for each in self.readings_of(site))

    def is_estimate(self, site: str) -> bool:
        """Whether any reading of the site that counts was taken through cloth."""
        return any(each.is_estimate for each in self.readings_of(site))

    @property
    def choices(self) -> tuple[Choice, ...]:
        """What was settled on instead, in order."""
        return tuple(each for each in self.done if isinstance(each, Choice))

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """The reasons for care, in order."""
        return tuple(each.caution for each in self.done if isinstance(each, NotedCaution))

    @property
    def finished_early(self) -> bool:
        """Whether the rest was left out."""
        return any(isinstance(each, EarlyFinish) for each in self.done)

    def is_skipped(self, target: Target) -> bool:
        """Whether this site is left out in this circuit.

        "Unable" leaves out one circuit; every other reason holds for the rest of the visit.
        """
        return any(
            each.target == target
            or (
                each.target.site == target.site
                and each.target.circuit < target.circuit
                and each.reason is not SkipReason.UNABLE
            )
            for each in self.skips
        )

    @property
    def last_measured(self) -> str | None:
        """The site whose fold was lifted last, going by what counts."""
        numbers = [each.number for each in self.done if isinstance(each, DoneReading)]
        if not numbers:
            return None
        return next(each.target.site for each in self.readings if each.number == numbers[-1])
