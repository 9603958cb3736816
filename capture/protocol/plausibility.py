"""Is this reading doubtful, and why? A doubt asks a question; it never changes a value."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from capture.language.confusable import five_or_nine, teen_or_ty
from capture.protocol.protocol import Tolerance
from capture.protocol.sites import Site

CLOSE_RIVAL = 0.1
"""A rival with a tenth of the probability or more is close enough to ask about."""

UNMEASURED_UNSURE_BELOW = 0.8
"""Below this a phrase is unsure in journals of before probabilities were measured."""

DISAGREES = 0.25
"""How much rarer a value is at this site that agrees with no circuit before. Own choice, no
source: assessors repeat a fold within the tolerance far more often than not."""


@dataclass(frozen=True, slots=True)
class Limits:
    """From which probability on a call that was heard is taken, 0 to 1; a language pack gives them.

    `normal_from`: read back as usual; below it is doubtful. `again_below`: not taken at all, it is
    asked for again. `sure_from`: words that take effect at once, such as "yes", need as much.
    """

    normal_from: float
    again_below: float
    sure_from: float


class DoubtKind(StrEnum):
    """What makes a reading doubtful."""

    RIVAL = "rival"
    """The recogniser held another value nearly as likely."""
    UNSURE = "unsure"
    """The recogniser was unsure, with no other value to name."""
    SOUNDS_ALIKE = "sounds_alike"
    """It sounds like another value that fits this site as well or better."""
    MISHEARD = "misheard"
    """A word of it was heard for another before in this visit, and was corrected."""
    UNUSUAL = "unusual"
    """It lies outside the site's usual range."""
    DIFFERS = "differs"
    """It differs from every other circuit of this site by more than the protocol allows."""
    THIN = "thin"
    """It is thinner than two layers of skin usually are."""
    BY_EYE = "by_eye"
    """It lies between two marks of the caliper's scale."""
    OTHER_COVER = "other_cover"
    """Another reading of this site was taken through other cloth, or on bare skin."""
    BEGUN_EARLY = "begun_early"
    """It may have begun before the program listened: its first words may be missing."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """One reason, with the value it points to, in tenths of a millimetre, where there is one."""

    kind: DoubtKind
    other_tenths_mm: int | None = None


def doubts_about(
    value_tenths_mm: int,
    site: Site,
    tolerance: Tolerance,
    earlier_tenths_mm: Sequence[int],
) -> tuple[Doubt, ...]:
    """Doubts that the value itself raises, however it came in."""
    found = []
    lowest, highest = site.usual_tenths_mm
    if not lowest <= value_tenths_mm <= highest:
        found.append(Doubt(DoubtKind.UNUSUAL))
    # A third is taken because two readings disagree: it need only agree with one of them.
    if earlier_tenths_mm and not any(
        tolerance.agree(each, value_tenths_mm) for each in earlier_tenths_mm
    ):
        found.append(Doubt(DoubtKind.DIFFERS, earlier_tenths_mm[0]))
    return tuple(found)


def doubts_of_ear(
    value_tenths_mm: int,
    site: Site,
    tolerance: Tolerance,
    earlier_tenths_mm: Sequence[int],
    confidence: float,
    rivals: Sequence[tuple[int | None, float]],
    limits: Limits | None = None,
) -> tuple[Doubt, ...]:
    """Doubts about a value that was heard.

    `rivals` are other meanings with their confidence, best first: a value, or None for no other
    value but, for example, another site. Without `limits` the confidence is no probability.
    """
    found = []
    close = [rival for rival, likelihood in rivals if likelihood >= CLOSE_RIVAL]
    values = [rival for rival in close if rival is not None]
    if limits is None:
        unsure = confidence < UNMEASURED_UNSURE_BELOW
    else:
        weighed = weigh(value_tenths_mm, confidence, rivals, earlier_tenths_mm, tolerance)
        unsure = weighed < limits.normal_from
        if unsure:
            # A question about a value that was not heard clearly names what else it could be.
            values += [rival for rival, _ in rivals if rival is not None]
            values += [] if close else _twins(value_tenths_mm)
    if values:
        found.append(Doubt(DoubtKind.RIVAL, values[0]))
    elif close or unsure:
        found.append(Doubt(DoubtKind.UNSURE))
    alike = _sounds_alike(value_tenths_mm, site, earlier_tenths_mm)
    if alike is not None and alike not in (close if limits is None else values[:1]):
        found.append(Doubt(DoubtKind.SOUNDS_ALIKE, alike))
    return tuple(found)


def weigh(
    value_tenths_mm: int,
    confidence: float,
    rivals: Sequence[tuple[int | None, float]],
    earlier_tenths_mm: Sequence[int],
    tolerance: Tolerance,
) -> float:
    """The probability of a value, with what the site showed before; 0 to 1.

    Each possibility counts by how well it agrees with the circuits before. What has no name among
    the rivals is not discounted, so that history alone cannot make an unclear value clear.
    """
    if not earlier_tenths_mm:
        return confidence

    def weighed(value: int | None, share: float) -> float:
        agrees = value is None or any(tolerance.agree(each, value) for each in earlier_tenths_mm)
        return share if agrees else share * DISAGREES

    mine = weighed(value_tenths_mm, confidence)
    others = sum(weighed(rival, share) for rival, share in rivals)
    unnamed = max(0.0, 1 - confidence - sum(share for _, share in rivals))
    return mine / (mine + others + unnamed) if mine else 0.0


def _twins(value: int) -> list[int]:
    teen = teen_or_ty(value)
    return [*([] if teen is None else [teen]), *five_or_nine(value)]


def _sounds_alike(value: int, site: Site, earlier: Sequence[int]) -> int | None:
    teen = teen_or_ty(value)
    if not earlier:
        # Nothing to go by: a teen or a ty that the site's range does not rule out is asked.
        lowest, highest = site.usual_tenths_mm
        return teen if teen is not None and lowest <= teen <= highest else None
    others = five_or_nine(value) if teen is None else (teen, *five_or_nine(value))
    nearest = min(others, key=lambda other: _distance(other, earlier), default=None)
    if nearest is None or _distance(nearest, earlier) > _distance(value, earlier):
        return None
    return nearest


def _distance(value: int, earlier: Sequence[int]) -> int:
    return min(abs(value - each) for each in earlier)
