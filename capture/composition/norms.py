"""Where a fat percent lies among others of the same sex and age, in neutral words.

A position among others says nothing of health or worth. It can be turned off for a client: see
`capture.composition.client`. Sources print words such as "poor"; they are not taken over.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from capture.composition.forms import Confirmed, Sex
from capture.composition.uncertainty import Spread

NORM_CAUTION = (
    "The percent is an estimate with a range of several points, and no diagnosis. No percent is "
    "best for everybody."
)

PERCENTILES_SOURCE = (
    "Cooper Institute, as printed in the Guidelines for Exercise Testing and Prescription of the "
    "American College of Sports Medicine, editions 6 and 7; later editions print other figures"
)
PERCENTILES_CONFIRMED = Confirmed.MEMORY
"""Whole percents agree with stored tables; the decimals, the 50th and some others do not."""

PERCENTILES = (90, 80, 60, 50, 40, 20, 10)
_TABLE: dict[Sex, dict[int, tuple[float, ...]]] = {
    # By the youngest age of the decade; the last one is open.
    Sex.MALE: {
        20: (7.1, 9.4, 14.1, 15.9, 17.4, 22.4, 25.9),
        30: (11.3, 13.9, 17.5, 19.0, 20.5, 24.2, 27.3),
        40: (13.6, 16.3, 19.6, 21.1, 22.5, 26.1, 28.9),
        50: (15.3, 17.9, 21.3, 22.7, 24.1, 27.5, 30.3),
        60: (15.3, 18.4, 22.0, 23.5, 25.0, 28.5, 31.2),
    },
    Sex.FEMALE: {
        20: (14.5, 17.1, 20.6, 22.1, 23.7, 27.7, 32.1),
        30: (15.5, 18.0, 21.6, 23.1, 24.9, 29.3, 32.8),
        40: (18.5, 21.3, 24.9, 26.4, 28.1, 32.1, 35.0),
        50: (21.6, 25.0, 28.5, 30.1, 31.6, 35.6, 37.9),
        60: (21.1, 25.1, 29.3, 30.9, 32.5, 36.6, 39.3),
    },
}
YOUNGEST_YEARS = 20
_OPEN_FROM_YEARS = 60

RANGES_SOURCE = "American Council on Exercise, ranges for adults"
RANGES_CONFIRMED = Confirmed.SECONDARY
# Lower ends in whole percent. The source's own words are "essential", "athletes", "fitness",
# "average" and "obese".
_RANGES: dict[Sex, tuple[tuple[int, str], ...]] = {
    Sex.MALE: (
        (2, "in the range of essential fat"),
        (6, "in a range common among athletes"),
        (14, "in a range common among people who train"),
        (18, "in the middle range of adults"),
        (25, "above the middle range of adults"),
    ),
    Sex.FEMALE: (
        (10, "in the range of essential fat"),
        (14, "in a range common among athletes"),
        (21, "in a range common among people who train"),
        (25, "in the middle range of adults"),
        (32, "above the middle range of adults"),
    ),
}

ESSENTIAL_PERCENT = {Sex.MALE: 3.0, Sex.FEMALE: 12.0}
"""Essential fat of Behnke's reference man and woman (from memory)."""


@dataclass(frozen=True, slots=True)
class Norm:
    """Where a percent lies. Of 100 people of the group, `fewest` to `most` had more fat.

    `likely_fewest` and `likely_most` are the same for the whole likely range of the percent; None
    where that range is not known. `band` says where it falls, None below all of them.
    """

    sex: Sex
    youngest_years: int
    oldest_years: int | None
    fewest: int
    most: int
    likely_fewest: int | None
    likely_most: int | None
    band: str | None

    @property
    def group(self) -> str:
        """Whom the percent is compared with: 'men of 30 to 39 years'."""
        people = "men" if self.sex is Sex.MALE else "women"
        if self.oldest_years is None:
            return f"{people} from {self.youngest_years} years"
        return f"{people} of {self.youngest_years} to {self.oldest_years} years"

    @property
    def lines(self) -> tuple[str, ...]:
        """The position in sentences, each with its source, and the caution last."""
        return tuple(self._lines())

    def _lines(self) -> Iterator[str]:
        likely = ""
        if self.likely_fewest is not None and self.likely_most is not None:
            likely = f" ({self.likely_fewest} to {self.likely_most} for the likely range)"
        yield (
            f"Among 100 {self.group} about {self.fewest} to {self.most} had a higher percent"
            f"{likely}. {PERCENTILES_SOURCE} ({PERCENTILES_CONFIRMED.in_words})."
        )
        if self.band is not None:
            yield f"It lies {self.band}. {RANGES_SOURCE} ({RANGES_CONFIRMED.in_words})."
        yield NORM_CAUTION

    def to_plain(self) -> dict[str, object]:
        """As a JSON object."""
        return {
            "group": self.group,
            "fewest_of_100_higher": self.fewest,
            "most_of_100_higher": self.most,
            "likely_fewest_of_100_higher": self.likely_fewest,
            "likely_most_of_100_higher": self.likely_most,
            "percentiles_source": PERCENTILES_SOURCE,
            "percentiles_confirmed": PERCENTILES_CONFIRMED.value,
            "band": self.band,
            "band_source": RANGES_SOURCE,
            "band_confirmed": RANGES_CONFIRMED.value,
            "lines": list(self.lines),
        }


def norm(sex: Sex, age_years: int, fat_percent: float, spread: Spread | None = None) -> Norm | None:
    """Where a fat percent lies among people of this sex and decade of age.

    None below 20 years: the sources are about adults. `spread` is the likely range of the percent.

    >>> norm(Sex.MALE, 35, 18.4).group, norm(Sex.MALE, 35, 18.4).fewest
    ('men of 30 to 39 years', 50)
    """
    if age_years < YOUNGEST_YEARS:
        return None
    decade = min(_OPEN_FROM_YEARS, age_years // 10 * 10)
    values = _TABLE[sex][decade]
    fewest, most = _higher(values, fat_percent)
    return Norm(
        sex=sex,
        youngest_years=decade,
        oldest_years=None if decade == _OPEN_FROM_YEARS else decade + 9,
        fewest=fewest,
        most=most,
        likely_fewest=None if spread is None else _higher(values, spread.high)[0],
        likely_most=None if spread is None else _higher(values, spread.low)[1],
        band=_band(sex, fat_percent),
    )


def _higher(values: tuple[float, ...], fat_percent: float) -> tuple[int, int]:
    """Between which two numbers of 100 had a higher percent."""
    most = 100
    for percentile, value in zip(PERCENTILES, values, strict=True):
        if fat_percent <= value:
            return percentile, most
        most = percentile
    return 0, most


def _band(sex: Sex, fat_percent: float) -> str | None:
    # The source has gaps between whole percents; its next range begins at the whole one.
    found = None
    for low, words in _RANGES[sex]:
        if fat_percent >= low:
            found = words
    return found
