"""A reviewer sees what needs attention first, amends with a reason, and signs off by name."""

import io
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from many_visits import LATER, filled
from prompt_toolkit.application import create_app_session
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.output import DummyOutput

from capture.cli import main
from capture.errors import CaptureError
from capture.report.attention import findings, urgency
from capture.report.day import day_lines, matching, ordered
from capture.report.details import settled_lines, setup_lines, wrapped
from capture.report.record import ReadingRecord, record_of
from capture.review import answer, run_lines
from capture.review_screen import run_screen
from capture.reviewing import Review
from capture.showable import cells
from capture.store import Store, open_store


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store of 80 visits on two days, to be copied."""
    return filled(tmp_path_factory.mktemp("review") / "template.db", 80)


@pytest.fixture
def store(template: Path, tmp_path: Path) -> Iterator[Store]:
    """A store of 80 visits of its own."""
    with open_store(shutil.copy(template, tmp_path / "review.db")) as opened:
        yield opened


@pytest.fixture
def review(store: Store) -> Review:
    """All visits, looked over by Una Berg."""
    return Review(store, lambda: LATER, by_name="Una Berg")


def opened(review: Review, *, signed: bool = False) -> ReadingRecord:
    """Open the first visit of the list that is open (or signed off); its first reading."""
    rows = review.rows
    review.open(next(n for n, row in enumerate(rows, 1) if row.signed is signed))
    assert review.visit is not None
    return next(each for each in review.visit.readings if each.state == "confirmed")


def test_what_needs_attention_comes_first(review: Review) -> None:
    """The list falls in urgency from first to last, and not all are alike."""
    urgencies = [urgency(row.findings) for row in review.rows]
    assert urgencies == sorted(urgencies, reverse=True)
    assert urgencies[0] > urgencies[-1]
    assert len(urgencies) == 80


@pytest.mark.parametrize(
    "kind",
    ["third outstanding:", "doubtful:", "corrections:", "skipped:", "low confidence:",
     "not all readings:", "changed since", "amended after sign-off:"],
)  # fmt: skip
def test_each_kind_of_finding_is_told(store: Store, kind: str) -> None:
    """Each of the things to look for is found in a store that holds them all."""
    review = Review(store, lambda: LATER, by_name="Una Berg")
    for word in ("third", "changed"):
        if kind.startswith(word):
            # A value far off makes the two circuits disagree, and differ from the last visit.
            number = next(
                n for n, row in enumerate(review.rows, 1) if row.started_at > "2026-01-06T08:30"
            )
            review.open(number)
            assert review.visit is not None
            amended = [each for each in review.visit.readings if each.counts_tenths_mm][:1]
            review.amend(amended[0].number, "55.0", "for the test")
            review.confirm()
    assert any(kind in row.told for row in review.rows)


def test_permissions_incomplete_are_told(store: Store) -> None:
    """A visit with readings whose permissions are not all on record is asked about."""
    plain = store.visit_snapshot(store.visits()[0].id)
    for entry in plain["journal"]:
        entry["facts"] = [each for each in entry["facts"] if each.get("permission") != "marks"]
    assert any("permission not asked: marks" in each.text for each in findings(record_of(plain)))


def test_the_list_can_be_searched(review: Review) -> None:
    """Every word must be held: by a name, the date, the findings or the state."""
    some = matching(review.rows, "unsigned 2026-01-05")
    assert 0 < len(some) < 80
    assert all(not row.signed and row.started_at.startswith("2026-01-05") for row in some)
    assert matching(review.rows, "nobody-of-this-name") == []
    assert len(matching(review.rows, "signed")) + len(matching(review.rows, "unsigned")) == 80


def test_a_visit_shows_all_that_was_heard(review: Review) -> None:
    """Each reading has its words, confidence, runner-up, road, time, and what was before it."""
    rows = [n for n, row in enumerate(review.rows, 1) if "corrections" in row.told]
    review.open(rows[0])
    assert review.visit is not None
    text = "\n".join(review.lines())
    for each in review.visit.readings:
        assert each.heard_at[11:19] in text
        assert f"  {each.words}" in text
    assert "runner-up 'fifty' 15%" in text
    assert "before it: 15.0 replaced" in text
    assert "spread" in text
    for told in ("permissions: clothing yes, marks yes, touch yes", "tape: triceps", "mark at"):
        assert told in text
    assert re.search(r"thigh +right +vertical +bare skin$", text, re.MULTILINE)


def test_an_amendment_is_read_back_and_keeps_the_old_value(store: Store, review: Review) -> None:
    """Nothing is changed before the yes; afterwards the new value counts and the old one stays."""
    reading = opened(review)
    question = review.amend(reading.number, "15.0", "misheard")
    assert "15.0 mm (1, 5, point 0)" in question
    assert store.db.table("amendments").count == 2
    review.confirm()
    now = review.reading(reading.number)
    assert (now.value_tenths_mm, now.counts_tenths_mm) == (reading.value_tenths_mm, 150)
    assert "Una Berg: misheard" in "\n".join(review.lines())
    assert store.check() == ()


def test_no_leaves_everything_as_it_is(store: Store, review: Review) -> None:
    """After "no", or another command, nothing was amended."""
    reading = opened(review)
    for reply in ("no", "", "help", "list"):
        answer(review, f"amend {reading.number} 15.0 misheard")
        assert answer(review, reply)[0] == "Nothing was changed."
    assert review.visit is None
    assert store.db.table("amendments").count == 2


def test_undo_walks_back(review: Review) -> None:
    """Two amendments are undone one after the other, each undo is an amendment itself."""
    reading = opened(review)
    for value in ("15.0", "16.0"):
        review.amend(reading.number, value, "misheard")
        review.confirm()
    review.withdraw(reading.number, "wrong site")
    review.confirm()
    seen = [review.reading(reading.number).counts_tenths_mm]
    for _ in range(3):
        review.undo()
        review.confirm()
        seen.append(review.reading(reading.number).counts_tenths_mm)
    assert seen == [None, 160, 150, reading.value_tenths_mm]
    with pytest.raises(CaptureError, match="nothing of yours"):
        review.undo()
    assert len(review.reading(reading.number).amendments) == 6


def test_after_the_sign_off_a_change_shows(store: Store, review: Review) -> None:
    """A visit is signed off once, by name; a later amendment is marked and put forward."""
    reading = opened(review)
    assert review.visit is not None
    visit_id = review.visit.id
    assert "Sign off as Tor Vik?" in review.sign(" Tor Vik ")
    review.confirm()
    with pytest.raises(CaptureError, match="signed off by name already"):
        review.sign("Una Berg")
    review.amend(reading.number, "15.0", "misheard")
    review.confirm()
    assert "(after sign-off)" in "\n".join(review.lines())
    (row,) = store.db.query("SELECT * FROM day_list WHERE visit_id = ?", [visit_id])
    assert (row["signed_off"], row["signed_off_by"], row["amendments"]) == (1, "Tor Vik", 1)
    (shown,) = matching(review.rows, visit_id)
    assert "amended after sign-off: 1" in shown.told


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("amend {n} 15.1 x", "does not show 15.1 mm"),
        ("amend {n} 98.0 x", "does not show 98.0 mm"),
        ("amend {n} 15,0 x", "Write it in mm"),
        ("amend {n} NaN x", "Write it in mm"),
        ("amend {n} 15.0", "needs a reason"),
        ("amend 9999 15.0 x", "no reading 9999"),
        ("amend ² 15.0 x", "no number of the list"),
        ("sign", "signed off by name"),
        ("play 9999", "no reading 9999"),
        ("undo", "nothing of yours"),
        ("yes", "no command here"),
        ("nonsense", "Type help"),
        ("999", "no visit 999"),
    ],
)
def test_what_cannot_be_done_is_said(store: Store, review: Review, line: str, said: str) -> None:
    """One line says why, and nothing was amended."""
    reading = opened(review)
    with pytest.raises(CaptureError, match=r".") as caught:
        answer(review, line.format(n=reading.number))
    assert said in str(caught.value)
    assert store.db.table("amendments").count == 2


def test_a_replaced_reading_is_not_made_to_count(review: Review) -> None:
    """Only a reading that was confirmed can be amended."""
    rows = [n for n, row in enumerate(review.rows, 1) if "corrections" in row.told]
    review.open(rows[0])
    assert review.visit is not None
    replaced = next(each for each in review.visit.readings if each.state == "replaced")
    with pytest.raises(CaptureError, match="never counted"):
        review.amend(replaced.number, "15.0", "x")


def test_no_sound_is_promised(review: Review) -> None:
    """Asked for the sound of a call that was not kept, the review says so, and why."""
    with pytest.raises(CaptureError, match="No sound of this call is kept") as caught:
        review.play(opened(review).number)
    assert caught.value.hint


def test_lines_from_a_pipe(store: Store, capsys: pytest.CaptureFixture[str]) -> None:
    """Without a terminal the day is printed and each line of input carried out."""
    told: list[str] = []
    review = Review(store, lambda: LATER, by_name="Una Berg", date="2026-01-05")
    run_lines(review, io.StringIO("find unsigned\n1\nsign Una Berg\nyes\nquit\n1\n"), told.append)
    assert "Signed off." in told
    assert any(line.startswith("AMENDED") for line in told[told.index("Signed off.") :])
    assert capsys.readouterr().out == ""


def test_the_command_opens_the_last_day(
    store: Store, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`foldcall review` lists the last day with visits; --unsigned all that are not signed off."""
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    assert main(["review", "--store", str(store.path)]) == 0
    last = capsys.readouterr().out.splitlines()
    assert all("2026-01-06" in line for line in last[:-1])
    assert last[-1].startswith("40 visits")
    assert main(["review", "--unsigned", "--store", str(store.path)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert all(" OPEN " in line for line in lines[:-1])
    unsigned = [row for row in store.db.view("day_list").rows if not row["signed_off"]]
    assert len(lines) - 1 == len(unsigned)


@pytest.mark.parametrize("given", ["2026-02-30", "today", "20260504x"])
def test_a_wrong_date_is_misuse(store: Store, given: str) -> None:
    """The exit code is 2."""
    assert main(["review", "--date", given, "--store", str(store.path)]) == 2


def test_names_cannot_move_the_cursor(store: Store) -> None:
    """Signs that a terminal acts upon are shown as question marks."""
    store.edit_client(store.visits()[0].client.id, at=LATER, name="Eve\x1b[2J\nNy")
    review = Review(store, lambda: LATER)
    text = "".join(day_lines(ordered(review.rows)))
    assert "\x1b" not in text
    assert "Eve?[2J Ny" in text


def entry(sequence: int, *facts: dict[str, object]) -> dict[str, object]:
    """A journal entry with facts."""
    return {
        "sequence": sequence, "at": f"2026-05-04T09:30:{sequence:02d}+02:00", "source": "voice",
        "words": "words", "confidence": 0.9, "alternatives": [], "intent": {}, "facts": list(facts),
        "readings": [],
    }  # fmt: skip


def undone(what: str, name: str | None = None) -> dict[str, object]:
    """The fact that something was taken back."""
    return {"kind": "undone", "what": what, "site": name}


@pytest.mark.parametrize(
    ("facts", "told"),
    [
        ([{"kind": "settled", "what": "wiped", "yes": True}], "before them: wiped yes"),
        ([{"kind": "settled", "what": "cautions", "yes": False}], "before them: no more cautions"),
        ([{"kind": "noted", "caution": "hot_skin"}], "cautions: hot skin"),
        ([{"kind": "put_off", "site": "thigh", "circuit": 2}], "put off: thigh, circuit 2"),
        ([{"kind": "extra_asked", "site": "thigh", "circuit": 3}], "one reading more: thigh, "),
        ([{"kind": "finished_early", "left": []}], "finished early"),
        ([{"kind": "skipped", "site": "thigh", "circuit": 1, "reason": "too_thick"}],
         "left out: thigh, circuit 1: too thick"),
        ([{"kind": "permission", "permission": "touch", "granted": False},
          {"kind": "chosen", "permission": "touch", "option": "client_locates"}],
         "touch NO, instead client locates"),
        ([{"kind": "setup_changed", "site": "thigh", "field": "side", "before": "right",
           "value": "left"}], "thigh         left "),
    ],
    ids=lambda each: each.strip() if isinstance(each, str) else "",
)  # fmt: skip
def test_what_stands_beside_the_readings(
    store: Store, facts: list[dict[str, object]], told: str
) -> None:
    """It is shown while it stands; once undone it is not."""
    plain = store.visit_snapshot(store.visits()[-1].id)
    plan = {**plain["plan"], "last_time": None}
    visit = {**plain, "plan": plan, "journal": [entry(1, *facts)], "amendments": []}
    record = record_of(visit)
    lines = [*settled_lines(record), *setup_lines(record)]
    assert any(told in line for line in lines)
    kinds = {"settled": ("preparation", ""), "noted": ("caution", "hot_skin"),
             "put_off": ("later", "thigh"), "extra_asked": ("extra", "thigh"),
             "finished_early": ("finish", None), "skipped": ("skip", "thigh"),
             "chosen": ("choice", "client_locates"),
             "setup_changed": ("setup", "thigh")}  # fmt: skip
    of_it = kinds[str(facts[-1]["kind"])]
    if facts[-1]["kind"] == "settled":
        of_it = ("preparation", str(facts[-1]["what"]))
    visit["journal"].append(entry(2, undone(*of_it)))
    record = record_of(visit)
    lines = [*settled_lines(record), *setup_lines(record)]
    assert not any(told in line for line in lines)
    if facts[-1]["kind"] == "chosen":
        assert any("touch NO" in line for line in lines)


@pytest.mark.parametrize("width", [20, 40, 80])
def test_long_lines_go_on_below(width: int) -> None:
    """No word is lost, none is split that fits, and no line is wider than the screen."""
    line = "   11 thigh  twelve point five, then 娜娜娜 and more words than fit " + "x" * 90
    lines = wrapped([line, "", "short"], width)
    assert all(cells(each) <= width for each in lines)
    assert "".join("".join(lines).split()) == "".join(f"{line}short".split())
    assert lines[0].startswith("   11 ")
    assert all(each.startswith("      ") for each in lines[1:-2])
    assert lines[-2:] == ["", "short"]


def press(review: Review, keys: str) -> None:
    """Strike keys on the screen; the last of them must end it."""
    with create_pipe_input() as pipe:
        pipe.send_text(keys)
        with create_app_session(input=pipe, output=DummyOutput()):
            run_screen(review, pipe, DummyOutput())


def untouched(review: Review) -> int:
    """The place in the list of a visit without corrections and amendments."""
    return next(
        place
        for place, row in enumerate(review.rows)
        if not {"corrections", "amended"} & set(row.told.replace(":", "").split())
    )


ENTER, DOWN = "\r", "\x1b[B"


def test_the_screen_signs_off_by_keys(store: Store, review: Review) -> None:
    """Find the open ones, open the first, sign it off, answer the question."""
    first = matching(review.rows, "unsigned")[0].visit_id
    press(review, f"/unsigned{ENTER}{ENTER}sTor Vik{ENTER}yq")
    (row,) = store.db.query("SELECT * FROM day_list WHERE visit_id = ?", [first])
    assert row["signed_off_by"] == "Tor Vik"


def test_the_screen_amends_the_reading_under_the_cursor(store: Store, review: Review) -> None:
    """The second reading gets another value after a yes, and none after a no."""
    number = untouched(review)
    visit_id = review.rows[number].visit_id
    press(review, f"{DOWN * number}{ENTER}{DOWN}a15.0 misheard{ENTER}na16.0 misheard{ENTER}yq")
    amended = store.amendments(visit_id)
    assert [(each["value_tenths_mm"], each["by_name"]) for each in amended] == [(160, "Una Berg")]
    assert review.visit is not None
    assert amended[0]["number"] == review.visit.readings[1].number


def test_the_screen_asks_who_amends(store: Store) -> None:
    """Without --by the first amendment asks for the name, then goes on."""
    review = Review(store, lambda: LATER)
    number = untouched(review)
    visit_id = review.rows[number].visit_id
    press(review, f"{DOWN * number}{ENTER}aTor Vik{ENTER}15.0 misheard{ENTER}yq")
    assert [each["by_name"] for each in store.amendments(visit_id)] == ["Tor Vik"]


TAB, END = "\t", "\x1b[F"


def test_the_screen_goes_from_visit_to_visit(store: Store, review: Review) -> None:
    """Tab opens the next of the list; Escape goes back to the one that was open."""
    third = review.rows[2].visit_id
    press(review, f"{ENTER}{TAB}{TAB}sTor Vik{ENTER}y\x1bq")
    assert [each["by_name"] for each in store.amendments(third)][-1] == "Tor Vik"
    again = Review(store, lambda: LATER)
    fourth = again.rows[3].visit_id
    press(again, f"{DOWN}{ENTER}{TAB}{TAB}sUna Berg{ENTER}yq")
    assert [each["by_name"] for each in store.amendments(fourth)][-1] == "Una Berg"


def test_below_the_readings_none_is_amended(store: Store, review: Review) -> None:
    """The cursor goes down to the last line; there the key for an amendment finds no reading."""
    before = store.db.table("amendments").count
    press(review, f"{ENTER}{END}a15.0 misheard{ENTER}yq")
    assert store.db.table("amendments").count == before
