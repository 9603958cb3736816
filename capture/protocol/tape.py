"""Is this tape length doubtful, and why? A doubt asks a question; it never changes a length."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from capture.language.confusable import teen_or_ty
from capture.protocol.plausibility import CLOSE_RIVAL, UNMEASURED_UNSURE_BELOW, Limits
from capture.protocol.sites import Site
from capture.units import Centimetres, Inches, TapeLength

CHANGED_MM = 10
"""A limb that was measured before and differs by more is asked about. Our own choice, no source."""


class TapeDoubtKind(StrEnum):
    """What makes a tape length doubtful."""

    RIVAL = "rival"
    """The recogniser held another length nearly as likely."""
    UNSURE = "unsure"
    SOUNDS_ALIKE = "sounds_alike"
    """It sounds like another length that fits the site as well."""
    UNUSUAL = "unusual"
    """It lies outside the site's usual range."""
    CHANGED = "changed"
    """It differs from that of the last visit by more than a tape's error."""
    BEGUN_EARLY = "begun_early"
    """It may have begun before the program listened: its first words may be missing."""


@dataclass(frozen=True, slots=True)
class TapeDoubt:
    """One reason, with the length it points to where there is one."""

    kind: TapeDoubtKind
    other: TapeLength | None = None


def doubts_about_tape(
    length: TapeLength, site: Site, last_time: TapeLength | None
) -> tuple[TapeDoubt, ...]:
    """Doubts that the length itself raises, however it came in."""
    found = []
    if not is_usual(length, site):
        found.append(TapeDoubt(TapeDoubtKind.UNUSUAL))
    if last_time is not None and abs(last_time.length_mm - length.length_mm) > CHANGED_MM:
        found.append(TapeDoubt(TapeDoubtKind.CHANGED, last_time))
    return tuple(found)


def doubts_of_ear_about_tape(
    length: TapeLength,
    site: Site,
    confidence: float,
    rivals: Sequence[tuple[TapeLength | None, float]],
    limits: Limits | None = None,
) -> tuple[TapeDoubt, ...]:
    """Doubts about a length that was heard; a rival without a length is some other call.

    Without `limits` the confidence is no probability.
    """
    close = [rival for rival, likelihood in rivals if likelihood >= CLOSE_RIVAL]
    lengths = [rival for rival in close if rival is not None]
    unsure = confidence < (UNMEASURED_UNSURE_BELOW if limits is None else limits.normal_from)
    named = close
    if limits is not None:
        if unsure:
            lengths += [rival for rival, _ in rivals if rival is not None]
        named = list(lengths[:1])
    found = []
    if lengths:
        found.append(TapeDoubt(TapeDoubtKind.RIVAL, lengths[0]))
    elif close or unsure:
        found.append(TapeDoubt(TapeDoubtKind.UNSURE))
    alike = sounds_like(length)
    if alike is not None and alike not in named and is_usual(alike, site):
        found.append(TapeDoubt(TapeDoubtKind.SOUNDS_ALIKE, alike))
    return tuple(found)


def is_usual(length: TapeLength, site: Site) -> bool:
    """Whether a length lies in the site's usual range."""
    if site.tape_usual_mm is None:
        return True
    lowest, highest = site.tape_usual_mm
    return lowest <= length.length_mm <= highest


def sounds_like(length: TapeLength) -> TapeLength | None:
    """The other half of a teen/ty pair, None if the length is in no such pair.

    >>> str(sounds_like(Inches(14 * 16 + 8))), sounds_like(Inches(108))
    ('40 1/2 in', None)
    """
    if isinstance(length, Centimetres):
        other = teen_or_ty(length.millimetres)
        return None if other is None else Centimetres(other)
    whole, rest = divmod(length.sixteenths, 16)
    other = teen_or_ty(whole * 10)
    return None if other is None else Inches(other // 10 * 16 + rest)
