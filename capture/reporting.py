"""The command `foldcall report`: one visit as an HTML page to print, hand over and file."""

import argparse
from collections.abc import Iterable
from pathlib import Path

from capture.composition.client import ClientDefaults
from capture.composition.options import body_of
from capture.errors import CaptureError, MisuseError
from capture.report.page import page_lines
from capture.report.record import VisitRecord, record_of
from capture.report.story import Asked, Person, Story, last_alike, tell
from capture.store import Client, Store, VisitRow
from capture.terminal import show
from capture.transfer import store_of, store_option, write_new

MOST_OF_ASSESSOR = 120
"""Latest visits of the assessor that the own error is found from; older ones say less of today."""


def add_command(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `report` to the commands of a parser."""
    parser = commands.add_parser("report", help="write a visit as an HTML page")
    add = parser.add_argument
    add("visit", metavar="VISIT", help="identifier, the beginning of one, or 'last'")
    add("--out", metavar="FILE", type=Path, help="must not exist yet")
    add("--no-fat", action="store_true", help="the folds only: no percent, no density")
    add("--no-norms", action="store_true", help="leave the position among others out")
    add("--equation", metavar="ID", help="another equation than the client's")
    add("--conversion", metavar="ID", help="another conversion than the client's")
    add("--override", action="store_true", help="compute outside the equation's sample, marked")
    add("--weight", metavar="KG", help="body weight on the day, for the masses")
    add("--height", metavar="CM", help="body height")
    add("--target", metavar="PERCENT", help="what a weight is asked for; needs --weight")
    store_option(parser)
    parser.set_defaults(command=run)


def run(chosen: argparse.Namespace) -> int:
    """Write the report; the exit code."""
    body = body_of(chosen.weight, chosen.height, chosen.target)
    with store_of(chosen) as store:
        row = visit_of(store, chosen.visit)
        asked = Asked(_defaults(chosen, row.client), body, chosen.override)
        story = story_of(store, row, asked)
    path = chosen.out or Path(f"report-{row.started_at[:10]}-{row.id[:8]}.html")
    write_new(path, (f"{line}\n" for line in page_lines(story)))
    show(f"Written: {path}")
    return 0


def _defaults(chosen: argparse.Namespace, client: Client) -> ClientDefaults:
    """The client's choices, and what was given for this report. Neither shows more than both."""
    own = client.choices
    given = {
        "equation": chosen.equation or own["equation"],
        "conversion": chosen.conversion or own["conversion"],
        "show_fat_percent": own["show_fat_percent"] and not chosen.no_fat,
        "show_norms": own["show_norms"] and not chosen.no_norms,
    }
    if chosen.equation is not None and chosen.conversion is None:
        # The client's conversion belongs to the client's equation.
        given["conversion"] = None
    try:
        return ClientDefaults.from_plain(given)
    except CaptureError as error:
        if chosen.equation is None and chosen.conversion is None:
            raise
        raise MisuseError(error.message, "See 'foldcall compute --list'.") from error


def visit_of(store: Store, named: str) -> VisitRow:
    """The visit of this identifier or beginning of one, or the last one.

    Raises `CaptureError` if there is none, or if several begin so.
    """
    if named == "last":
        newest = store.newest_visit()
        if newest is None:
            raise CaptureError("The store holds no visit.", "Measure somebody first.")
        return store.visit(newest)
    found = store.visits_beginning(named.lower())
    if not found:
        raise CaptureError("The store holds no such visit.", "See 'foldcall review'.")
    if len(found) > 1:
        raise CaptureError("Several visits begin so.", "Give more of the identifier.")
    return store.visit(found[0])


def story_of(store: Store, row: VisitRow, asked: Asked | None = None) -> Story:
    """Everything a report says of a visit, read from the store; as the client chose, if None."""
    visit = record_of(store.visit_snapshot(row.id))
    earlier = [
        record_of(store.visit_snapshot(each))
        for each in store.visits_before(row.client.id, row.started_at)
        if each != row.id
    ]
    before = last_alike(visit, earlier)
    assessors = dict.fromkeys([row.assessor.id, *([] if before is None else [before.assessor_id])])
    of_assessors = latest_records(store, assessors)
    person = Person(row.client.name, row.assessor.name)
    if asked is None:
        asked = Asked(ClientDefaults.from_plain(row.client.choices))
    return tell(visit, person, earlier, of_assessors, asked)


def latest_records(store: Store, assessor_ids: Iterable[str]) -> list[VisitRecord]:
    """The latest visits of some assessors: what their errors are found from."""
    return [
        record_of(each)
        for assessor in assessor_ids
        for each in store.light_snapshots(store.latest_of_assessor(assessor, MOST_OF_ASSESSOR))
    ]
