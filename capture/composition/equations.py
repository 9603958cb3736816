"""The registry of equations: which there are, which apply, and why one does not.

A reason is data, so that a screen, a report and a test can each do something with it. Some
reasons may be overridden by a person who knows why; the result then carries them. Others may
not, because the figure would mean nothing.
"""

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from capture.composition.forms import (
    Band,
    BandedLog,
    Confirmed,
    Equation,
    FoldDirection,
    Gives,
    Quadratic,
    Sex,
    StandardError,
    SumRange,
)
from capture.composition.published import PUBLISHED
from capture.composition.reasons import Reason, ReasonKind
from capture.errors import CaptureError

__all__ = [
    "Applicability",
    "Band",
    "BandedLog",
    "Confirmed",
    "Density",
    "Equation",
    "FoldDirection",
    "Gives",
    "Quadratic",
    "Reason",
    "ReasonKind",
    "Sex",
    "StandardError",
    "SumRange",
    "age_reasons",
    "applicable",
    "compute_density",
    "equation",
    "equations",
    "judge",
    "reasons_against",
    "site_for",
    "site_reasons",
]


@dataclass(frozen=True, slots=True)
class Applicability:
    """One equation and every reason against it."""

    equation: Equation
    reasons: tuple[Reason, ...]

    @property
    def applies(self) -> bool:
        """True when nothing speaks against it."""
        return not self.reasons

    @property
    def possible(self) -> bool:
        """True when it applies, or would with an override."""
        return all(reason.may_be_overridden for reason in self.reasons)


@dataclass(frozen=True, slots=True)
class Density:
    """A density, or why there is none.

    `outside` lists what was overridden; `refused` why `density_g_cm3` is None. With an equation
    that gives percent directly there is no density and nothing refused either.
    """

    density_g_cm3: float | None
    outside: tuple[Reason, ...] = ()
    refused: tuple[Reason, ...] = ()


_BY_ID = {known.id: known for known in PUBLISHED}


def equations() -> tuple[Equation, ...]:
    """Every equation known here."""
    return PUBLISHED


def equation(id_: str) -> Equation:
    """The equation with this id, or a CaptureError that lists them."""
    try:
        return _BY_ID[id_]
    except KeyError:
        raise CaptureError(
            f"There is no equation “{id_}”.", f"Known are: {', '.join(_BY_ID)}."
        ) from None


def site_for(candidate: Equation, site: str, measured: Collection[str]) -> str | None:
    """The measured site that fills `site`: itself, else its stand-in, else None."""
    if site in measured:
        return site
    stand_in = dict(candidate.stand_ins).get(site)
    return stand_in if stand_in in measured else None


def site_reasons(
    candidate: Equation,
    measured: Collection[str],
    fold_directions: Mapping[str, FoldDirection],
) -> list[Reason]:
    """What speaks against the measured sites and the way their folds were lifted."""
    missing, moved, turned = [], [], []
    for site, direction in candidate.fold_directions:
        used = site_for(candidate, site, measured)
        if used is None:
            missing.append(site)
            continue
        if used != site:
            moved.append(used)
        found = fold_directions.get(used, FoldDirection.NOT_STATED)
        if FoldDirection.NOT_STATED not in (found, direction) and found is not direction:
            turned.append(used)
    found_lists = (
        (ReasonKind.SITES_MISSING, missing),
        (ReasonKind.STAND_IN, moved),
        (ReasonKind.FOLD_DIRECTION, turned),
    )
    return [Reason(kind, sites=tuple(sites)) for kind, sites in found_lists if sites]


def age_reasons(candidate: Equation, age_years: int) -> list[Reason]:
    """What speaks against an age in completed years."""
    youngest, oldest = candidate.ages
    if youngest <= age_years <= oldest:
        return []
    return [Reason(ReasonKind.AGE, age_years, youngest, oldest)]


def reasons_against(candidate: Equation, sum_mm: float, age_years: int) -> tuple[Reason, ...]:
    """What speaks against one sum (mm) and age (completed years). Sites and sex not looked at."""
    reasons = age_reasons(candidate, age_years)
    seen = candidate.sum_range_mm
    if seen is not None and not seen.low_mm <= sum_mm <= seen.high_mm:
        reasons.append(Reason(ReasonKind.SUM, sum_mm, seen.low_mm, seen.high_mm))
    turning_point_mm, guard_mm = candidate.turning_point_mm, candidate.guard_mm
    if turning_point_mm is not None and sum_mm >= turning_point_mm:
        reasons.append(Reason(ReasonKind.PAST_TURNING_POINT, sum_mm, high=turning_point_mm))
    elif guard_mm is not None and sum_mm >= guard_mm:
        reasons.append(Reason(ReasonKind.NEAR_TURNING_POINT, sum_mm, high=guard_mm))
    bias = candidate.known_bias
    if bias is not None and sum_mm >= bias.from_mm:
        reasons.append(Reason(ReasonKind.KNOWN_BIAS, sum_mm, high=bias.from_mm, detail=bias.text))
    return tuple(reasons)


def applicable(
    sex: Sex,
    age_years: int,
    sites: Collection[str],
    *,
    values_mm: Mapping[str, float] | None = None,
    fold_directions: Mapping[str, FoldDirection] | None = None,
) -> tuple[Applicability, ...]:
    """Every equation with what speaks against it for this client.

    `sites` are the sites measured or planned. `values_mm` are their settled values: with them
    the sums are judged too, without them only age, sex and sites. `fold_directions` says how the
    folds were lifted, where that is known.
    """
    answers = []
    for candidate in PUBLISHED:
        reasons = [] if sex in candidate.sexes else [Reason(ReasonKind.SEX)]
        reasons += site_reasons(candidate, sites, fold_directions or {})
        used = [site_for(candidate, site, values_mm or {}) for site in candidate.sites]
        known = [site for site in used if site is not None]
        if values_mm is not None and len(known) == len(used):
            sum_mm = math.fsum(values_mm[site] for site in known)
            reasons += reasons_against(candidate, sum_mm, age_years)
        else:
            reasons += age_reasons(candidate, age_years)
        answers.append(Applicability(candidate, tuple(reasons)))
    return tuple(answers)


def judge(
    candidate: Equation,
    sum_mm: float,
    age_years: int,
    *,
    override: bool = False,
    further: tuple[Reason, ...] = (),
) -> Density:
    """What may be computed of one sum and age, guarded by the range of the equation.

    Outside the range there is no result unless `override` is True; past the turning point there
    is none at all. `further` are reasons found elsewhere, such as the site or the sex. A sum that
    is not above zero, or not a number, is a ValueError: no fold has no thickness.
    """
    if not (math.isfinite(sum_mm) and sum_mm > 0):
        raise ValueError(f"a sum of folds is above 0 mm, not {sum_mm}")
    reasons = (*further, *reasons_against(candidate, sum_mm, age_years))
    if not all(reason.may_be_overridden for reason in reasons) or (reasons and not override):
        return Density(None, refused=reasons)
    if candidate.gives is Gives.FAT_PERCENT:
        return Density(None, outside=reasons)
    return Density(candidate.density_g_cm3(sum_mm, age_years), outside=reasons)


def compute_density(
    candidate: Equation,
    sum_mm: float,
    age_years: int,
    *,
    override: bool = False,
    further: tuple[Reason, ...] = (),
) -> Density:
    """Density of one sum and age, guarded as `judge` says.

    An equation that gives percent directly is a ValueError: it has no density.

    >>> outcome = compute_density(equation("jackson_pollock_1978_men_3"), 60, 70)
    >>> outcome.density_g_cm3, outcome.refused[0].kind.value
    (None, 'age outside the sample')
    """
    if candidate.gives is not Gives.DENSITY:
        raise ValueError(f"{candidate.id} gives fat percent directly; it has no density")
    return judge(candidate, sum_mm, age_years, override=override, further=further)
