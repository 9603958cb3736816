"""The report goes by the client's choices, and compares only what was measured the same way."""

import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from many_visits import filled

from capture.cli import main
from capture.composition.change import Verdict
from capture.composition.client import ClientDefaults
from capture.composition.forms import Sex
from capture.composition.shown import Body
from capture.protocol.caliper import Caliper, GaugeCheck, GaugePoint
from capture.protocol.setup import Carried, SiteSetup
from capture.protocol.shipped import protocols
from capture.protocol.sites import Fold, Side
from capture.report.attention import findings
from capture.report.body import body_svg
from capture.report.day import DayRow, day_lines, visit_lines
from capture.report.deviations import deviations
from capture.report.markup import escape
from capture.report.page import page_lines
from capture.report.record import VisitRecord, record_of
from capture.report.results import result_of
from capture.report.story import Asked, Person, Story, client_lines, tell
from capture.report.trend import fat_trend, sum_trend
from capture.visit.state import Plan

NAMES = Person("Rowan Alderby", "Tobias Quill")
FOLDS = {
    "chest": 120, "midaxillary": 140, "triceps": 130, "subscapular": 150, "abdominal": 220,
    "suprailiac": 180, "thigh": 200, "biceps": 70, "iliac_crest": 190, "supraspinale": 120,
    "calf": 110,
}  # fmt: skip


def made(
    day: str,
    protocol: str = "seven_sites",
    *,
    sex: Sex = Sex.MALE,
    age: int = 34,
    more_tenths: int = 0,
    apart_tenths: int = 4,
    caliper: str = "dial caliper",
    client: int = 1,
    assessor: int = 1,
    facts: tuple[Mapping[str, Any], ...] = (),
    cloth: Mapping[str, int] | None = None,
) -> VisitRecord:
    """A visit of two readings a site, `apart_tenths` apart, each site thicker by `more_tenths`."""
    rules = protocols()[protocol]
    plan = Plan(rules, Caliper(caliper, 2, 800), sex, age).to_plain()
    journal = [_entry(1, day, facts=list(facts))]
    for circuit in (1, 2):
        for site in rules.sites:
            number = len(journal) + 1
            value = FOLDS[site.id] + more_tenths + (apart_tenths if circuit == 2 else 0)
            through = []
            if cloth and site.id in cloth:
                net = value - 2 * cloth[site.id]
                told = {"cloth_tenths_mm": cloth[site.id], "net_tenths_mm": net}
                through = [{"kind": "through_cloth", **told}]
            reading = {
                "number": number,
                "site": site.id,
                "circuit": circuit,
                "value_tenths_mm": value,
            }
            journal.append(
                _entry(number, day, readings=[reading | {"state": "confirmed"}], facts=through)
            )
    return record_of(
        {
            "id": str(UUID(int=abs(hash((day, protocol, client, assessor))) % 2**120, version=4)),
            "client_id": f"client {client}",
            "assessor_id": f"assessor {assessor}",
            "started_at": f"{day}T09:00:00+01:00",
            "plan": plan,
            "program_version": "0.1.0",
            "journal": journal,
            "results": [],
            "amendments": [],
        }
    )


def _entry(sequence: int, day: str, **more: Any) -> dict[str, Any]:
    empty = {"alternatives": [], "intent": {}, "facts": [], "readings": []}
    told = {"sequence": sequence, "source": "keypad", "words": "x", "confidence": None}
    return {**told, "at": f"{day}T09:00:00+01:00", **empty, **more}


def told(now: VisitRecord, *earlier: VisitRecord, **asked: Any) -> Story:
    """The report of a visit; the assessor's error comes from ten visits of others."""
    others = [made(f"2026-03-{day:02}", client=day, assessor=1) for day in range(11, 23)]
    return tell(now, NAMES, earlier, others, Asked(**asked))


def page(story: Story) -> str:
    """The whole page."""
    return "\n".join(page_lines(story))


# Which equation


@pytest.mark.parametrize(
    ("protocol", "sex", "age", "equation"),
    [
        ("seven_sites", Sex.MALE, 34, "jackson_pollock_1978_men_7"),
        ("seven_sites", Sex.FEMALE, 34, "jackson_pollock_ward_1980_women_7"),
        ("three_sites_men", Sex.MALE, 34, "jackson_pollock_1978_men_3"),
        ("three_sites_women", Sex.FEMALE, 34, "jackson_pollock_ward_1980_women_3"),
        ("four_sites", Sex.MALE, 34, "durnin_womersley_1974_men"),
        ("four_sites", Sex.FEMALE, 67, "durnin_womersley_1974_women"),
        ("eight_sites", Sex.MALE, 34, "durnin_womersley_1974_men"),
        ("eight_sites", Sex.FEMALE, 12, "slaughter_1988_girls_calf"),
    ],
)
def test_every_protocol_has_its_percent(protocol: str, sex: Sex, age: int, equation: str) -> None:
    """Where a general equation takes the protocol's sites, the percent is told and sourced."""
    story = told(made("2026-05-04", protocol, sex=sex, age=age))
    assert story.result is not None
    assert story.result.equation.id == equation
    assert story.result.plain_range is not None
    assert any(story.result.plain_range in line for line in client_lines(story))
    assert story.result.equation.source.split(".")[0].split("&")[0] in page(story)


def test_the_sum_is_that_of_the_protocol_and_the_percent_says_of_what() -> None:
    """Eight folds add up to their own sum; the estimate says that it comes from four of them."""
    lines = client_lines(told(made("2026-05-04", "eight_sites")))
    assert lines[0].startswith("The folds at 8 places add up to")
    assert "From the folds at 4 of these places, body fat" in lines[-1]


def test_where_none_applies_it_says_why() -> None:
    """A woman measured at the three sites of men has her sum, and is told what is missing."""
    lines = client_lines(told(made("2026-05-04", "three_sites_men", sex=Sex.FEMALE)))
    assert "at 3 places add up to" in lines[0]
    assert lines[-1].startswith("Body fat is not estimated. Not measured: ")


def test_folds_are_told_where_sex_or_age_are_not_on_record() -> None:
    """The sum, the change and the pictures need neither; only the percent is missing."""
    visit, before = made("2026-05-04", more_tenths=20), made("2026-04-04")
    bare = replace(visit, plan={name: v for name, v in visit.plan.items() if name != "age_years"})
    story = told(bare, before)
    lines = client_lines(story)
    assert "at 7 places add up to" in lines[0]
    assert "14.0 mm more" in lines[1]
    assert lines[-1] == "Body fat is not estimated. Sex or age are not on record."
    assert page(story).count("<svg") == page(told(visit, before)).count("<svg") - 1


def test_the_clients_own_equation_and_conversion_are_used_and_named() -> None:
    """Chosen once for the client, they stand in the report with the words that say so."""
    own = ClientDefaults("jackson_pollock_1978_men_3", "brozek")
    story = told(made("2026-05-04"), defaults=own)
    assert story.result is not None
    assert story.result.summed_sites == ("chest", "abdominal", "thigh")
    text = page(story)
    assert "Equation, chosen for this client: " in text
    assert "converted by Brozek" in text


def test_an_equation_that_is_not_known_is_misuse(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line with what to look at, the exit code of a wrong call, and no file."""
    path, out = filled(tmp_path / "visits.db"), tmp_path / "report.html"
    arguments = ["report", "last", "--store", str(path), "--out", str(out)]
    for wrong in (["--equation", "nobody_1900"], ["--conversion", "nobody"], ["--weight", "nan"]):
        assert main([*arguments, *wrong]) == 2
        assert len(capsys.readouterr().err.splitlines()) == 1
        assert not out.exists()
    assert main([*arguments, "--equation", "durnin_womersley_1974_men"]) == 0
    assert "Body fat is not estimated" in out.read_text(encoding="utf-8")


def test_an_override_is_marked_wherever_the_percent_stands() -> None:
    """At 70 there is no percent unless it is asked for; then summary, method and trend say so."""
    now, before = made("2026-05-04", age=70), made("2026-04-04", age=70)
    refused = told(now, before)
    assert "The age of 70 lies outside the sample" in client_lines(refused)[-1]
    story = told(now, before, override=True, body=Body(80.0))
    assert story.result is not None
    marked = "outside the equation&#x27;s sample"
    text = page(story).partition('class="file"')[0]
    assert "outside the equation's sample" in client_lines(story)[-1]
    assert f"Fat mass {_masses(story)} ({marked})" in text
    assert "Outside the equation&#x27;s sample, may be off by more: 2026-04-04" in text


def _masses(story: Story) -> str:
    shown = story.shown
    assert shown is not None
    (line,) = [each for each in shown.what_follows() if each.startswith("Fat mass")]
    return line.removeprefix("Fat mass ").partition(" (")[0]


@pytest.mark.parametrize(
    ("caution", "said"),
    [("pregnancy", "pregnancy"), ("oedema", "swelling"), ("surgery", "surgery"), ("lotion", "")],
)
def test_where_no_equation_holds_there_is_no_percent(caution: str, said: str) -> None:
    """The folds are told, the percent is not, unless it is asked for; other cautions only show."""
    visit = made("2026-05-04", facts=({"kind": "noted", "caution": caution},))
    lines = client_lines(told(visit))
    assert "add up to" in lines[0]
    assert (f"Noted before measuring: {said}." in lines[-1]) is bool(said)
    assert ("not estimated" in lines[-1]) is bool(said)
    assert told(visit, override=True).result is not None
    assert "estimated at" in client_lines(told(visit, override=True))[-1]
    assert f"Noted before measuring: {caution}." in deviations(visit)


# What the client is shown


def test_a_client_who_is_shown_no_percent_finds_none_anywhere() -> None:
    """Neither in words nor in a chart, a text alternative, the method or the file."""
    hidden = ClientDefaults(show_fat_percent=False)
    visits = (made("2026-05-04"), made("2026-04-04"), made("2026-03-04"))
    open_to_all, story = told(*visits), told(*visits, defaults=hidden)
    assert open_to_all.result is not None
    number = open_to_all.result.plain_range
    assert number is not None
    assert number in page(open_to_all)
    text = page(story)
    for unseen in (number[:6], "body fat", "Body fat", "Siri", "ensity", " kg", "Among 100"):
        assert unseen not in text
    assert len(re.findall("<svg", page(open_to_all))) == len(re.findall("<svg", text)) + 1
    # On what is handed over no share of a hundred stands at all: the eye looks for one.
    handed = re.sub(r"<style.*?</style>", "", text.split("</main>")[0], flags=re.DOTALL)
    assert not re.search(r"%|percent|\bfat\b", handed, re.IGNORECASE)


def test_the_first_visit_has_each_picture_once() -> None:
    """The folds stand on the outline; bars beside each other come with a second visit."""
    assert "Site by site" not in page(told(made("2026-05-04")))
    assert "Site by site" in page(told(made("2026-05-04"), made("2026-04-04")))


def test_an_error_that_is_not_known_takes_no_column() -> None:
    """Without enough pairs of readings the table of changes has neither the error nor its note."""
    visits = made("2026-05-04"), made("2026-04-04")
    for story, known in ((told(*visits), True), (tell(visits[0], NAMES, visits[1:], ()), False)):
        assert ('<th scope="col" class="n">error, mm</th>' in page(story)) is known
        assert ("95 times of 100" in page(story)) is known


@pytest.mark.parametrize("name", ["\u05e8\u05d5\u05ea", "<b>Ada", "Ada \U0001f469\u200d\U0001f52c"])
def test_a_name_moves_nothing_beside_it(name: str) -> None:
    """Written from right to left, with markup or signs: it is set apart wherever it stands."""
    story = replace(told(made("2026-05-04")), person=Person(name, name))
    text = page(story)
    shown = escape(name)
    assert text.count(shown) == text.count(f"<bdi>{shown}</bdi>") + 1 == 5
    assert f"<title>Skinfolds of 2026-05-04: {shown}</title>" in text


def test_every_sheet_says_what_it_belongs_to() -> None:
    """Day, visit and page, without the name; nothing of a visit gets into the style otherwise."""
    visit = made("2026-05-04")
    text = page(told(replace(visit, id='"; } body { display: none')))
    assert 'content: "2026-05-04, visit bod"' in text


def test_norms_can_be_left_out_alone() -> None:
    """The percent stays; where it lies among others is not on the page."""
    assert "Among 100 men of 30 to 39 years" in page(told(made("2026-05-04")))
    text = page(told(made("2026-05-04"), defaults=ClientDefaults(show_norms=False)))
    assert "Among 100" not in text
    assert "body fat is estimated at" in text


def test_weight_gives_masses_and_what_a_target_would_weigh() -> None:
    """With weight, height and target the page has them with their ranges."""
    text = page(told(made("2026-05-04"), body=Body(80.0, 180.0, 12.0)))
    for wanted in ("Fat mass", "Fat-free mass by height squared", "At 12 % and the same fat-free"):
        assert wanted in text
    assert re.search(r"the weight would be [0-9.]+ kg, likely \d+ to \d+", text)


def test_the_weight_of_the_day_counts_unless_another_is_given() -> None:
    """A visit that has its weight needs no option; one that is given for the report goes before."""
    visit = made("2026-05-04")
    weighed = replace(visit, plan={**visit.plan, "weight_kg": 80.0})
    assert "Fat mass" not in page(told(visit))
    assert "Fat mass 13.8 kg" in page(told(weighed))
    assert "Fat mass 13.8 kg" not in page(told(weighed, body=Body(70.0)))


def test_the_review_goes_by_the_clients_choices() -> None:
    """The reviewer sees the sum always, and the percent only where the client is shown one."""
    visit = made("2026-05-04")
    row = DayRow(visit.id, visit.started_at, NAMES.client, NAMES.assessor, False, ())
    open_to_all = "\n".join(visit_lines(visit, row))
    hidden = "\n".join(visit_lines(visit, row, ClientDefaults(show_fat_percent=False)))
    assert re.search(r"^fat [0-9.]+ %, likely", open_to_all, re.MULTILINE)
    assert "sum of 7: " in hidden
    assert "fat" not in hidden


# The same way


LEFT = {"kind": "setup_changed", "site": "thigh", "field": "side", "before": "right"}
TURNED = {"kind": "setup_changed", "site": "chest", "field": "fold", "before": "diagonal"}
UNDONE = {"kind": "undone", "what": "setup", "site": "thigh"}


@pytest.mark.parametrize(
    ("then", "said"),
    [
        ({"facts": (LEFT | {"value": "left"},)}, "thigh: The side was left before"),
        ({"facts": (TURNED | {"value": "vertical"},)}, "chest: The fold direction was vertical"),
        ({"caliper": "other caliper"}, "The caliper was other caliper before"),
        ({"cloth": {"thigh": 15}}, "thigh: The clothing was cloth of 1.5 mm before"),
        (
            {
                "facts": (
                    {
                        "kind": "setup_changed",
                        "site": "midaxillary",
                        "field": "offset",
                        "before": None,
                        "value": 2,
                    },
                )
            },
            "midaxillary: The place was 2 mm in front of its line before",
        ),
        ({"protocol": "three_sites_men"}, "not measured: midaxillary, triceps"),
    ],
    ids=["side", "fold", "caliper", "cloth", "offset", "sites"],
)
def test_what_was_measured_another_way_is_left_out_and_told(
    then: dict[str, Any], said: str
) -> None:
    """The trend leaves the visit out and says what differs."""
    now, before, first = made("2026-05-04"), made("2026-04-04", **then), made("2026-03-04")
    pairs = [(each, result_of(each)) for each in (first, before, now)]
    result = pairs[-1][1]
    assert result is not None
    for found in (sum_trend(pairs, now, {}), fat_trend(pairs, now, result)):
        assert [point.date for point in found.points] == ["2026-03-04", "2026-05-04"]
        assert f"Left out, not measured the same way: 2026-04-04 ({said}" in found.left_out


def test_a_change_that_was_undone_does_not_count() -> None:
    """Left, then undone: the visit was measured on the right, and is compared."""
    now = made("2026-05-04")
    before = made("2026-04-04", facts=(LEFT | {"value": "left"}, UNDONE))
    assert len(sum_trend([(before, None), (now, None)], now, {}).points) == 2
    assert deviations(before) == deviations(now)


def test_a_percent_of_another_equation_is_no_point_of_the_line() -> None:
    """At 17 the eight sites go into another equation than at 16: the line says so."""
    before = made("2026-01-04", "eight_sites", age=16)
    now = made("2026-05-04", "eight_sites", age=17)
    pairs = [(each, result_of(each)) for each in (before, now)]
    result = pairs[-1][1]
    assert result is not None
    found = fat_trend(pairs, now, result)
    assert [point.date for point in found.points] == ["2026-05-04"]
    assert "another equation, Triceps, calf, boys" in found.left_out
    assert len(sum_trend(pairs, now, {}).points) == 2


def test_a_line_that_cannot_be_drawn_says_why() -> None:
    """Both earlier visits with another caliper: no picture, but what keeps them out."""
    visits = [made(f"2026-0{month}-04", caliper="other caliper") for month in (4, 3)]
    text = page(told(made("2026-05-04"), *visits))
    assert text.count("There are no two visits that were measured the same way.") == 2
    assert "2026-03-04 (The caliper was other caliper before and is dial caliper now)" in text


def test_what_differs_is_told_to_the_client_too() -> None:
    """One site on the other side: the sum of the others is compared, and it says why."""
    before = made("2026-04-04", facts=(LEFT | {"value": "left"},))
    lines = client_lines(told(made("2026-05-04", more_tenths=60), before))
    assert "the sum of 6 places is 36.0 mm more" in lines[1]
    assert lines[2] == "Not compared: thigh. The side was left before and is right now."


def test_a_visit_without_folds_is_passed_over() -> None:
    """The last visit was refused, the one before was of other sites: the third is compared with."""
    refused = replace(made("2026-04-20"), readings=())
    other = made("2026-04-10", "three_sites_men")
    chest = replace(other, readings=tuple(each for each in other.readings if each.site == "chest"))
    now = made("2026-05-04", "three_sites_women", sex=Sex.FEMALE, more_tenths=20)
    story = told(now, refused, chest, made("2026-04-04", "three_sites_women", sex=Sex.FEMALE))
    assert story.before is not None
    assert "Since 2026-04-04 the sum of 3 places is 6.0 mm more" in client_lines(story)[1]
    assert "2026-04-04, mm" in page(story)
    alone = client_lines(told(now, refused))
    assert "No earlier visit has folds at these places" in alone[1]


def test_nothing_alike_means_no_change_is_told() -> None:
    """Another caliper: no change of any fold, and the reason once."""
    lines = client_lines(told(made("2026-05-04"), made("2026-04-04", caliper="other caliper")))
    assert "not compared with those of 2026-04-04" in lines[1]
    assert lines[2] == "The caliper was other caliper before and is dial caliper now."


# The error of measuring


def test_sum_and_sites_stand_with_the_smallest_real_change() -> None:
    """The first row is the sum; each row has its own limit and says on which side of it it is."""
    story = told(made("2026-05-04", more_tenths=20), made("2026-04-04"))
    assert story.change is not None
    rows = re.findall(r"<tr>(.*?)</tr>", page(story).partition("The change since")[2])[1:9]
    assert rows[0].startswith("<td>sum</td>")
    limit = story.change.sum.smallest_real_change_mm
    assert limit is not None
    assert f">{limit:.1f}</td>" in rows[0]
    assert all("more than measurement error" in row for row in rows)


def test_the_bars_of_the_sum_are_the_error_of_its_mean() -> None:
    """Readings 0.4 mm apart: TEM 0.4/√2 a site; of the mean of two and seven sites, times 1.96."""
    story = told(made("2026-05-04"), made("2026-04-04"))
    found = sum_trend([(story.visit, story.result)], story.visit, story.tems_mm)
    (point,) = found.points
    assert point.low is not None
    expected = 1.96 * 0.4 / 2**0.5 / 2**0.5 * 7**0.5
    assert point.value - point.low == pytest.approx(expected)


def test_the_assessors_error_is_in_the_error_of_the_percent() -> None:
    """A shaky assessor's percent has a wider range than the equation alone gives."""
    shaky = [made(f"2026-03-{day:02}", client=day, apart_tenths=60) for day in range(11, 23)]
    now = made("2026-05-04")
    steady, wide = result_of(now), tell(now, NAMES, (), shaky).result
    assert steady is not None
    assert wide is not None
    assert steady.fat_standard_error_percent is not None
    assert wide.fat_standard_error_percent is not None
    assert wide.fat_standard_error_percent > steady.fat_standard_error_percent + 0.1


def test_two_assessors_need_the_error_between_them() -> None:
    """Paired visits give it, and then the change is judged; without them it is not."""
    now, before = made("2026-05-04", more_tenths=40), made("2026-04-04", assessor=2)
    ours = [made(f"2026-03-{day:02}", client=day) for day in range(11, 23)]
    theirs = [
        made(f"2026-03-{day:02}", client=day, assessor=2, more_tenths=4) for day in range(11, 23)
    ]
    alone = tell(now, NAMES, (before,), ours)
    assert alone.change is not None
    assert alone.change.sum.verdict is Verdict.ERROR_UNKNOWN
    both = tell(now, NAMES, (before,), (*ours, *theirs))
    assert both.change is not None
    assert both.change.sum.verdict is Verdict.REAL
    assert both.change.sum.smallest_real_change_mm is not None
    assert "Between this assessor and the one of the last visit" in page(both)
    trend = sum_trend([(before, None), (now, None)], now, both.tems_mm)
    assert trend.points[0].low is None
    assert "Measured by another assessor, no bar: 2026-04-04." in trend.notes


def test_two_clients_found_to_be_one_are_compared() -> None:
    """The identifiers differ, the person does not: the change is told."""
    story = told(made("2026-05-04", more_tenths=20), made("2026-04-04", client=2))
    assert story.change is not None
    assert "14.0 mm more" in client_lines(story)[1]


def test_two_visits_of_one_day_are_told_apart() -> None:
    """Their points carry the time."""
    now, before = made("2026-05-04"), made("2026-05-04", client=2)
    found = sum_trend([(before, None), (now, None)], now, {})
    assert all(point.date == "2026-05-04 09:00" for point in found.points)


def test_a_fold_of_the_left_side_is_drawn_there() -> None:
    """The picture and its text say left; the dot lies on the other side of the figure."""
    right, left = (body_svg({"thigh": 20.0}, side) for side in ((), ("thigh",)))
    assert "thigh, left 20.0 mm" in left
    dots = [float(re.findall(r'<circle cx="([\d.]+)"', svg)[0]) for svg in (right, left)]
    assert dots[0] < 69.5 < dots[1]
    facts = (LEFT | {"value": "left"},)
    assert "thigh, left 20.2 mm" in page(told(made("2026-05-04", facts=facts)))


def test_deviations_name_what_was_turned() -> None:
    """A side, a direction and an offset that the protocol does not ask for are on the file page."""
    facts = (LEFT | {"value": "left"}, TURNED | {"value": "horizontal"})
    lines = deviations(made("2026-05-04", facts=facts))
    assert "Thigh: left side, not right." in lines
    assert "Chest: fold horizontal, not diagonal." in lines


PUT_OFF = {"kind": "put_off", "site": "thigh", "circuit": 2}
MOVED = {"kind": "setup_changed", "site": "midaxillary", "field": "offset", "before": None}
NOT_WIPED = {"kind": "settled", "what": "wiped", "yes": False}
OTHERS = tuple({"kind": "settled", "what": f"other_{who}", "yes": True}
               for who in ("caliper", "assessor"))  # fmt: skip
EXTRA = {"kind": "extra_asked", "site": "thigh", "circuit": 3}


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ((LEFT | {"value": "left"},), "thigh left side, not right"),
        ((TURNED | {"value": "vertical"},), "chest fold vertical, not diagonal"),
        ((MOVED | {"value": 2},), "midaxillary 2 mm in front of its line"),
        ((PUT_OFF,), "put off: thigh, circuit 2"),
        ((EXTRA,), "one reading more: thigh, circuit 3"),
        ((NOT_WIPED,), "caliper not wiped"),
        (OTHERS[:1], "another caliper than at the last visit"),
        (OTHERS[1:], "another assessor than at the last visit"),
        (({"kind": "finished_early", "left": []},), "finished early"),
    ],
    ids=lambda each: each if isinstance(each, str) else "",
)
def test_a_reviewer_sees_every_deviation(facts: tuple[Mapping[str, Any], ...], said: str) -> None:
    """In the day's list, at the head of the visit, and on the report's page for the file."""
    plain, other = made("2026-05-04"), made("2026-05-04", facts=facts)
    assert not any(said in each.text for each in findings(plain))
    found = findings(other)
    row = DayRow(other.id, other.started_at, "Ada Moss", "Bo Lind", False, found)
    assert said in day_lines([row])[0]
    head = visit_lines(other, row)[2 : 2 + len(found)]
    assert any(said in line for line in head)
    new = set(deviations(other)) - set(deviations(plain))
    words = said.replace(":", "").replace(",", "").casefold().split()
    assert any(all(word in told.casefold() for word in words) for told in new)


def test_how_a_site_was_measured_stands_in_the_visit() -> None:
    """Caliper, protocol, cloth, and what was carried over from the last visit are told too."""
    carried = Carried("dial caliper", "Bo", (SiteSetup("thigh", Fold.VERTICAL, Side.LEFT),))
    visit = made("2026-05-04", cloth={"chest": 15})
    visit = replace(visit, plan={**visit.plan, "last_time": carried.to_plain()})
    row = DayRow(visit.id, visit.started_at, "Ada Moss", "Bo Lind", False, findings(visit))
    lines = visit_lines(visit, row)
    assert "caliper: dial caliper" in lines
    assert "protocol: Seven sites, two circuits" in lines
    assert sum("two layers of cloth of 1.5 mm taken off" in line for line in lines) == 2
    (thigh,) = (line for line in lines if line.startswith("thigh") and "vertical" in line)
    assert "left" in thigh
    assert thigh.endswith("! left side, not right")
    assert "thigh left side, not right" in row.told
    assert "through cloth: chest" in row.told


def test_a_caliper_that_had_drifted_is_a_matter_for_the_review() -> None:
    """The check that the visit began with is kept with it, and told to whoever signs."""
    bent = GaugeCheck("2025-01-07", (GaugePoint(100, 108), GaugePoint(200, 202)))
    visit = made("2026-05-04")
    plan = {**visit.plan, "caliper": Caliper("dial caliper", 2, 800, bent).to_plain()}
    told = [each.text for each in findings(replace(visit, plan=plan))]
    assert "the caliper had drifted by 0.8 mm" in told
    assert "the caliper's check with gauge blocks was overdue" in told
    assert not any("caliper" in each.text for each in findings(visit))
