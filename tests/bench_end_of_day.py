"""Times the end of the day over 200 and over 20,000 visits, and prints the ratios.

`python tests/bench_end_of_day.py [FOLDER]` keeps the stores in the folder, and uses those that
lie there already. Nothing fails by the clock: the figures are for a person.
"""

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

from many_visits import LATER, fill

from capture.report.page import page_lines
from capture.reporting import story_of
from capture.reviewing import Review
from capture.store import Store, open_store

FEW, MANY = 200, 20_000
RUNS = 5


def _seconds(action: Callable[[], object], runs: int = RUNS) -> float:
    """The middle of some runs, in seconds."""
    taken = []
    for _ in range(runs):
        begun = time.perf_counter()
        action()
        taken.append(time.perf_counter() - begun)
    return median(taken)


def _day(store: Store) -> str:
    """A full day in the middle, which both stores have."""
    found = sorted({row.started_at[:10] for row in store.visits()})
    return found[len(found) // 2]


def measure(path: Path) -> dict[str, float]:
    """The times of one store, in seconds."""
    with open_store(path) as store:
        day = _day(store)
        review = Review(store, lambda: LATER, date=day)
        newest = store.newest_visit()
        row = store.visit(str(newest))
        unsigned = Review(store, lambda: LATER, unsigned=True)
        return {
            "open the store": _seconds(lambda: open_store(path).close()),
            "list a day of 40 visits": _seconds(lambda: Review(store, lambda: LATER, date=day)),
            "open a visit": _seconds(lambda: (review.open(1), review.lines())),
            "write a report": _seconds(lambda: list(page_lines(story_of(store, row)))),
            "unsigned, first time": _seconds(lambda: _afresh(store), runs=1),
            "list all unsigned": _seconds(lambda: Review(store, lambda: LATER, unsigned=True)),
            "find in all unsigned": _seconds(lambda: _found(unsigned)),
        }


def _afresh(store: Store) -> Review:
    """The list where no visit was looked over before."""
    store.db.execute("DELETE FROM briefs")
    return Review(store, lambda: LATER, unsigned=True)


def _found(review: Review) -> int:
    """How many rows of the list hold two words."""
    review.filter = ""
    _ = review.rows
    review.filter = "third chest"
    return len(review.rows)


def main(folder: Path) -> None:
    """Make the stores where they are missing, and print the table."""
    times = {}
    for count in (FEW, MANY):
        path = folder / f"visits_{count}.db"
        if not path.exists():
            begun = time.perf_counter()
            fill(str(path), count)
            print(f"{count} visits made in {time.perf_counter() - begun:.0f} s")
        times[count] = measure(path)
    print(f"{'':<26}{FEW:>10} {MANY:>10}   ratio")
    for what, few in times[FEW].items():
        many = times[MANY][what]
        print(f"{what:<26}{few * 1000:>8.1f}ms {many * 1000:>8.1f}ms {many / few:>7.1f}")


if __name__ == "__main__":
    if len(sys.argv) > 1:
        main(Path(sys.argv[1]))
    else:
        with tempfile.TemporaryDirectory() as made:
            main(Path(made))
