"""The result of a move, and the small moves that every part of the machine shares."""

from dataclasses import dataclass, replace

from capture.visit.announcement import Announcement, Refused, Why
from capture.visit.entry import Plain, ReadingFact, ReadingState
from capture.visit.state import TakenReading, Visit


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a call led to: state, facts for the journal, what is said before the question."""

    visit: Visit
    facts: tuple[Plain, ...]
    readings: tuple[ReadingFact, ...] = ()
    said: tuple[Announcement, ...] = ()


def refused(
    visit: Visit, why: Why, site: str | None = None, value_tenths_mm: int | None = None
) -> Outcome:
    """Nothing changes, and the reason is recorded and said."""
    fact = {"kind": "refused", "why": why.value, "site": site, "value_tenths_mm": value_tenths_mm}
    return Outcome(visit, (fact,), said=(Refused(why, site, value_tenths_mm),))


def is_pending(visit: Visit) -> bool:
    """Whether something that was read back waits for its yes or no."""
    return visit.pending is not None or visit.pending_tape is not None


def moved(visit: Visit, reading: TakenReading, state: ReadingState) -> tuple[Visit, ReadingFact]:
    """Put a reading into another state."""
    changed = replace(reading, state=state)
    readings = tuple(changed if each is reading else each for each in visit.readings)
    return replace(visit, readings=readings), fact_of(changed)


def fact_of(reading: TakenReading) -> ReadingFact:
    """The journal's fact about a reading in its present state."""
    return ReadingFact(
        number=reading.number,
        state=reading.state,
        site=reading.target.site,
        circuit=reading.target.circuit,
        value_tenths_mm=reading.value_tenths_mm,
    )
