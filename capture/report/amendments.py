"""What the amendments of a reading come to. Amendments are plain objects as the store keeps them.

Each names those that it follows. Two that follow the same one were made at two stations that did
not know of each other: then neither counts, and the fork is told until a person settles it.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

Amendment = Mapping[str, Any]


def ends(amendments: Iterable[Amendment]) -> tuple[Amendment, ...]:
    """The amendments of one reading that no other follows: one, or several in a fork."""
    listed = list(amendments)
    followed = {one for each in listed for one in each["follows"]}
    return tuple(each for each in listed if each["id"] not in followed)


def forked(amendments: Iterable[Amendment]) -> tuple[int, ...]:
    """The readings of a visit that were amended in two ways."""
    by_reading: dict[int, list[Amendment]] = {}
    for each in amendments:
        if each["number"] is not None:
            by_reading.setdefault(each["number"], []).append(each)
    return tuple(sorted(number for number, ours in by_reading.items() if len(ends(ours)) > 1))


def value_that_counts(
    taken_tenths_mm: int, confirmed: bool, amendments: Sequence[Amendment]
) -> int | None:
    """The value in tenths of a mm that counts, None if none does.

    >>> value_that_counts(150, True, [])
    150
    """
    # Most readings have none, and a list of visits asks for a hundred thousand of them.
    last = ends(amendments) if amendments else ()
    if len(last) == 1:
        if last[0]["kind"] == "value":
            return int(last[0]["value_tenths_mm"])
        if last[0]["kind"] == "withdrawn":
            return None
    return taken_tenths_mm if confirmed else None
