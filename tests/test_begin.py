"""What a new visit knows of the client's last one."""

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from capture.begin import Wish, open_visit
from capture.errors import MisuseError
from capture.store import Store, open_store
from capture.visit.state import Plan

NOON = "2026-03-02T12:00:00+01:00"
TODAY = date(2026, 6, 1)


@pytest.fixture
def store(tmp_path: Path) -> Any:
    """An open store."""
    with open_store(tmp_path / "store.db") as opened:
        yield opened


def keep(store: Store, plan: Plan, desk: Any) -> None:
    """Save a visit as it was lived at the desk."""
    client = store.find_client("Rowan Alderby") or store.add_client(
        "Rowan Alderby", sex=plan.sex.value, at=NOON
    )
    assessor = store.add_assessor("Tobias Quill", at=NOON)
    row = store.begin_visit(
        client.id, assessor.id, at=NOON, plan=plan.to_plain(), program_version="0.1.0"
    )
    for entry in desk.journal:
        store.append(row.id, entry)


WISH = Wish("Rowan Alderby", "Tobias Quill", age_years=41)


def test_the_marks_of_the_last_visit_are_handed_on(store: Store, plan: Plan, finished: Any) -> None:
    """The tape marks and the way of lifting are there when the client comes again."""
    finished.say("sign off")
    keep(store, plan, finished)
    opened = open_visit(store, WISH, TODAY, NOON)
    assert not opened.resumed
    last = opened.visit.plan.last_time
    assert last is not None
    assert {each.site for each in last.sites if each.mark} == {"chest", "triceps", "thigh"}
    assert opened.visit.plan.assessor == "Tobias Quill"


def test_an_unfinished_visit_is_gone_on_with_instead(
    store: Store, plan: Plan, halfway: Any
) -> None:
    """Nothing is handed on from it: it is the visit."""
    keep(store, plan, halfway)
    opened = open_visit(store, WISH, TODAY, NOON)
    assert opened.resumed
    assert opened.visit == halfway.visit


def test_a_first_visit_has_nothing_before_it(store: Store) -> None:
    """A new client begins with an empty past."""
    wish = Wish("Ashe Tamarind", "Tobias Quill", sex="female", age_years=29)
    assert open_visit(store, wish, TODAY, NOON).visit.plan.last_time is None


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"birth_date": "3.2.90"}, "'3.2.90' is no date. Write it as 1985-03-31."),
        ({"caliper_step_mm": 0.3}, "A scale step of 0.3 mm is not known. Give 0.1, 0.2, 0.5 or 1."),
    ],
    ids=["birth date", "scale step"],
)
def test_what_cannot_be_begins_nothing(store: Store, wrong: dict[str, Any], told: str) -> None:
    """It is told by name with what to write, beside an age too; and no client is made."""
    wish = Wish("Ashe Tamarind", "Tobias Quill", sex="female", age_years=29)
    with pytest.raises(MisuseError) as caught:
        open_visit(store, replace(wish, **wrong), TODAY, NOON)
    assert str(caught.value) == told
    assert store.clients() == []
