"""Everything needed to draw a visit and to go on with it, as one frozen value."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from capture.composition.forms import Sex
from capture.language.intents import SkipReason
from capture.protocol.caliper import Caliper
from capture.protocol.plausibility import Doubt
from capture.protocol.protocol import Protocol
from capture.protocol.reading import protocol_from_plain, protocol_to_plain
from capture.protocol.shipped import protocols
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


class Phase(StrEnum):
    """Where a visit stands."""

    PERMISSIONS = "permissions"
    TAPES = "tapes"
    CIRCUITS = "circuits"
    CLOSING = "closing"
    """Everything is measured or skipped; the visit waits to be signed off."""
    STOPPED = "stopped"
    """A permission was refused; nothing is measured."""
    SIGNED = "signed"


@dataclass(frozen=True, slots=True)
class Plan:
    """What is settled before the first question: who, by which protocol, with which caliper."""

    protocol: Protocol
    caliper: Caliper
    sex: Sex
    age_years: int

    def to_plain(self) -> dict[str, Any]:
        """The plan as a JSON object for the store.

        It holds the whole protocol: a later change of its file does not change this visit.
        """
        return {
            "protocol": self.protocol.id,
            "protocol_rules": protocol_to_plain(self.protocol),
            "caliper": {
                "description": self.caliper.description,
                "step_tenths_mm": self.caliper.step_tenths_mm,
                "opening_tenths_mm": self.caliper.opening_tenths_mm,
            },
            "sex": self.sex.value,
            "age_years": self.age_years,
        }

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> "Plan":
        """The plan that `to_plain` wrote, or one that names its protocol by its id alone.

        Raises KeyError, TypeError or ValueError for anything else.
        """
        rules = plain.get("protocol_rules")
        return cls(
            protocol=protocol_from_plain(rules) if rules else protocols()[plain["protocol"]],
            caliper=Caliper(**plain["caliper"]),
            sex=Sex(plain["sex"]),
            age_years=plain["age_years"],
        )


@dataclass(frozen=True, slots=True)
class Target:
    """A site in a circuit; circuits count from 1, and circuit 3 is a third where one is due."""

    site: str
    circuit: int


@dataclass(frozen=True, slots=True)
class TakenReading:
    """A reading and the state it is in; `number` is the journal entry that heard it."""

    number: int
    target: Target
    value_tenths_mm: int
    state: ReadingState
    source: Source
    doubts: tuple[Doubt, ...] = ()


@dataclass(frozen=True, slots=True)
class TapeMark:
    """A length called from the tape, and the mark at its half."""

    site: str
    length: TapeLength
    mark: TapeLength
    rounded: bool


@dataclass(frozen=True, slots=True)
class Answer:
    """A client's answer to one permission."""

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


Done = DoneReading | TapeMark | Answer | SkippedSite
"""Something that counted, and that undo can take back."""


@dataclass(frozen=True, slots=True)
class Visit:
    """The state of one visit.

    `sequence` is the number of the last journal entry. `readings` holds every reading ever
    heard; `done` holds in order what counts, so that the last of it can be undone. `chosen` is a
    site that was asked for out of turn. `pending_tape` and the reading that is still `heard`
    wait for their confirmation; there is never more than one of them.
    """

    plan: Plan
    sequence: int = 0
    readings: tuple[TakenReading, ...] = ()
    done: tuple[Done, ...] = ()
    pending_tape: TapeMark | None = None
    chosen: str | None = None
    paused: bool = False
    signed_at: str | None = None

    @property
    def answers(self) -> tuple[Answer, ...]:
        """The permissions asked so far."""
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

    def trials(self, site: str) -> tuple[int, ...]:
        """The confirmed values of a site in tenths of a millimetre, by circuit."""
        ours = [each for each in self.confirmed if each.target.site == site]
        return tuple(
            each.value_tenths_mm for each in sorted(ours, key=lambda each: each.target.circuit)
        )

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
