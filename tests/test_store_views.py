"""The views open in any SQLite browser, and the guide says what each column is."""

import contextlib
import re
import sqlite3
from pathlib import Path

import pytest
from many_visits import filled

from capture.store import open_store

GUIDE = Path(__file__).parent.parent / "DEVELOPERS.md"


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store of 12 visits."""
    return filled(tmp_path_factory.mktemp("views") / "views.db")


def documented() -> dict[str, list[str]]:
    """The columns of each view by the guide."""
    text = GUIDE.read_text(encoding="utf-8").partition("## The store in an SQLite browser")[2]
    found: dict[str, list[str]] = {}
    views: list[str] = []
    for line in text.partition("\n## ")[0].splitlines():
        if line.startswith("**"):
            views = re.findall(r"\*\*`(\w+)`\*\*", line)
            found |= {view: [] for view in views}
        elif line.startswith("| `"):
            for view in views:
                found[view].append(line.split("`")[1])
    return found


def test_every_column_of_every_view_is_in_the_guide(path: Path) -> None:
    """And none that does not exist, in the same order."""
    with open_store(path) as store:
        views = {
            view: [column.name for column in store.db.view(view).columns]
            for view in store.db.view_names()
        }
    assert documented() == views


def test_another_program_reads_the_views(path: Path) -> None:
    """A plain connection, read-only and without our settings, sees rows in each view."""
    with contextlib.closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as opened:
        counts = {
            view: opened.execute(f"SELECT count(*) FROM {view}").fetchone()[0]
            for view in documented()
        }
    assert counts["day_list"] == 12
    assert counts["readings"] > counts["confirmed_readings"] > 100
    assert counts["amended_readings"] == 1


def test_a_stored_result_is_listed_with_its_figures(tmp_path: Path) -> None:
    """Sum, percent, its error and the equation come out of the result that was saved."""
    with open_store(filled(tmp_path / "results.db")) as store:
        visit = store.visits()[0]
        result = {
            "sum": {"sites": [], "sum_mm": 97.4},
            "fat": {"fat_percent": 18.25, "standard_error_percent": 3.6},
            "equation": {"id": "some_equation"},
        }
        store.add_result(visit.id, at="2026-02-01T10:00:00+01:00", sequence=3, result=result)
        (row,) = store.db.view("result_list").rows
    assert (row["sum_mm"], row["fat_percent"]) == (97.4, 18.25)
    assert (row["standard_error_percent"], row["equation"]) == (3.6, "some_equation")
    assert (row["client"], row["sequence"]) == (visit.client.name, 3)
