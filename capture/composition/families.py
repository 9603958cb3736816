"""What the equations of one school share: how it lifts its folds, whom it measured, its caveats."""

from capture.composition.forms import FoldDirection

MEN_AGES = (18, 61)
"""Jackson & Pollock 1978: 308 men, 95 more to check (abstract)."""
WOMEN_AGES = (18, 55)
"""Jackson, Pollock & Ward 1980: 249 women, 82 more to check (secondary)."""

LARGE_SUMS = (
    "Above a sum of about 120 mm the quadratic equations read too little fat: 2.1 points in 14 "
    "obese people (Nevill, Metsios, Jackson and others, a new look at the same data; abstract)."
)
LANGE = "The samples were measured with a Lange caliper; other types read thinner."
JP_SUPRAILIAC = "The suprailiac fold is the one at the anterior axillary line."

# The vertical midaxillary and abdominal folds are where this family parts from the 1988
# Anthropometric Standardization Reference Manual, which lifts both horizontally.
JP_DIRECTIONS = {
    "chest": FoldDirection.DIAGONAL,
    "midaxillary": FoldDirection.VERTICAL,
    "triceps": FoldDirection.VERTICAL,
    "subscapular": FoldDirection.DIAGONAL,
    "abdominal": FoldDirection.VERTICAL,
    "suprailiac": FoldDirection.DIAGONAL,
    "thigh": FoldDirection.VERTICAL,
}
"""How Jackson and Pollock lifted each fold."""

LIMB_DIRECTIONS = {
    "triceps": FoldDirection.VERTICAL,
    "biceps": FoldDirection.VERTICAL,
    "calf": FoldDirection.VERTICAL,
    "thigh": FoldDirection.VERTICAL,
    "subscapular": FoldDirection.DIAGONAL,
}
"""Sites that every school lifts the same way. The others differ, or are not known to us."""


def usual_directions(sites: tuple[str, ...]) -> tuple[tuple[str, FoldDirection], ...]:
    """Directions for a paper whose own are not known: those all schools share, else not stated."""
    return tuple((site, LIMB_DIRECTIONS.get(site, FoldDirection.NOT_STATED)) for site in sites)
