"""The result of a move, and the small moves that every part of the machine shares."""

from dataclasses import dataclass, replace

from capture.language.intents import length_to_plain
from capture.visit.announcement import Announcement, Dropped, Refused, Why
from capture.visit.entry import Plain, ReadingFact, ReadingState
from capture.visit.state import SetupChanged, TakenReading, TapeMark, Visit


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
    waiting = (visit.pending, visit.pending_tape, visit.pending_setup)
    return any(each is not None for each in waiting)


def drop_pending(visit: Visit) -> Outcome:
    """What was read back and waits does not count. Nothing happens if nothing waits."""
    facts: list[Plain] = []
    readings: list[ReadingFact] = []
    said: list[Announcement] = []
    if visit.pending is not None:
        said.append(Dropped(visit.pending.target.site))
        visit, fact = moved(visit, visit.pending, ReadingState.DROPPED)
        readings.append(fact)
    if visit.pending_tape is not None:
        said.append(Dropped(visit.pending_tape.site))
        facts.append(tape_fact("tape_dropped", visit.pending_tape))
    if visit.pending_setup is not None:
        said.append(Dropped(visit.pending_setup.site))
        facts.append(setup_fact("setup_dropped", visit.pending_setup))
    visit = replace(visit, pending_tape=None, pending_setup=None)
    return Outcome(visit, tuple(facts), tuple(readings), tuple(said))


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


def tape_fact(kind: str, tape: TapeMark) -> Plain:
    """The journal's fact about a tape length and its mark, with its doubts where there are any."""
    fact = {
        "kind": kind,
        "site": tape.site,
        "length": length_to_plain(tape.length),
        "mark": length_to_plain(tape.mark),
        "rounded": tape.rounded,
    }
    if tape.doubts:
        fact["doubts"] = [each.kind.value for each in tape.doubts]
    return fact


def setup_fact(kind: str, change: SetupChanged) -> Plain:
    """The journal's fact about a change of how a site is measured."""
    return {
        "kind": kind,
        "site": change.site,
        "field": change.field.value,
        "before": change.before,
        "value": change.value,
    }
