"""Numbers and readings as they are typed after an option: text in, values or a `MisuseError` out.

Only plain decimal numbers pass: no exponent, no infinity, no "nan", no digits of other scripts.
"""

import re
from collections.abc import Iterable
from datetime import date

from capture.composition.equations import equations
from capture.composition.shown import Body
from capture.composition.table import reading_tenths
from capture.errors import MisuseError
from capture.showable import one_line

_NUMBER = re.compile(r"-?[0-9]{1,6}(\.[0-9]{1,6})?", re.ASCII)
_LONGEST_SHOWN = 20
KNOWN_SITES = tuple(dict.fromkeys(site for known in equations() for site in known.sites))
"""Every site that any equation asks for."""


def short(text: str) -> str:
    """At most the beginning of what was given, without what a terminal would act upon."""
    clean = one_line(text)
    return clean if len(clean) <= _LONGEST_SHOWN else f"{clean[:_LONGEST_SHOWN]}…"


def number(text: str, option: str, low: float, high: float, unit: str) -> float:
    """A plain decimal number in its range.

    >>> number("45.5", "--sum", 1, 1000, "mm")
    45.5
    """
    hint = f"Give a plain number from {low:g} to {high:g} {unit}, with a decimal point."
    if _NUMBER.fullmatch(text) is None:
        raise MisuseError(f"{option} {short(text)} is no plain number.", hint)
    value = float(text)
    if not low <= value <= high:
        raise MisuseError(f"{option} {short(text)} is out of range.", hint)
    return value


def optional_number(
    text: str | None, option: str, low: float, high: float, unit: str
) -> float | None:
    """As `number`, and None for an option that was not given."""
    return None if text is None else number(text, option, low, high, unit)


def body_of(weight: str | None, height: str | None, target: str | None) -> Body:
    """What stands after `--weight`, `--height` and `--target`."""
    body = Body(
        optional_number(weight, "--weight", 5, 500, "kg"),
        optional_number(height, "--height", 40, 280, "cm"),
        optional_number(target, "--target", 1, 60, "percent"),
    )
    if body.target_percent is not None and body.weight_kg is None:
        raise MisuseError("--target needs a weight.", "Give --weight as well.")
    return body


def completed_years(text: str | None) -> int:
    """An age as it stands after `--age`."""
    if text is None:
        raise MisuseError("--age is missing.", "Give the age in completed years.")
    age = number(text, "--age", 0, 120, "years")
    if not age.is_integer():
        raise MisuseError(
            f"--age {short(text)} is no whole number.", "Give the age in completed years."
        )
    return int(age)


def years_on(born: date, day: date) -> int:
    """Completed years on a day.

    >>> years_on(date(1985, 3, 31), date(2026, 3, 30))
    40
    """
    return day.year - born.year - ((day.month, day.day) < (born.month, born.day))


def readings(given: Iterable[str]) -> dict[str, tuple[int, ...]]:
    """Readings by site, in tenths of a mm, from texts such as `triceps=12.4,12.8`.

    >>> readings(["triceps=12.4,12.8", "iliac crest=15"])
    {'triceps': (124, 128), 'iliac_crest': (150,)}
    """
    found: dict[str, tuple[int, ...]] = {}
    for text in given:
        name, equals, values = text.partition("=")
        site = name.strip().lower().replace(" ", "_")
        if not equals or site not in KNOWN_SITES:
            raise MisuseError(
                f"--reading {short(text)} names no known site.",
                f"Write SITE=MM, with a site of {', '.join(KNOWN_SITES)}.",
            )
        if site in found:
            raise MisuseError(
                f"--reading names {site} twice.", f"Put its readings together: {site}=12.4,12.6"
            )
        try:
            found[site] = tuple(reading_tenths(value) for value in values.split(","))
        except ValueError as error:
            raise MisuseError(
                f"--reading {short(text)} {error}.", "Write SITE=MM or SITE=MM,MM."
            ) from None
    return found
