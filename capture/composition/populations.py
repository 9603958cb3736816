"""Conversions from density to fat percent for particular groups of people, as data.

They are written `fat % = 100 (a / D - b)` in the source; here both figures are multiplied out. The
groups are the source's own, in its words. A person is not put into one by the program: the
assessor chooses one with the client, or stays with a general conversion.
"""

from dataclasses import dataclass

from capture.composition.forms import Confirmed, Sex

HEYWARD = (
    "Heyward VH, Stolarczyk LM. Applied Body Composition Assessment, 1996; Heyward VH, Wagner DR, "
    "second edition, 2004."
)
_M, _F = Sex.MALE, Sex.FEMALE


@dataclass(frozen=True, slots=True)
class Group:
    """One row of the table: whom it is for, and its figures a and b."""

    id: str
    population: str
    sex: Sex
    ages: tuple[int, int] | None
    a: float
    b: float
    confirmed: Confirmed = Confirmed.MEMORY


GROUPS = (
    Group("white_boys_7_12", "white boys", _M, (7, 12), 5.30, 4.89),
    Group("white_boys_13_16", "white boys", _M, (13, 16), 5.07, 4.64),
    Group("white_men_17_19", "white men", _M, (17, 19), 4.99, 4.55),
    Group("white_men_20_80", "white men", _M, (20, 80), 4.95, 4.50),
    Group("white_girls_7_12", "white girls", _F, (7, 12), 5.35, 4.95),
    Group("white_girls_13_16", "white girls", _F, (13, 16), 5.10, 4.66),
    Group("white_women_17_19", "white women", _F, (17, 19), 5.05, 4.62),
    Group("white_women_20_80", "white women", _F, (20, 80), 5.01, 4.57),
    Group("black_men_18_32", "black men", _M, (18, 32), 4.37, 3.93),
    Group("black_women_24_79", "black women", _F, (24, 79), 4.85, 4.39),
    Group(
        "american_indian_men_18_62",
        "American Indian men",
        _M,
        (18, 62),
        4.97,
        4.52,
        Confirmed.SECONDARY,
    ),
    Group(
        "american_indian_women_18_60",
        "American Indian women",
        _F,
        (18, 60),
        4.81,
        4.34,
        Confirmed.SECONDARY,
    ),
    Group("japanese_men_18_48", "Japanese men", _M, (18, 48), 4.97, 4.52),
    Group("japanese_men_61_78", "Japanese men", _M, (61, 78), 4.87, 4.41),
    Group("japanese_women_18_48", "Japanese women", _F, (18, 48), 4.76, 4.28),
    Group("japanese_women_61_78", "Japanese women", _F, (61, 78), 4.95, 4.50),
    Group("hispanic_women_20_40", "Hispanic women", _F, (20, 40), 4.87, 4.41),
    Group("anorexia_women_15_30", "women with anorexia nervosa", _F, (15, 30), 5.26, 4.83),
    Group("obesity_women_17_62", "women with obesity", _F, (17, 62), 5.00, 4.56),
    Group("spinal_cord_injury_men", "men with a spinal-cord injury", _M, None, 4.67, 4.18),
    Group("spinal_cord_injury_women", "women with a spinal-cord injury", _F, None, 4.70, 4.22),
)
