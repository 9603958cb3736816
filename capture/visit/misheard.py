"""What this voice was misheard in before, in this visit.

A read-back that raised no question and was then corrected shows a word that the recogniser takes
for another when this person says it: "forty" for "thirty". It will do so again, and be as sure.
"""

from collections.abc import Iterator

from capture.language.confusable import Part, one_part_apart, with_part
from capture.protocol.plausibility import Doubt, DoubtKind
from capture.visit.entry import ReadingState, Source
from capture.visit.state import TakenReading, Visit

SINCE_RULES = 3
"""The version of the machine's rules that brought it."""

_GIVEN_UP = (ReadingState.REPLACED, ReadingState.DROPPED, ReadingState.UNDONE)
_OF_THE_EAR = (
    DoubtKind.RIVAL,
    DoubtKind.UNSURE,
    DoubtKind.SOUNDS_ALIKE,
    DoubtKind.MISHEARD,
    DoubtKind.BEGUN_EARLY,
)


def doubts_of_before(visit: Visit, value_tenths_mm: int) -> tuple[Doubt, ...]:
    """Doubts about a value that was heard, from what was heard wrong before; the last one first."""
    if visit.plan.rules < SINCE_RULES:
        return ()
    others = dict.fromkeys(
        other
        for heard, meant in reversed(tuple(_mishearings(visit)))
        if (other := with_part(value_tenths_mm, heard, meant)) is not None
    )
    return tuple(Doubt(DoubtKind.MISHEARD, other) for other in others)


def _mishearings(visit: Visit) -> Iterator[tuple[Part, Part]]:
    """The words that were heard, and those that were meant, in the order they were heard."""
    for place, reading in enumerate(visit.readings):
        if not _passed_unasked(reading):
            continue
        instead = (
            later.value_tenths_mm
            for later in visit.readings[place + 1 :]
            if later.target == reading.target and later.state is ReadingState.CONFIRMED
        )
        meant = next(instead, None)
        if meant is not None and (apart := one_part_apart(reading.value_tenths_mm, meant)):
            yield apart


def _passed_unasked(reading: TakenReading) -> bool:
    """Whether it was heard with no doubt about the ear, and did not stand."""
    return (
        reading.source is Source.VOICE
        and reading.state in _GIVEN_UP
        and not any(doubt.kind in _OF_THE_EAR for doubt in reading.doubts)
    )
