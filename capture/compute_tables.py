"""What `foldcall compute` makes of tables of readings: the visits, their error, their change."""

import argparse
from pathlib import Path

from capture.composition.assessor import between_assessors, within_assessor
from capture.composition.change import last_change
from capture.composition.equations import FoldDirection
from capture.composition.measured import MeasuredVisit
from capture.composition.options import KNOWN_SITES
from capture.composition.table import visits_from_csv
from capture.errors import CaptureError, MisuseError
from capture.terminal import show, show_json

MOST_BYTES = 10_000_000


def print_json(value: object) -> None:
    """Print a JSON value for people and programs alike."""
    show_json(value, indent=2)


def visits_of(path: Path) -> tuple[MeasuredVisit, ...]:
    """The visits in a CSV file. Raises `CaptureError` with what is wrong with it."""
    try:
        with path.open("rb") as file:
            found = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "the name is none"
        raise CaptureError(f"The table cannot be opened: {reason}.", "Check its name.") from None
    if len(found) > MOST_BYTES:
        raise CaptureError(
            f"The table is larger than {MOST_BYTES // 1_000_000} MB.", "Split it into several."
        )
    try:
        text = found.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise CaptureError("The table is no UTF-8 text.", "Save it as CSV, UTF-8.") from None
    return visits_from_csv(text, KNOWN_SITES)


def one_visit(path: Path) -> tuple[dict[str, tuple[int, ...]], dict[str, FoldDirection]]:
    """The readings and fold directions by site of a table of one visit."""
    visits = visits_of(path)
    if len(visits) > 1:
        raise CaptureError(
            f"The table holds {len(visits)} visits.", "Give a table with one visit to compute."
        )
    measured = visits[0].measurements
    return (
        {each.site: each.readings_tenths_mm for each in measured},
        {each.site: each.conditions.fold_direction for each in measured},
    )


def print_tem(chosen: argparse.Namespace) -> int:
    """Print the technical error by site of one assessor, or between two; the exit code."""
    visits = visits_of(chosen.tem)
    known = sorted({visit.assessor for visit in visits})
    assessor = chosen.assessor
    if assessor is None and len(known) == 1:
        assessor = known[0]
    if assessor not in known or (chosen.other is not None and chosen.other not in known):
        raise MisuseError(
            f"The table has {len(known)} assessors, and not the one asked for.",
            "Name them with --assessor and --other as the table does.",
        )
    print_errors(visits, assessor, chosen.other, as_json=chosen.json)
    return 0


def print_errors(
    visits: tuple[MeasuredVisit, ...], assessor: str, other: str | None, *, as_json: bool
) -> None:
    """Print the technical error by site of an assessor, or between them and another one."""
    if other is None:
        errors = within_assessor(visits, assessor)
    elif other == assessor:
        raise MisuseError("--assessor and --other are the same.", "Name two assessors.")
    else:
        errors = between_assessors(visits, assessor, other)
    if as_json:
        print_json([error.to_plain() for error in errors])
    else:
        show("\n".join(error.text for error in errors) or "There are no readings to compare.")


def print_change(chosen: argparse.Namespace) -> int:
    """Print the change between a client's last two visits; the exit code."""
    visits = visits_of(chosen.change)
    clients = {visit.client for visit in visits}
    if chosen.client is None and len(clients) > 1:
        raise MisuseError("The table has several clients.", "Name one with --client.")
    wanted = next(iter(clients)) if chosen.client is None else chosen.client
    if any(not visit.date for visit in visits):
        raise CaptureError("A visit has no date.", "The table needs the column date for a change.")
    found = last_change(visits, wanted)
    if found is None:
        raise CaptureError("There are no two visits to compare.", "A change needs two visits.")
    before, now, change = found
    if chosen.json:
        print_json({"before": before.date, "now": now.date, **change.to_plain()})
        return 0
    show(f"From {before.date} to {now.date}")
    for each in (change.sum, *change.sites):
        show(each.text)
    return 0
