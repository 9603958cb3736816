"""The recorded visit, really decoded: sound in, saved record out."""

import re
import shutil
import tomllib
from pathlib import Path

import pytest

from capture.demo import DemoEnd, read_script, run_demo
from capture.errors import CaptureError
from capture.language.intents import Caution, SkipReason
from capture.pack import Pack
from capture.resources import data_folder
from capture.store import open_store
from capture.visit.entry import ReadingState
from capture.visit.replay import replay
from capture.visit.state import Plan

RECORDING = data_folder("demo_audio")
HEAD = """
client = "Ada Moss"
assessor = "Bo Lind"
sex = "female"
age_years = 41
caliper = "dial caliper"
caliper_step_tenths_mm = 2
caliper_opening_tenths_mm = 800
"""


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory, pack: Pack) -> tuple[DemoEnd, list[str]]:
    """The demo, played once as fast as it goes, and the lines it showed."""
    lines: list[str] = []
    end = run_demo(RECORDING, pack, tmp_path_factory.mktemp("demo") / "demo.db", lines.append)
    return end, lines


def trials(end: DemoEnd) -> dict[str, tuple[int, ...]]:
    """The confirmed readings by site, in tenths of a millimetre."""
    return {site.id: end.visit.trials(site.id) for site in end.visit.plan.protocol.sites}


def test_the_visit_ends_with_every_reading_as_it_was_meant(
    played: tuple[DemoEnd, list[str]],
) -> None:
    """Two circuits and a third, with the corrections by voice and by key taken in."""
    end, _ = played
    assert trials(end) == {
        "chest": (84, 88),
        "midaxillary": (112, 110),
        "triceps": (106, 138, 114),
        "subscapular": (150, 156),
        "abdominal": (224, 228),
        "suprailiac": (160, 154),
        "thigh": (176, 182),
    }


def test_the_demo_shows_what_it_promises(played: tuple[DemoEnd, list[str]]) -> None:
    """Screening, tapes, a mishearing, a refusal, a teen, chatter, a third, keys, sign-off."""
    end, lines = played
    text = "\n".join(lines)
    visit = end.visit
    # Before anybody is touched, as at every live visit: a caution, and "ready" for the rest.
    assert list(visit.cautions) == [Caution.LOTION]
    assert text.index("Caliper wiped, no reason for care?") < text.index('"ready"')
    assert text.index("Lotion: the fold slips.") < text.index("May clothing be moved")
    assert [answer.granted for answer in visit.answers] == [True, True, True]
    assert [str(mark.mark) for mark in visit.marks] == ["3 3/8 in", "7 1/4 in", "9 13/16 in"]
    # The clip under a slamming door is corrected; one that is asked again replaces nothing.
    assert any(each.state is ReadingState.REPLACED for each in visit.readings)
    assert "92.4 is wider than this caliper opens" in text
    assert "fifteen: one five. Doubtful: or fifty: five zero?" in text
    assert "other speech, nothing taken" in text
    assert "triceps, a third: the two disagree." in text
    assert "keyed     2 2 . 8 enter" in text
    assert "[##############] 15 of 15" in text
    assert "sum of 7" in text
    assert visit.signed_at is not None
    assert not visit.skips
    assert all(skip.reason is not SkipReason.REFUSED for skip in visit.skips)


def test_the_readme_shows_a_part_of_it(played: tuple[DemoEnd, list[str]]) -> None:
    """The excerpt is what the demo shows, but for times and how sure the recogniser was."""
    _, lines = played
    readme = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")
    (excerpt,) = re.findall(r"## What a visit looks like\n\n```\n(.*?)\n```", readme, re.DOTALL)
    assert bare(excerpt) in bare("\n".join(lines))


def bare(text: str) -> str:
    """The lines without their times and percents."""
    return re.sub(r"(?m)^[0-9:]{5}| +[0-9]+%$", "", text)


def test_chatter_leads_to_no_entry(played: tuple[DemoEnd, list[str]]) -> None:
    """What the colleague said across the room is nowhere in the journal."""
    end, _ = played
    with open_store(end.store, create=False) as store:
        words = [entry.words for entry in store.entries(end.visit_id)]
    assert not any("gym" in each or "[unk]" in each for each in words)


def test_the_store_gives_the_same_visit_back(played: tuple[DemoEnd, list[str]]) -> None:
    """Replay of the stored journal equals the visit as it was lived."""
    end, _ = played
    with open_store(end.store, create=False) as store:
        row = store.visit(end.visit_id)
        assert replay(Plan.from_plain(row.plan), store.entries(end.visit_id)) == end.visit
        (result,) = store.results(end.visit_id)
        confirmed = list(store.db.query("SELECT site, circuit, value_mm FROM confirmed_readings"))
        assert store.check() == ()
    assert result.result["sum"]["sum_mm"] == pytest.approx(end.result.sum_mm)
    assert len(confirmed) == 15


def test_swapped_clips_swap_the_numbers(tmp_path: Path, pack: Pack) -> None:
    """The numbers come from the sound and from nowhere else."""
    folder = tmp_path / "swapped"
    shutil.copytree(RECORDING, folder)
    turns = tomllib.loads((folder / "visit.toml").read_text(encoding="utf-8"))["turn"]
    says = [turn.get("says") for turn in turns if "clip" not in turn]
    one, other = (
        folder / f"turn_{says.index(text) + 1:02d}.flac"
        for text in ("eleven point two", "one seven point six")
    )
    one.rename(folder / "aside.flac")
    other.rename(one)
    (folder / "aside.flac").rename(other)
    end = run_demo(folder, pack, tmp_path / "demo.db", lambda _: None)
    assert end.visit.trials("midaxillary")[0] == 176
    assert end.visit.trials("thigh")[0] == 112


def test_a_recording_without_screening_begins_with_the_permissions(tmp_path: Path) -> None:
    """One that was made before there was any is played as it was."""
    (tmp_path / "visit.toml").write_text(f'{HEAD}[[turn]]\nsays = "granted"', encoding="utf-8")
    script = read_script(tmp_path)
    assert not script.plan.screening
    assert [turn.clip for turn in script.turns] == [tmp_path / "turn_01.flac"]


@pytest.mark.parametrize(
    ("text", "wrong"),
    [
        ("client = ", "not a recorded visit"),
        ('client = "A"', "not a recorded visit"),
        (f'{HEAD}[[turn]]\nwhen = "nowhere"', "'nowhere'"),
        (f'{HEAD}[[turn]]\nclip = "../ready"', "turn 1"),
        (f"{HEAD}turn = [3]", "turn 1"),
        (None, "cannot be read"),
    ],
    ids=["no TOML", "no turns", "no such state", "clip elsewhere", "no table", "missing"],
)
def test_a_recording_that_is_none_is_told_in_one_line(
    tmp_path: Path, text: str | None, wrong: str
) -> None:
    """The line names the file."""
    if text is not None:
        (tmp_path / "visit.toml").write_text(text, encoding="utf-8")
    with pytest.raises(CaptureError, match=wrong) as caught:
        read_script(tmp_path)
    assert "visit.toml" in caught.value.message
    assert "\n" not in str(caught.value)
