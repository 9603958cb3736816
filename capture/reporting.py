"""The command `foldcall report`: one visit as an HTML page to print, hand over and file."""

import argparse
from pathlib import Path

from capture.errors import CaptureError
from capture.report.page import page_lines
from capture.report.record import record_of
from capture.report.story import Person, Story, tell
from capture.store import Store, VisitRow
from capture.transfer import store_of, store_option, write_new

MOST_OF_ASSESSOR = 120
"""Latest visits of the assessor that the own error is found from; older ones say less of today."""


def add_command(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `report` to the commands of a parser."""
    parser = commands.add_parser("report", help="write a visit as an HTML page")
    parser.add_argument(
        "visit", metavar="VISIT", help="identifier, the beginning of one, or 'last'"
    )
    parser.add_argument("--out", metavar="FILE", type=Path, help="must not exist yet")
    parser.add_argument(
        "--no-fat", action="store_true", help="the folds only: no percent, no density"
    )
    store_option(parser)
    parser.set_defaults(command=run)


def run(chosen: argparse.Namespace) -> int:
    """Write the report; the exit code."""
    with store_of(chosen) as store:
        row = visit_of(store, chosen.visit)
        story = story_of(store, row, show_fat=not chosen.no_fat)
    path = chosen.out or Path(f"report-{row.started_at[:10]}-{row.id[:8]}.html")
    write_new(path, (f"{line}\n" for line in page_lines(story)))
    print(f"Written: {path}")
    return 0


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


def story_of(store: Store, row: VisitRow, *, show_fat: bool = True) -> Story:
    """Everything a report says of a visit, read from the store."""
    visit = record_of(store.visit_snapshot(row.id))
    earlier = [
        record_of(store.visit_snapshot(each))
        for each in store.visits_before(row.client.id, row.started_at)
        if each != row.id
    ]
    of_assessor = [
        record_of(store.visit_snapshot(each))
        for each in store.latest_of_assessor(row.assessor.id, MOST_OF_ASSESSOR)
    ]
    person = Person(row.client.name, row.assessor.name)
    return tell(visit, person, earlier, of_assessor, show_fat=show_fat)
