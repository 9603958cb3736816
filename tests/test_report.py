"""The report says in plain words what the visit came to, and keeps everything for the file."""

import re
import sys
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import pytest
from many_visits import LATER, filled

from capture.cli import main
from capture.composition.client import ClientDefaults
from capture.composition.uncertainty import one_decimal
from capture.report import file_page
from capture.report.body import body_svg
from capture.report.charts import profile_svg, trend_svg
from capture.report.deviations import deviations
from capture.report.page import page_lines
from capture.report.record import record_of
from capture.report.site_pictures import site_pictures
from capture.report.story import Asked, Person, Story, client_lines, tell
from capture.report.trend import Point, Trend
from capture.reporting import story_of
from capture.store import open_store


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store of 60 visits."""
    return filled(tmp_path_factory.mktemp("report") / "full.db", 60)


@pytest.fixture(scope="module")
def last(full: Path) -> Story:
    """The report of the last visit that was measured throughout."""
    with open_store(full) as store:
        for row in store.visits():
            story = story_of(store, row)
            if story.result is not None and story.result.fat_percent is not None:
                return story
    raise AssertionError


def page(story: Story) -> str:
    """The whole page."""
    return "\n".join(page_lines(story))


def test_the_sum_comes_first_and_the_percent_second(last: Story) -> None:
    """The client reads the sum, then the change, then the estimate with its range."""
    lines = client_lines(last)
    assert last.result is not None
    assert f"add up to {one_decimal(last.result.sum_mm or 0)} mm" in lines[0]
    assert "Since" in lines[1]
    assert f"estimated at {last.result.plain_range}" in lines[-1]


def test_another_protocol_has_its_own_sum(full: Path, last: Story) -> None:
    """Sites that the equation does not take: their sum is told, and no percent."""
    with open_store(full) as store:
        plain = store.visit_snapshot(last.visit.id)
    rules = plain["plan"]["protocol_rules"]
    rules["sites"] = [each for each in rules["sites"] if each["id"] in {"chest", "thigh"}]
    story = tell(record_of(plain), last.person, (), ())
    assert last.result is not None
    values = {each.site: each.settled.value_mm for each in last.result.sites}
    lines = client_lines(story)
    assert (
        lines[0]
        == f"The folds at 2 places add up to {one_decimal(values['chest'] + values['thigh'])} mm."
    )
    assert "Body fat is not estimated. Not measured: " in lines[-1]


def test_the_percent_can_be_left_out(full: Path, last: Story) -> None:
    """With --no-fat neither percent, density nor equation is on the page."""
    with open_store(full) as store:
        row = store.visit(last.visit.id)
        text = page(story_of(store, row, Asked(ClientDefaults(show_fat_percent=False))))
    assert "body fat" not in text.lower()
    assert "Density" not in text
    assert "Siri" not in text
    assert "add up to" in text


def test_the_page_needs_nothing_else(last: Story) -> None:
    """No script, no address to load from, and a policy that would refuse both."""
    text = page(last)
    assert "<script" not in text
    assert not re.search(r"""(src|href)\s*=|url\(|@import""", text)
    assert not re.search(r"\son[a-z]+\s*=", text)
    assert "Content-Security-Policy\" content=\"default-src 'none'" in text


def test_what_came_from_outside_is_escaped(full: Path, last: Story) -> None:
    """A name that is markup is shown as it is written."""
    with open_store(full) as store:
        visit = record_of(store.visit_snapshot(last.visit.id))
    evil = "<img src=x onerror=alert(1)>&\"'"
    text = page(tell(visit, Person(evil, evil), (), ()))
    assert "<img" not in text
    assert "&lt;img src=x onerror=alert(1)&gt;&amp;&quot;&#x27;" in text


def test_every_reading_is_on_the_second_page(last: Story) -> None:
    """Also those that were replaced, each with its number."""
    file = page(last).partition('class="file"')[2]
    rows = re.findall(r'<tr><td class="n">(\d+)</td>', file)
    assert [int(row) for row in rows] == [each.number for each in last.visit.readings]


def test_an_amendment_changes_the_sum_and_shows(full: Path) -> None:
    """The amended value counts; the value as taken, the reason and the name stay on the page."""
    with open_store(full) as store:
        row = store.visits()[-1]
        amended = story_of(store, row)
        plain = store.visit_snapshot(row.id)
    taken = tell(record_of({**plain, "amendments": []}), amended.person, (), ())
    assert amended.result is not None
    assert taken.result is not None
    before = {each.site: each.readings_tenths_mm for each in taken.result.sites}
    now = {each.site: each.readings_tenths_mm for each in amended.result.sites}
    changed = [site for site in now if now[site] != before[site]]
    assert len(changed) == 1
    assert 332 in now[changed[0]]
    text = page(amended)
    assert "=misread, the note says 33.2" in text
    assert "Tor Vik" in text
    assert "after sign-off" in text


def test_charts_have_text_alternatives(last: Story) -> None:
    """Each picture is marked as one and says in words what it shows."""
    text = re.sub(r"<figure.*?</figure>", "", page(last), flags=re.DOTALL)
    pictures = re.findall(r"<svg.*?</svg>", text, re.DOTALL)
    assert len(pictures) == 4
    for picture in pictures:
        root = ET.fromstring(picture)
        assert root.get("role") == "img"
        described = root.find("{http://www.w3.org/2000/svg}desc")
        assert described is not None
        assert re.search(r"\d+\.\d", described.text or "")


TURNED = (
    "2026-01-05T10:00:00+01:00",
    {
        "kind": "setup_changed", "site": "midaxillary", "field": "fold", "before": "vertical",
        "value": "horizontal",
    },
)  # fmt: skip


def test_each_measured_site_is_drawn_as_it_was_lifted(last: Story) -> None:
    """Site, landmark and the fold's direction on the day, with the mark of the tape."""
    assert last.result is not None
    figures = re.findall(r"<figure.*?</figure>", page(last), re.DOTALL)
    assert len(figures) == len(last.result.sites)
    for figure, found in zip(figures, last.result.sites, strict=True):
        drawn = ET.fromstring(re.search(r"<svg.*?</svg>", figure, re.DOTALL)[0])  # type: ignore[index]
        assert drawn.findtext("{http://www.w3.org/2000/svg}desc")
        assert found.site.replace("_", " ") in figure
        assert " fold, " in figure
    changed = replace(last.visit, other_facts=(*last.visit.other_facts, TURNED))
    turned = site_pictures(changed)
    assert "<b>midaxillary</b>, horizontal fold" in turned
    assert "midaxillary, horizontal fold, seen from the side" in turned
    assert "<b>midaxillary</b>, vertical fold" in site_pictures(last.visit)


def test_of_a_protocol_that_cannot_be_read_nothing_is_drawn(last: Story) -> None:
    """Imported, or of a later version: the rest of the report is there."""
    assert site_pictures(replace(last.visit, plan={})) == ""


def test_bars_are_drawn_to_scale() -> None:
    """On paper a bar is as many mm long as the fold is thick, or half of it if none would fit."""
    widths = _widths(body_svg({"chest": 10.0, "thigh": 20.5, "triceps": 8.2}))
    assert widths == [10.0, 20.5, 8.2]
    assert _widths(body_svg({"chest": 10.0, "thigh": 60.0})) == [5.0, 30.0]
    assert 'width="186mm"' in body_svg({"chest": 10.0})


def _widths(svg: str) -> list[float]:
    return [float(each) for each in re.findall(r'<rect[^>]* width="([\d.]+)"', svg)]


def test_half_a_tenth_goes_up_everywhere() -> None:
    """10.25 mm is 10.3 in the picture, as on the screen; a computer's own rounding says 10.2."""
    assert "chest 10.3 mm" in body_svg({"chest": 10.25})
    assert "chest 10.3 mm" in profile_svg("x", ("chest",), (("now", (10.25,)),))


def test_a_trend_has_error_bars_only_where_the_error_is_known() -> None:
    """Without a known error no bar is drawn and none is told."""
    known = [Point("2026-01-01", 90.0, 88.0, 92.0), Point("2026-02-01", 95.0, 93.0, 97.0)]
    bare = [Point(each.date, each.value) for each in known]
    assert "(88.0 to 92.0)" in trend_svg("Sum", "mm", Trend(tuple(known), ()))
    assert trend_svg("Sum", "mm", Trend(tuple(known), ())).count("ci") > trend_svg(
        "Sum", "mm", Trend(tuple(bare), ())
    ).count("ci")
    assert "(88.0" not in trend_svg("Sum", "mm", Trend(tuple(bare), ()))


def test_no_import_hook_stays_behind() -> None:
    """Drawing a chart leaves the import system as it was: no warning at a later import."""
    assert not [each for each in sys.meta_path if type(each).__module__ == "pygal"]


def test_every_measured_bar_is_in_the_profile() -> None:
    """Two visits of two sites, one not measured: three bars."""
    svg = profile_svg("x", ("chest", "thigh"), (("now", (10.0, None)), ("then", (11.0, 12.0))))
    assert svg.count('class="rect') == 3


def test_deviations_are_told(full: Path) -> None:
    """Skipped sites, missing readings and a missing sign-off are listed on the second page."""
    with open_store(full) as store:
        told = [deviations(record_of(each)) for each in store.visit_snapshots()]
    every = " ".join(line for lines in told for line in lines)
    assert "Skipped: " in every
    assert "Only 1 of 2 readings: " in every
    assert "The visit is not signed off." in every
    assert any(not lines for lines in told)


def test_the_command_writes_a_file_once(full: Path, tmp_path: Path) -> None:
    """`foldcall report last` writes a new file and never over another."""
    arguments = ["report", "last", "--store", str(full), "--out", str(tmp_path / "r.html")]
    assert main(arguments) == 0
    assert (tmp_path / "r.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert main(arguments) == 1


@pytest.mark.parametrize("named", ["zzz", "", "00000000-0000", "%"])
def test_an_unknown_visit_is_said(
    full: Path, named: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line, code 1."""
    assert main(["report", named, "--store", str(full)]) == 1
    assert "no such visit" in capsys.readouterr().err


def test_a_visit_of_readings_from_a_table_has_a_report(full: Path, tmp_path: Path) -> None:
    """What came in as CSV can be reported like any other visit, with the same sum."""
    table, new = tmp_path / "t.csv", tmp_path / "new.db"
    assert main(["export", str(table), "--store", str(full)]) == 0
    assert main(["import", str(table), "--store", str(new)]) == 0
    with open_store(full) as first, open_store(new) as second:
        row = first.visits()[-1]
        told = [client_lines(story_of(each, each.visit(row.id)))[0] for each in (first, second)]
    assert told[0] == told[1]
    assert "add up to" in told[0]


def test_visits_of_one_person_under_two_names_are_compared(tmp_path: Path) -> None:
    """After two clients were found to be one, the report looks back over the visits of both."""
    with open_store(filled(tmp_path / "two.db", 16)) as store:
        one, other = store.clients()[:2]
        newest = store.visits(one.id)[0]
        before = len(story_of(store, newest).earlier)
        store.link_clients(other.id, one.id, at=LATER)
        assert len(story_of(store, newest).earlier) > before


@pytest.mark.parametrize(
    ("at", "told"),
    [
        ("2026-05-04T09:30:00.432+02:00", "2026-05-04 09:30:00 +02:00"),
        ("2026-05-04T09:30:00+02:00", "2026-05-04 09:30:00 +02:00"),
        ("2026-05-04T09:30:00", "2026-05-04 09:30:00"),
        ("some day", "some day"),
    ],
)
def test_a_moment_is_told_to_the_second(at: str, told: str) -> None:
    """The journal keeps thousandths; nobody reads them on paper."""
    assert file_page._moment(at) == f'<span class="whole">{told}</span>'
