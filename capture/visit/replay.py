"""Rebuilds a visit from its journal, by the same machine that wrote it."""

from collections.abc import Iterable

from capture.errors import CaptureError
from capture.visit.call import call_of
from capture.visit.entry import Entry
from capture.visit.machine import Record, step
from capture.visit.state import Plan, Visit


class ReplayError(CaptureError):
    """The journal does not lead to what it says it led to."""


def replay(plan: Plan, entries: Iterable[Entry]) -> Visit:
    """The visit after these entries, which must be all of its journal from the first on.

    Raises ReplayError where an entry's calls lead to other facts than it recorded: the journal
    was damaged, or a version with other rules wrote it. Nothing is guessed then.
    """
    visit = Visit(plan)
    for entry in entries:
        try:
            call = call_of(entry)
        except (KeyError, TypeError, ValueError) as error:
            raise _not_followed(entry, "its call is of no known kind.") from error
        visit, effects = step(visit, call, entry.at)
        again = next(each.entry for each in effects if isinstance(each, Record))
        if again != entry:
            raise _not_followed(entry, "its call leads to something else than was recorded.")
    return visit


def _not_followed(entry: Entry, why: str) -> ReplayError:
    return ReplayError(
        f"Journal entry {entry.sequence} of this visit cannot be followed: {why}",
        "Open the store with the version of foldcall that wrote it; nothing was changed.",
    )
