"""`foldcall protocol`: listed, shown, copied, changed, checked; and which one a visit follows."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from capture.begin import Wish, open_visit
from capture.cli import main
from capture.protocol.protocol import PROTOCOLS
from capture.protocol.shipped import SHIPPED
from capture.protocol_file import open_protocol
from capture.store import Store, open_store
from capture.visit.state import Plan
from tests.conftest import Desk

NOON = "2026-03-02T12:00:00+01:00"
TODAY = date(2026, 6, 1)
ADA = Wish("Ada Moss", "Bo Lind", sex="female", age_years=41)


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """A copy of the three sites for women."""
    file = tmp_path / "own.toml"
    assert main(["protocol", "copy", "three_sites_women", str(file)]) == 0
    return file


def test_every_protocol_is_listed_and_shown(capsys: pytest.CaptureFixture[str]) -> None:
    """By name, with its source; each site in its order with fold and landmark."""
    assert main(["protocol", "list"]) == 0
    listed = capsys.readouterr().out
    for name in SHIPPED:
        assert f"\n{name} " in f"\n{listed}"
        assert main(["protocol", "show", name]) == 0
        shown = capsys.readouterr().out
        for number, site in enumerate(PROTOCOLS[name].sites, 1):
            assert f"\n{number}. {site.title}: {site.fold.value} fold" in shown


def test_a_copy_is_what_it_was_copied_from(own: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It can be used as it is, and a note says that it wants an id of its own once changed."""
    assert open_protocol(str(own)) == PROTOCOLS["three_sites_women"]
    capsys.readouterr()
    assert main(["protocol", "check", str(own)]) == 0
    assert "Note" not in capsys.readouterr().out
    own.write_text(own.read_text("utf-8").replace("circuits = 2", "circuits = 3"), "utf-8")
    assert main(["protocol", "check", str(own)]) == 0
    told = capsys.readouterr().out
    assert "3 circuits" in told
    assert "Give it its own." in told


def test_a_copy_overwrites_nothing(own: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that is there stays as it is; a name that is none is refused."""
    before = own.read_bytes()
    assert main(["protocol", "copy", "seven_sites", str(own)]) == 1
    assert own.read_bytes() == before
    assert main(["protocol", "copy", "seven_sites", str(own.with_suffix(".txt"))]) == 2
    assert main(["protocol", "copy", "nine_sites", str(own.with_name("x.toml"))]) == 2
    assert main(["protocol", "copy", "seven_sites", str(own.parent / "no" / "x.toml")]) == 1
    assert sorted(each.name for each in own.parent.iterdir()) == ["own.toml"]
    assert "nine_sites" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("before", "after", "key", "fix"),
    [
        ('whichever = "larger"', 'whichever = "most"', "tolerance.whichever", "larger, smaller"),
        ("circuits = 2", "circuits = 0", "circuits", "from 1 to 4"),
        ('fold = "vertical"', 'fold = "upright"', "site 1: fold", "vertical, horizontal"),
        ('side = "right"', 'side = "both"', "site 1: side", "right, left"),
        ('tape = "down"', 'tape = "near"', "rounding.tape", "down, up"),
        ('tape_from = "the elbow"', 'tape_mark = "2/1"\ntape_from = "the elbow"',
         "site 1: tape_mark", "1/2"),
        ('tape_from = "the elbow"', 'tape_mark_women = "third"\ntape_from = "the elbow"',
         "site 1: tape_mark_women", "1/3"),
        ("usual_mm = [3, 50]", "usual_mm = [50, 3]", "site 1: usual_mm", "[3, 50]"),
        ('title = "triceps"', 'titel = "triceps"', "site 1: title", "Name the site"),
        ("[tolerance]", "[tolerance", "own.toml", "Mend the file"),
    ],
    ids=lambda text: text[:24],
)  # fmt: skip
def test_a_mistake_is_told_with_file_key_and_fix(
    own: Path, capsys: pytest.CaptureFixture[str], before: str, after: str, key: str, fix: str
) -> None:
    """Whoever changes a file is told where the mistake is and what to write instead."""
    text = own.read_text("utf-8")
    assert before in text
    own.write_text(text.replace(before, after, 1), "utf-8")
    assert main(["protocol", "check", str(own)]) == 1
    told = capsys.readouterr().err
    for part in ("own.toml", key, fix):
        assert part in told


def test_a_site_without_a_spoken_name_is_told(
    own: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It can be measured, and the note says how."""
    text = own.read_text("utf-8").replace('id = "thigh"', 'id = "shin"', 1)
    own.write_text(text, "utf-8")
    assert main(["protocol", "check", str(own)]) == 0
    assert "no site 'shin'" in capsys.readouterr().out


@pytest.fixture
def store(tmp_path: Path) -> object:
    """An open store."""
    with open_store(tmp_path / "store.db") as opened:
        yield opened


def visited(store: Store, plan: Plan, desk: Desk) -> None:
    """Keep a visit of Ada's that was signed off."""
    client = store.add_client("Ada Moss", sex="female", at=NOON)
    assessor = store.add_assessor("Bo Lind", at=NOON)
    row = store.begin_visit(
        client.id, assessor.id, at=NOON, plan=plan.to_plain(), program_version="0.1.0"
    )
    for entry in desk.say("finish early", "sign off").journal:
        store.append(row.id, entry)


@pytest.mark.parametrize("changed", [False, True], ids=["as shipped", "changed, same id"])
def test_the_next_visit_follows_the_same_protocol(
    store: Store, plan: Plan, grammar: object, changed: bool
) -> None:
    """Unless another is named: else the two visits would not compare."""
    women = PROTOCOLS["three_sites_women"]
    protocol = replace(women, circuits=3) if changed else women
    mine = replace(plan, protocol=protocol)
    visited(store, mine, Desk(grammar, mine).permitted())  # type: ignore[arg-type]
    again = open_visit(store, ADA, TODAY, NOON)
    assert again.visit.plan.protocol == protocol
    named = open_visit(store, replace(ADA, protocol="four_sites", new=True), TODAY, NOON)
    assert named.visit.plan.protocol.id == "four_sites"
