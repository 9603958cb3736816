"""A busy station's years: thousands of visits are listed, reviewed, reported and erased rightly.

4,000 visits are made from a seed. More than a thousand of them are unsigned: more than fit one
page of anything, and more than SQLite once took as parameters of one statement. Five times as
many went the same ways, for a minute longer; `FOLDCALL_TEST_VISITS=20000 pytest` takes them.
"""

import os
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from many_visits import LATER, PER_CLIENT, PER_DAY, fill, people, visits

from capture.report.attention import findings, urgency
from capture.report.record import record_of
from capture.reporting import story_of
from capture.reviewing import Review
from capture.store import Store, open_store
from capture.store.upkeep import contents
from capture.visit.replay import replay
from capture.visit.state import Plan

COUNT = int(os.environ.get("FOLDCALL_TEST_VISITS", "4000"))


def test_the_same_seed_gives_the_same_visits() -> None:
    """Another seed gives others."""
    assert list(visits(3)) == list(visits(3))
    assert people(8) == people(8)
    assert next(visits(1, seed=2)) != next(visits(1))


def test_generated_visits_can_be_replayed(tmp_path: Path) -> None:
    """Their journals are such as the machine writes."""
    fill(str(tmp_path / "few.db"), 5)
    with open_store(tmp_path / "few.db") as store:
        for row in store.visits():
            entries = store.entries(row.id)
            assert replay(Plan.from_plain(row.plan), entries).sequence == len(entries)


def test_a_store_is_filled_as_a_merge_would_fill_it(tmp_path: Path) -> None:
    """The quick way of the tests leaves the same rows, and every guard of the tables."""
    fill(str(tmp_path / "quick.db"), 30)
    with open_store(tmp_path / "quick.db") as quick, open_store(tmp_path / "slow.db") as slow:
        slow.join(people(30), visits(30), named="chance", refuse_conflicts=True)
        rows = [contents(store.db) for store in (quick, slow)]
        assert rows[0].pop("_sqlite_migrations")[0] == rows[1].pop("_sqlite_migrations")[0]
        assert rows[0] == rows[1]
        made = "SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY type, name"
        assert quick.db.execute(made).fetchall() == slow.db.execute(made).fetchall()


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """The store with all the visits."""
    path = tmp_path_factory.mktemp("many") / "many.db"
    fill(str(path), COUNT)
    with open_store(path) as store:
        yield store


def test_the_whole_store_is_sound(full: Store) -> None:
    """No journal has a gap; every visit is in the day list once."""
    assert full.check() == ()
    assert full.db.view("day_list").count == COUNT


def test_a_day_lists_its_own_visits_only(full: Store) -> None:
    """The list of a day in the middle holds that day's 40, the gravest first."""
    days = Counter(row.started_at[:10] for row in full.visits())
    day = sorted(days)[len(days) // 2]
    review = Review(full, lambda: LATER, date=day)
    assert len(review.rows) == days[day] == PER_DAY
    assert {row.started_at[:10] for row in review.rows} == {day}
    urgencies = [urgency(row.findings) for row in review.rows]
    assert urgencies == sorted(urgencies, reverse=True)


def test_all_unsigned_visits_are_found(full: Store) -> None:
    """As many as the day list counts, and a search narrows them."""
    review = Review(full, lambda: LATER, unsigned=True)
    (unsigned,) = full.db.execute("SELECT count(*) FROM day_list WHERE NOT signed_off").fetchone()
    assert len(review.rows) == unsigned > COUNT // 20
    for row in review.rows[::53]:
        visit = full.visit(row.visit_id)
        _, *earlier = full.visits_before(visit.client.id, visit.started_at, most=2)
        last = record_of(full.visit_snapshot(earlier[0])) if earlier else None
        assert row.findings == findings(record_of(full.visit_snapshot(row.visit_id)), last)
    review.filter = "skipped"
    assert all("skipped" in row.told for row in review.rows)
    assert 0 < len(review.rows) < unsigned


def test_a_report_looks_back_over_its_own_person_only(full: Store) -> None:
    """The last visit of a person has their three before it, in order."""
    row = full.visit(str(full.newest_visit()))
    story = story_of(full, row)
    ids = [visit.id for visit, _ in story.earlier]
    assert ids == [each.id for each in full.visits(row.client.id)[1:]]
    assert len(ids) == PER_CLIENT - 1


def test_an_erased_person_leaves_all_others(full: Store) -> None:
    """The four visits of one person are gone, and none else's."""
    client = full.clients()[17]
    assert full.erase_client(client.id, at=LATER) == PER_CLIENT
    (left,) = full.db.execute("SELECT count(*) FROM visits").fetchone()
    assert left == COUNT - PER_CLIENT
    assert full.check() == ()
