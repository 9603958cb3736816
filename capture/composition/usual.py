"""Which equation a protocol's sites are put into where nobody chose one for the client.

The choice rests on what the protocol plans, not on what came to be measured: a site that was left
out, or a fold that was turned, must not change the equation in silence.
"""

from collections.abc import Collection, Mapping

from capture.composition.equations import (
    Applicability,
    Equation,
    FoldDirection,
    ReasonKind,
    Sex,
    applicable,
    equation,
)

_LAST_RESORT = "adolescents"
"""The density equations for adolescents: the usual conversions read too much fat in them."""
_GENERAL = ("adults", "children and adolescents", _LAST_RESORT)
"""Samples that a person is put into by age alone. The others, such as athletes, are chosen."""
_GRAVEST = (ReasonKind.SEX, ReasonKind.SITES_MISSING)


def usual_equation(
    sex: Sex,
    age_years: int,
    sites: Collection[str],
    fold_directions: Mapping[str, FoldDirection] | None = None,
) -> Equation:
    """The general equation that fits these sites best; with reasons against it if none fits.

    One that applies goes before one that does not, then one that takes all the sites, then the
    first of the registry. Which of two that apply is better is not for a program to say: a person
    may choose for the client.

    >>> usual_equation(Sex.MALE, 30, ("chest", "abdominal", "thigh")).id
    'jackson_pollock_1978_men_3'
    """
    known = applicable(sex, age_years, sites, fold_directions=fold_directions)
    general = [each for each in known if each.equation.population in _GENERAL]
    return min(general, key=lambda each: _rank(each, sites)).equation


def equation_for(
    chosen_id: str | None,
    sex: Sex,
    age_years: int,
    sites: Collection[str],
    fold_directions: Mapping[str, FoldDirection] | None = None,
) -> Equation:
    """The client's own equation, or the usual one. An unknown id is a CaptureError."""
    if chosen_id is not None:
        return equation(chosen_id)
    return usual_equation(sex, age_years, sites, fold_directions)


def _rank(found: Applicability, sites: Collection[str]) -> tuple[int, int, bool, int]:
    """Lower is better: how many grave reasons, how many others, how many sites it leaves unused."""
    kinds = [reason.kind for reason in found.reasons]
    grave = 10 * (ReasonKind.SEX in kinds) + sum(
        len(reason.sites) for reason in found.reasons if reason.kind is ReasonKind.SITES_MISSING
    )
    others = sum(kind not in _GRAVEST for kind in kinds)
    unused = len(set(sites) - set(found.equation.sites))
    return grave, others, found.equation.population == _LAST_RESORT, unused
