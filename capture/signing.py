"""What is kept with a sign-off: what the readings come to, as it is computed then."""

from collections.abc import Mapping, Sequence
from typing import Any

from capture.composition.client import ClientDefaults
from capture.errors import CaptureError
from capture.report.summary import visit_result_of
from capture.visit.entry import Entry, Plain
from capture.visit.replay import replay
from capture.visit.state import Plan


def signs_off(entry: Entry) -> bool:
    """Whether the visit is signed off by this entry."""
    return any(fact.get("kind") == "signed_off" for fact in entry.facts)


def result_at_sign_off(
    plan: Plan, entries: Sequence[Entry], choices: Mapping[str, Any]
) -> Plain | None:
    """What a visit comes to after these entries, by the equation that the client chose.

    `choices` are those of a client in the store. None where nothing can be computed: the sign-off
    counts all the same.
    """
    defaults = ClientDefaults.as_far_as_known(choices)
    try:
        found = visit_result_of(replay(plan, entries), defaults)
        return found.to_plain(show_fat=defaults.show_fat_percent)
    except (CaptureError, ArithmeticError, KeyError, ValueError):
        # No equation fits what was measured; the readings are what counts.
        return None
