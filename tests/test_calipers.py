"""The calipers that are kept, their checks with gauge blocks, and what a visit makes of them."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from older_stores import store_of_steps

from capture.begin import Wish, open_visit
from capture.check import run as check_machine
from capture.cli import main
from capture.company import Sound, assemble, run_lines
from capture.errors import MisuseError
from capture.pack import Pack
from capture.protocol.caliper import Caliper, GaugeCheck, GaugePoint
from capture.screen.keymap import USUAL
from capture.sound.scripted import ScriptedSound
from capture.sound.settings import SoundSettings
from capture.sound.voice import VoiceKind
from capture.store import StoreError, open_store
from capture.store.calipers import CaliperChange

NOON = "2026-03-02T12:00:00+01:00"
TODAY = date(2026, 3, 2)
ADA = Wish("Ada Moss", "Bo Lind", sex="female", age_years=41)
QUIET = SoundSettings(voice=VoiceKind.SILENT)
DIAL = Caliper("dial caliper, grey case", 2, 800)
COARSE = Caliper("coarse caliper", 10, 600)
LAST_WEEK = GaugeCheck("2026-02-23", (GaugePoint(100, 100), GaugePoint(200, 202)))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A store with nothing in it."""
    file = tmp_path / "visits.db"
    open_store(file).close()
    return file


def foldcall(path: Path, *words: str) -> int:
    """Run `foldcall caliper` on the store."""
    return main(["caliper", *words, "--store", str(path)])


def added(path: Path) -> None:
    """Keep the dial caliper by the command."""
    assert foldcall(path, "add", DIAL.description, "--step", "0.2", "--opening", "80") == 0


def test_a_caliper_and_its_check_are_kept(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nominal against read at several openings, the drift of each, and how long it holds."""
    added(path)
    checked = ("check", "DIAL caliper, grey case", "40=40.2", "10=10", "20=20.2", "--by", "Bo Lind")
    assert foldcall(path, *checked, "--on", "2026-01-15") == 0
    told = capsys.readouterr().out
    assert " 10.0 mm read  10.0 mm    0.0\n 20.0 mm read  20.2 mm   +0.2\n" in told
    assert "Good until 2027-01-15." in told
    with open_store(path) as store:
        (kept,) = store.calipers()
    points = (GaugePoint(100, 100), GaugePoint(200, 202), GaugePoint(400, 402))
    assert kept.caliper == replace(DIAL, check=GaugeCheck("2026-01-15", points))
    assert kept.checks == (("Bo Lind", kept.caliper.check),)
    assert foldcall(path, "show", kept.id) == 0
    assert "2026-01-15  Bo Lind" in capsys.readouterr().out


def test_a_drift_and_an_old_check_are_told(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """More than 0.2 mm off wants service; after a year the check is due again."""
    added(path)
    assert foldcall(path, "list") == 0
    assert "No check with gauge blocks is known" in capsys.readouterr().out
    foldcall(path, "check", DIAL.description, "20=20.6", "--by", "Bo", "--on", "2020-02-03")
    told = capsys.readouterr().out
    assert "have it serviced" in told
    assert "overdue" in told
    assert "1 openings say little" in told


def test_the_last_check_counts_whenever_it_was_entered(path: Path) -> None:
    """A check that is entered late does not hide a later one."""
    added(path)
    for day, read in (("2026-01-15", "10.0"), ("2025-06-01", "10.6")):
        foldcall(path, "check", DIAL.description, f"10={read}", "--by", "Bo", "--on", day)
    with open_store(path) as store:
        (kept,) = store.calipers()
    assert [check.on for _, check in kept.checks] == ["2025-06-01", "2026-01-15"]
    assert kept.caliper.check == GaugeCheck("2026-01-15", (GaugePoint(100, 100),))


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (("add", " ", "--step", "0.2", "--opening", "80"), "empty"),
        (("add", "x", "--step", "0.3", "--opening", "80"), "0.3"),
        (("add", "x", "--step", "0.25", "--opening", "80"), "0.25"),
        (("add", "x", "--step", "0.2", "--opening", "120"), "120"),
        (("add", "x", "--step", "0.2", "--opening", "5"), "5"),
        (("add", "Dial caliper, GREY case", "--step", "0.2", "--opening", "80"), "kept already"),
        (("check", "nothing", "10=10", "--by", "Bo"), "no such caliper"),
        (("check", DIAL.description, "10", "--by", "Bo"), "'10'"),
        (("check", DIAL.description, "10=x", "--by", "Bo"), "'x'"),
        (("check", DIAL.description, "10=10.1", "--by", "Bo"), "10.1"),
        (("check", DIAL.description, "90=80", "--by", "Bo"), "90"),
        (("check", DIAL.description, "10=90", "--by", "Bo"), "90"),
        (("check", DIAL.description, "0=0", "--by", "Bo"), "0"),
        (("check", DIAL.description, "10=10", "10.0=10", "--by", "Bo"), "twice"),
        (("check", DIAL.description, "10=10", "--by", " "), "--by"),
        (("check", DIAL.description, "10=10", "--by", "Bo", "--on", "3.2.26"), "3.2.26"),
        (("check", DIAL.description, "10=10", "--by", "Bo", "--on", "2999-01-01"), "not come"),
        (("retire", "nothing", "--by", "Bo", "--because", "sold"), "no such caliper"),
        (("retire", DIAL.description, "--by", " ", "--because", "sold"), "--by"),
        (("retire", DIAL.description, "--by", "Bo", "--because", ""), "--because"),
        (("return", DIAL.description, "--by", "Bo", "--because", "found"), "in use already"),
    ],
    ids=lambda each: " ".join(each[1:]) if isinstance(each, tuple) else "",
)  # fmt: skip
def test_what_cannot_be_is_refused(
    path: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], named: str
) -> None:
    """The error names what is wrong, and nothing is kept."""
    added(path)
    assert foldcall(path, *words) in {1, 2}
    assert named in capsys.readouterr().err
    with open_store(path) as store:
        (kept,) = store.calipers()
    assert kept.checks == ()
    assert kept.changes == ()


def test_a_visit_takes_the_only_caliper(path: Path) -> None:
    """Without a word: its scale, its opening and its last check go into the plan."""
    with open_store(path) as store:
        store.add_caliper(DIAL, at=NOON)
        (kept,) = store.calipers()
        store.add_gauge_check(kept.id, LAST_WEEK, by_name="Bo Lind", at=NOON)
        plan = open_visit(store, ADA, TODAY, NOON).visit.plan
    assert plan.caliper == replace(DIAL, check=LAST_WEEK)


def test_of_several_calipers_one_is_named_or_the_last_is_taken(path: Path) -> None:
    """Never a guess: named, or the one of the client's last visit."""
    with open_store(path) as store:
        store.add_caliper(DIAL, at=NOON)
        store.add_caliper(COARSE, at=NOON)
        with pytest.raises(MisuseError, match="Several calipers") as caught:
            open_visit(store, ADA, TODAY, NOON)
        assert COARSE.description in caught.value.hint
        with pytest.raises(StoreError, match="no such caliper"):
            open_visit(store, replace(ADA, caliper="brass caliper"), TODAY, NOON)
        with pytest.raises(MisuseError, match="its own scale"):
            open_visit(store, replace(ADA, caliper="x", caliper_step_mm=1), TODAY, NOON)
        assert store.clients() == []
        first = open_visit(store, replace(ADA, caliper="Coarse caliper"), TODAY, NOON)
        assert first.visit.plan.caliper == COARSE
        again = open_visit(store, replace(ADA, new=True, caliper_step_mm=0.5), TODAY, NOON)
        assert again.visit.plan.caliper.step_tenths_mm == 5


def retired(path: Path, caliper: Caliper = DIAL, reason: str = "sold") -> None:
    """Retire a caliper by the command."""
    words = ("retire", caliper.description, "--by", "Bo Lind", "--because", reason)
    assert foldcall(path, *words) == 0


def test_a_retired_caliper_is_offered_no_more(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The one that is left is taken without a word, and the old one not even by name."""
    with open_store(path) as store:
        store.add_caliper(DIAL, at=NOON)
        store.add_caliper(COARSE, at=NOON)
        first = open_visit(store, replace(ADA, caliper=DIAL.description), TODAY, NOON)
    retired(path)
    with open_store(path) as store:
        assert open_visit(store, ADA, TODAY, NOON).visit.plan == first.visit.plan
        again = open_visit(store, replace(ADA, new=True), TODAY, NOON)
        assert again.visit.plan.caliper == COARSE
        with pytest.raises(MisuseError, match="retired") as caught:
            open_visit(store, replace(ADA, new=True, caliper=DIAL.description), TODAY, NOON)
        assert "foldcall caliper return" in caught.value.hint
    retired(path, COARSE, "broken")
    with open_store(path) as store:
        told = open_visit(store, replace(ADA, new=True, caliper_step_mm=0.5), TODAY, NOON)
    assert told.visit.plan.caliper.description == "caliper in steps of 0.5 mm to 80 mm"
    lines: list[str] = []
    check_machine(lines.append, system=ScriptedSound(plugged=[]), settings=QUIET, store=path)
    assert not any("caliper  " in line for line in lines)
    assert DIAL.description not in capsys.readouterr().err


def test_retired_and_returned_is_told(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Who, when and why stand in the list and with the caliper; nothing of it goes away."""
    added(path)
    retired(path, reason="jaws bent")
    assert foldcall(path, "list") == 0
    listed = capsys.readouterr().out
    assert "by Bo Lind: jaws bent" in listed
    assert "!" not in listed
    assert foldcall(path, "retire", DIAL.description, "--by", "Bo", "--because", "again") == 1
    assert "retired already" in capsys.readouterr().err
    assert foldcall(path, "add", DIAL.description, "--step", "0.2", "--opening", "80") == 1
    assert "foldcall caliper return" in capsys.readouterr().err
    words = ("return", DIAL.description, "--by", "Ada Moss", "--because", "repaired")
    assert foldcall(path, *words) == 0
    assert foldcall(path, "show", DIAL.description) == 0
    shown = capsys.readouterr().out
    assert shown.index("by Bo Lind: jaws bent") < shown.index("by Ada Moss: repaired")
    with open_store(path) as store:
        (kept,) = store.calipers()
        assert kept.in_use
        assert open_visit(store, ADA, TODAY, NOON).visit.plan.caliper == DIAL


def test_the_last_change_counts_whatever_its_offset(path: Path) -> None:
    """Stations whose clocks stand in other time zones agree on which came last."""
    added(path)
    with open_store(path) as store:
        (kept,) = store.calipers()
        late = CaliperChange(False, "2026-03-02T12:00:00+01:00", "Bo", "sold")
        later = CaliperChange(True, "2026-03-02T11:30:00+00:00", "Ada", "bought back")
        store.change_caliper(kept.id, late)
        store.change_caliper(kept.id, later)
        assert store.calipers()[0].changes == (late, later)


def test_a_visit_begins_with_what_is_due(path: Path, pack: Pack) -> None:
    """Drift and an overdue check are told before the first question, and stop nothing."""
    drifted = GaugeCheck("2020-02-03", (GaugePoint(100, 106),))
    told: list[str] = []
    with open_store(path) as store:
        store.add_caliper(DIAL, at=NOON)
        (kept,) = store.calipers()
        store.add_gauge_check(kept.id, drifted, by_name="Bo Lind", at=NOON)
        begun = open_visit(store, ADA, TODAY, NOON)
        company = assemble(store, begun, pack, Sound(None, QUIET), USUAL, told.append)
        run_lines(company, iter(["ready"]), patient=False)
    first = next(line for line in told if "10.6" in line)
    assert "serviced" in first
    assert "overdue" in first
    asked = next(at for at, line in enumerate(told) if "Caliper wiped" in line)
    assert told.index(first) < asked


def test_the_check_of_the_machine_names_calipers(path: Path) -> None:
    """One line a caliper, and none of them keeps a session from being held."""
    lines: list[str] = []
    with open_store(path) as store:
        store.add_caliper(DIAL, at=NOON)
        store.add_caliper(COARSE, at=NOON)
        drifted = GaugeCheck("2026-02-23", (GaugePoint(100, 110),))
        store.add_gauge_check(store.calipers()[1].id, drifted, by_name="Bo", at=NOON)
    check_machine(lines.append, system=ScriptedSound(plugged=[]), settings=QUIET, store=path)
    told = [line for line in lines if "caliper  " in line]
    assert len(told) == 2
    assert "No check with gauge blocks" in told[0]
    assert "11.0" in told[1]
    assert all(line.startswith("note") for line in told)


def test_calipers_of_another_station_are_taken_over(
    path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A merge brings them with their checks, once."""
    other = tmp_path / "other.db"
    with open_store(other) as store:
        store.add_caliper(DIAL, at=NOON)
        store.add_gauge_check(store.calipers()[0].id, LAST_WEEK, by_name="Bo Lind", at=NOON)
        change = CaliperChange(False, NOON, "Bo Lind", "sold")
        store.change_caliper(store.calipers()[0].id, change)
        theirs = store.calipers()
    for _ in range(2):
        assert main(["merge", str(other), "--store", str(path)]) == 0
        with open_store(path) as store:
            assert store.calipers() == theirs
    assert "3 calipers, their checks and changes" in capsys.readouterr().out


def test_what_was_entered_stays(path: Path) -> None:
    """No program changes a caliper or a check, nor removes one."""
    with open_store(path) as store:
        store.add_caliper(DIAL, at=NOON)
        change = CaliperChange(False, NOON, "Bo Lind", "sold")
        store.change_caliper(store.calipers()[0].id, change)
        for statement in (
            "UPDATE calipers SET step_tenths_mm = 10",
            "DELETE FROM calipers",
            "UPDATE caliper_changes SET in_use = 1",
            "DELETE FROM caliper_changes",
        ):
            with pytest.raises(Exception, match="append-only"):
                store.db.execute(statement)


def test_a_store_of_an_earlier_version_gets_the_tables(tmp_path: Path) -> None:
    """Made before there were calipers: opened, and one can be kept; nothing else is touched."""
    old = tmp_path / "old.db"
    with store_of_steps(old, 4) as db:
        db.execute(
            "INSERT INTO assessors VALUES (?, ?, ?)",
            ["11111111-2222-4333-8444-555555555555", NOON, "Bo Lind"],
        )
    with open_store(old) as store:
        assert [each.name for each in store.assessors()] == ["Bo Lind"]
        store.add_caliper(DIAL, at=NOON)
        assert [each.caliper for each in store.calipers()] == [DIAL]


def test_a_store_from_before_retiring_gets_the_table(tmp_path: Path) -> None:
    """Its calipers are in use, and can be retired."""
    old = tmp_path / "old.db"
    with store_of_steps(old, 6) as db:
        row = ["11111111-2222-4333-8444-555555555555", NOON, DIAL.description, 2, 800]
        db.execute("INSERT INTO calipers VALUES (?, ?, ?, ?, ?)", row)
    with open_store(old) as store:
        (kept,) = store.calipers()
        assert kept.in_use
    retired(old)
    with open_store(old) as store:
        assert not store.calipers()[0].in_use


def test_a_backup_keeps_what_is_retired(path: Path, tmp_path: Path) -> None:
    """A copy of the store tells the same of its calipers."""
    added(path)
    retired(path)
    copy = tmp_path / "copy.db"
    assert main(["backup", str(copy), "--store", str(path)]) == 0
    with open_store(path) as store, open_store(copy) as kept:
        assert kept.calipers() == store.calipers() != ()
