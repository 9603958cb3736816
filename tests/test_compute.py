"""The command `compute`: what it prints, what it refuses, and with which words."""

import argparse
import doctest
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from many_visits import filled

from capture import compute
from capture.composition import options as options_module
from capture.composition import table as table_module
from capture.composition.equations import equation, equations
from capture.composition.table import visits_from_csv
from capture.errors import CaptureError, MisuseError
from capture.reporting import story_of
from capture.store import open_store

MEN_3 = "jackson_pollock_1978_men_3"
MEN_4_PERCENT = "jackson_pollock_1985_men_4_percent"
Run = Callable[..., int]


@pytest.fixture
def run() -> Run:
    """The command with its arguments; errors come out as they are raised."""
    parser = argparse.ArgumentParser()
    compute.add_command(parser.add_subparsers())

    def given(*arguments: str) -> int:
        chosen = parser.parse_args(["compute", *arguments])
        code: int = chosen.command(chosen)
        return code

    return given


@pytest.fixture
def table(tmp_path: Path) -> Callable[[str | bytes], str]:
    """A file with this content."""

    def written(content: str | bytes) -> str:
        path = tmp_path / "readings.csv"
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return str(path)

    return written


Table = Callable[[str | bytes], str]


def _json(capsys: pytest.CaptureFixture[str]) -> Any:
    return json.loads(capsys.readouterr().out)


# A client of the store


@pytest.fixture
def store_path(tmp_path: Path) -> Path:
    """A store with two men: one with choices of his own, one without."""
    path = tmp_path / "clients.db"
    with open_store(path) as store:
        at = "2026-05-04T09:30:00+02:00"
        store.add_client(
            "Rowan Alderby",
            "male",
            at=at,
            birth_date="1985-03-31",
            equation=MEN_3,
            conversion="brozek",
            show_norms=False,
        )
        store.add_client("Col Lind", "male", at=at, show_fat_percent=False)
    return path


def test_a_named_clients_choices_are_used(
    run: Run, store_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Equation, conversion, age by the birth date and what is shown come from the store."""
    assert (
        run("--client", "Rowan Alderby", "--store", str(store_path), "--sum", "45", "--json") == 0
    )
    found = _json(capsys)
    assert (found["equation"], found["conversion"]["id"]) == (MEN_3, "brozek")
    assert found["age_years"] >= 41
    assert found["fat_percent"] is not None
    assert found["norm"] is None


def test_a_client_who_is_shown_no_percent_gets_none_here_either(
    run: Run, store_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The folds are summed by the usual equation's sites; no percent, density or mass is told."""
    readings = ["--reading", "chest=10", "--reading", "abdominal=20", "--reading", "thigh=15"]
    of_client = ["--client", "Col Lind", "--store", str(store_path), "--age", "30"]
    assert run(*of_client, *readings, "--weight", "80", "--json") == 0
    found = _json(capsys)
    assert (found["equation"], found["sum_mm"]) == (MEN_3, 45.0)
    assert not {"fat_percent", "density_g_cm3", "masses", "norm"} & set(found)


def test_a_client_who_is_not_there_is_told(run: Run, store_path: Path) -> None:
    """One line, and nothing is computed."""
    with pytest.raises(CaptureError, match="no such client"):
        run("--client", "Nobody", "--store", str(store_path), "--sum", "45", "--age", "30")


def test_which_equations_fit_a_client_and_a_protocol(
    run: Run, store_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Before anything is measured: what applies to this client with these sites, and why not."""
    of_client = ["--client", "Rowan Alderby", "--store", str(store_path), "--json"]
    assert run("--applicable", "--protocol", "three_sites_men", *of_client) == 0
    found = {each["id"]: each for each in _json(capsys)}
    assert found[MEN_3]["applies"]
    assert found["durnin_womersley_1974_men"]["reasons"][0]["kind"] == "sites missing"
    assert not any(found[each.id]["applies"] for each in equations() if each.sexes == ("female",))


# The lists


def test_the_list_holds_every_equation(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    """Id, sexes, ages, sites, source and how well confirmed, for each."""
    assert run("--list", "--json") == 0
    listed = _json(capsys)
    assert [each["id"] for each in listed] == [known.id for known in equations()]
    for each in listed:
        assert {"id", "sexes", "ages", "sites", "source", "confirmed", "gives"} <= set(each)
        assert each["confirmed"] in ("verified", "secondary", "memory")
        assert each["source"]
    men = next(each for each in listed if each["id"] == MEN_3)
    assert men["sexes"] == ["male"]
    assert men["ages"] == [18, 61]
    assert men["sites"] == ["chest", "abdominal", "thigh"]


def test_the_lists_as_lines(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    """Whoever reads lines sees every id, and what is from memory."""
    run("--list")
    lines = capsys.readouterr().out
    assert all(known.id in lines for known in equations())
    assert "Confirmed: memory." in lines
    run("--conversions")
    assert "siri: 495 / D - 450; general" in capsys.readouterr().out


def test_every_check_is_printed(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    """A row a figure, with its source, the value, ours and the difference."""
    assert run("--checks") == 0
    rows = [line for line in capsys.readouterr().out.splitlines() if line.startswith("| `")]
    assert any("Table 6" in row and "| 21.5 % fat | 21.5" in row for row in rows)


def test_the_list_of_conversions(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    """Each conversion with its group, formula and source."""
    run("--conversions", "--json")
    listed = _json(capsys)
    assert {"id", "formula", "population", "sexes", "ages", "source", "confirmed"} <= set(listed[0])
    assert len({each["id"] for each in listed}) == len(listed) == 26


# A result


def test_density_percent_and_range_as_json(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    """A man of 30 with 45 mm: figures worked out by hand."""
    assert run("--equation", MEN_3, "--age", "30", "--sum", "45", "--json") == 0
    found = _json(capsys)
    assert found["density_g_cm3"] == pytest.approx(1.0676965, abs=6e-8)
    assert found["fat_percent"] == pytest.approx(13.615, abs=6e-4)
    error = 495 / 1.0676965**2 * 0.0077
    assert found["fat_percent_low"] == pytest.approx(13.615 - error, abs=1e-3)
    assert found["fat_percent_high"] == pytest.approx(13.615 + error, abs=1e-3)
    assert found["plain_range"] == "13.6 %, likely 10 to 17"
    assert found["equation"] == MEN_3
    assert found["equation_details"]["confirmed"] == "secondary"
    assert list(found).index("sum_mm") < list(found).index("fat_percent")


def test_a_percent_given_directly_has_no_density(
    run: Run, capsys: pytest.CaptureFixture[str]
) -> None:
    """The density is null, and so is the range where no error is known."""
    assert run("--equation", MEN_4_PERCENT, "--age", "30", "--sum", "80", "--json") == 0
    found = _json(capsys)
    assert found["density_g_cm3"] is None
    assert found["conversion"] is None
    assert found["fat_percent"] == pytest.approx(19.220, abs=6e-4)
    assert found["fat_percent_low"] is found["fat_percent_high"] is None
    assert found["plain_range"] == "about 19 %, error not known"


def test_readings_from_options_and_from_a_table_agree(
    run: Run, table: Table, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two readings of a site are averaged, of three the middle one counts."""
    common = ("--equation", MEN_3, "--age", "30", "--json")
    readings = ("chest=9.8,10.2", "abdominal=18,20,26", "thigh=15")
    run(*common, *(part for each in readings for part in ("--reading", each)))
    typed = _json(capsys)
    lines = ["site,reading_mm", "chest,9.8", "abdominal,18", "thigh,15.0"]
    lines += ["chest,10.2", "abdominal,20", "abdominal,26", ""]
    run(*common, "--csv", table("\n".join(lines)))
    from_file = _json(capsys)
    assert typed == from_file
    assert typed["sum_mm"] == 45
    assert [site["value_mm"] for site in typed["sites"]] == [10.0, 20.0, 15.0]


def test_masses_goal_and_place(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    """With weight, height and a target the lines say what follows, each with its range."""
    body = ("--weight", "80", "--height", "180", "--target", "12")
    run("--equation", MEN_3, "--age", "30", "--sum", "45", *body)
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "Sum of folds 45.0 mm (chest, abdominal, thigh)"
    assert "Fat mass 10.9 kg, likely 8 to 14" in lines
    assert "Fat-free mass 69.1 kg, likely 66 to 72" in lines
    assert any("the weight would be 78.5 kg, likely 75 to 82" in line for line in lines)
    assert any(line.startswith("Among 100 men of 30 to 39 years") for line in lines)


def test_the_percent_and_the_place_can_be_left_out(
    run: Run, capsys: pytest.CaptureFixture[str]
) -> None:
    """Some clients should not see such a number."""
    common = ("--equation", MEN_3, "--age", "30", "--sum", "45", "--json")
    run(*common, "--no-norms")
    assert _json(capsys)["norm"] is None
    run(*common, "--no-fat")
    assert {"fat_percent", "density_g_cm3", "norm"}.isdisjoint(_json(capsys))


def test_another_conversion_and_a_shaky_hand(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    """Brozek gives its own percent; an error of the sum widens the range."""
    common = ("--equation", MEN_3, "--age", "30", "--sum", "45", "--json")
    run(*common, "--conversion", "brozek")
    brozek = _json(capsys)
    assert brozek["fat_percent"] == pytest.approx(13.824, abs=6e-4)
    run(*common, "--conversion", "brozek", "--tem-sum", "6")
    shaky = _json(capsys)
    assert shaky["fat_percent"] == brozek["fat_percent"]
    assert shaky["fat_percent_high"] > brozek["fat_percent_high"] + 0.3


# Refusals


def test_outside_the_sample_there_is_a_reason_and_no_figure(
    run: Run, capsys: pytest.CaptureFixture[str]
) -> None:
    """The values are null, the reason is in them and in the error; an override marks them."""
    common = ("--equation", MEN_3, "--age", "70", "--sum", "45", "--json")
    with pytest.raises(CaptureError, match="70 lies outside the sample") as caught:
        run(*common)
    assert not isinstance(caught.value, MisuseError)
    assert "--override" in caught.value.hint
    refused = _json(capsys)
    assert refused["fat_percent"] is refused["density_g_cm3"] is None
    assert refused["refused"][0]["kind"] == "age outside the sample"
    assert run(*common, "--override") == 0
    allowed = _json(capsys)
    assert allowed["fat_percent"] is not None
    assert allowed["outside_the_sample"] is True
    assert allowed["outside"][0]["kind"] == "age outside the sample"
    assert "outside the equation's sample" in allowed["plain_range"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--sum", "300", "--override"), "thicker fold would lower"),
        (("--sum", "45", "--sex", "female", "--override"), "other sex"),
        (("--reading", "chest=10", "--override"), "Not measured: abdominal, thigh"),
        (("--sum", "45", "--conversion", "ortiz", "--override"), "conversion was made for"),
    ],
    ids=["past the turning point", "other sex", "sites missing", "conversion of the other sex"],
)
def test_what_no_override_gets(run: Run, arguments: tuple[str, ...], words: str) -> None:
    """These figures would mean nothing."""
    with pytest.raises(CaptureError, match=words) as caught:
        run("--equation", MEN_3, "--age", "30", *arguments)
    assert "No override" in caught.value.hint


def test_below_the_model_is_a_failure_with_a_reason(run: Run) -> None:
    """A density above that of the fat-free body is not printed as 0 percent."""
    with pytest.raises(CaptureError, match="below the model's range"):
        run("--equation", "durnin_womersley_1974_men", "--age", "18", "--sum", "8.5")


NO_NUMBERS = ["nan", "NaN", "inf", "1e309", "1e2", "-5", "abc", "", " ", "0", "99999", "12,5"]
NO_NUMBERS += ["１２", "1_0", "0x10", "9" * 400, "45mm", "\x1b[31m"]


NUMBERS = ("--sum", "--weight", "--height", "--target", "--age")
# A newborn has an age of 0.
BAD_NUMBERS = [
    (option, text) for option in NUMBERS for text in NO_NUMBERS if (option, text) != ("--age", "0")
]


@pytest.mark.parametrize(("option", "text"), BAD_NUMBERS, ids=ascii)
def test_what_is_no_number_is_told_in_one_line(run: Run, option: str, text: str) -> None:
    """Bad input is misuse, with the option's name, never a traceback or a made-up figure."""
    arguments = {"--age": "30", "--sum": "45", "--weight": "80", "--equation": MEN_3}
    arguments[option] = text
    with pytest.raises(MisuseError) as caught:
        run(*(f"{name}={value}" for name, value in arguments.items()))
    told = str(caught.value)
    assert told.startswith(option)
    assert "\n" not in told
    assert "\x1b" not in told
    assert len(told) < 200


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (f"--age 30 --equation {MEN_3}", "One of --sum, --reading and --csv"),
        (f"--age 30 --sum 45 --reading chest=1 --equation {MEN_3}", "One of --sum"),
        (f"--sum 45 --equation {MEN_3}", "--age is missing"),
        (f"--age 30.5 --sum 45 --equation {MEN_3}", "no whole number"),
        ("--age 30 --sum 45", "--equation is missing"),
        ("--age 30 --sum 45 --equation nonsense", "no equation 'nonsense'"),
        (f"--age 30 --sum 45 --equation {MEN_3} --conversion nonsense", "no conversion"),
        (f"--age 30 --sum 80 --equation {MEN_4_PERCENT} --conversion siri", "percent itself"),
        (f"--age 30 --sum 45 --target 12 --equation {MEN_3}", "--target needs a weight"),
        (f"--age 30 --reading nose=12 --equation {MEN_3}", "no known site"),
        (f"--age 30 --reading chest --equation {MEN_3}", "no known site"),
        (f"--age 30 --reading chest=0 --equation {MEN_3}", "does not lie above 0"),
        (f"--age 30 --reading chest=12.45 --equation {MEN_3}", "to a tenth"),
        (f"--age 30 --reading chest=12, --equation {MEN_3}", "to a tenth"),
        (f"--age 30 --reading chest=1 --reading chest=2 --equation {MEN_3}", "twice"),
        ("--list --conversions", "do not go together"),
        ("--applicable --age 30 --reading chest=10", "--sex is missing"),
        ("--applicable --age 30 --sex male", "No readings"),
    ],
)
def test_misuse_is_told(run: Run, line: str, words: str) -> None:
    """Whatever is missing or contradicts itself is said, with what to do."""
    with pytest.raises(MisuseError, match=words) as caught:
        run(*line.split())
    assert caught.value.hint


# Which equations fit


def test_which_equations_fit_and_why_not(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    """Every equation stands in the list, with each reason against it."""
    readings = ("--reading", "chest=10", "--reading", "abdominal=20", "--reading", "thigh=15")
    run("--applicable", "--sex", "male", "--age", "30", *readings, "--json")
    answers = {each["id"]: each for each in _json(capsys)}
    assert set(answers) == {known.id for known in equations()}
    assert answers[MEN_3] == {"id": MEN_3, "applies": True, "with_override": True, "reasons": []}
    women = answers["jackson_pollock_ward_1980_women_3"]
    assert [reason["kind"] for reason in women["reasons"]] == ["sex", "sites missing"]
    run("--applicable", "--sex", "male", "--age", "30", *readings)
    assert f"{MEN_3}: applies" in capsys.readouterr().out


# Tables


def _repeated(rows: int = 10, assessor: str = "a") -> list[str]:
    first = (10.2, 14.6, 8.4, 22.0, 17.8, 12.6, 9.0, 30.4, 15.2, 19.6)
    second = (10.6, 14.2, 8.8, 21.0, 18.4, 12.4, 9.4, 29.2, 15.8, 19.0)
    lines = []
    for n, pair in enumerate(zip(first[:rows], second[:rows], strict=True)):
        lines += [f"2026-05-04,c{n},{assessor},triceps,{mm}" for mm in pair]
    return lines


HEADER = "date,client,assessor,site,reading_mm"


def test_technical_error_from_a_table(
    run: Run, table: Table, capsys: pytest.CaptureFixture[str]
) -> None:
    """The worked example of ten people comes out again; nine people show no figure."""
    run("--tem", table("\n".join([HEADER, *_repeated()])), "--json")
    (triceps,) = _json(capsys)
    assert triceps["tem_mm"] == pytest.approx(0.4583, abs=5e-5)
    assert triceps["pairs"] == 10
    assert triceps["level"] == "accepted for an experienced assessor"
    assert triceps["limits_confirmed"] == "memory"
    run("--tem", table("\n".join([HEADER, *_repeated(9)])))
    assert "Not shown below 10 pairs" in capsys.readouterr().out


def test_error_between_two_assessors_from_a_table(
    run: Run, table: Table, capsys: pytest.CaptureFixture[str]
) -> None:
    """Both measured the same ten people alike: no error between them."""
    path = table("\n".join([HEADER, *_repeated(), *_repeated(assessor="b")]))
    run("--tem", path, "--assessor", "a", "--other", "b", "--json")
    (triceps,) = _json(capsys)
    assert triceps["agreement"] == "between assessors"
    assert triceps["tem_mm"] == 0
    for wrong in ((), ("--assessor", "z"), ("--assessor", "a", "--other", "z")):
        with pytest.raises(MisuseError, match="2 assessors"):
            run("--tem", path, *wrong)
    with pytest.raises(MisuseError, match="the same"):
        run("--tem", path, "--assessor", "a", "--other", "a")


def test_technical_error_from_the_store(
    run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The assessor's own visits give the same error as their report; one not there is told."""
    path = filled(tmp_path / "visits.db", 60)
    of_store = ["--store", str(path), "--json"]
    assert run("--tem", "--assessor", "Tor Vik", *of_store) == 0
    found = {each["site"]: each for each in _json(capsys)}
    assert found["triceps"]["pairs"] >= 20
    with open_store(path) as store:
        row = next(each for each in store.visits() if each.assessor.name == "Tor Vik")
        told = {each.site: each.tem_mm for each in story_of(store, row).errors}
    assert {site: each["tem_mm"] for site, each in found.items()} == told
    assert run("--tem", "--assessor", "Tor Vik", "--other", "Una Berg", *of_store) == 0
    assert all(each["agreement"] != found["triceps"]["agreement"] for each in _json(capsys))
    with pytest.raises(CaptureError, match="no such assessor"):
        run("--tem", "--assessor", "Nobody", *of_store)
    with pytest.raises(MisuseError, match="--assessor is missing"):
        run("--tem", *of_store)


def test_change_from_a_table(run: Run, table: Table, capsys: pytest.CaptureFixture[str]) -> None:
    """The last two visits of a client, at the error of the assessor's visits in the table."""
    later = ["2026-06-01,c0,a,triceps,10.4", "2026-06-01,c0,a,triceps,10.8"]
    path = table("\n".join([HEADER, *later, *_repeated()]))
    run("--change", path, "--client", "c0", "--json")
    found = _json(capsys)
    assert (found["before"], found["now"]) == ("2026-05-04", "2026-06-01")
    assert found["sum"]["verdict"] == "within measurement error"
    assert found["sites"][0]["change_mm"] == pytest.approx(0.2)
    run("--change", path, "--client", "c0")
    assert "triceps: +0.2 mm, within measurement error (0.9 mm)" in capsys.readouterr().out
    with pytest.raises(MisuseError, match="several clients"):
        run("--change", path)
    with pytest.raises(CaptureError, match="no two visits"):
        run("--change", path, "--client", "c1")
    with pytest.raises(CaptureError, match="no date"):
        run("--change", table("site,reading_mm\nchest,10"))


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("", "lacks the column site and reading_mm"),
        ("site\nchest", "lacks the column reading_mm"),
        ("site;reading_mm\nchest;12", "lacks the column"),
        ("site,reading_mm,site\nchest,12,chest", "column twice"),
        ("site,reading_mm,shoe\nchest,12,41", "not known here"),
        ("site,reading_mm\n", "no reading"),
        ("site,reading_mm\nchest", "Line 2 .* 1 cells"),
        ("site,reading_mm\nnose,12", "Line 2 .* site is none of"),
        ("site,reading_mm\nchest,12\nchest,nan", "Line 3 .* no number"),
        ("site,reading_mm\nchest,1e309", "Line 2 .* no number"),
        ("site,reading_mm\nchest,-5", "Line 2 .* no number"),
        ("site,reading_mm\nchest,0", "Line 2 .* above 0"),
        ("site,reading_mm\nchest,125.5", "Line 2 .* up to 100 mm"),
        ("site,reading_mm,date\nchest,12,4.5.2026", "Line 2 .* date"),
        ("site,reading_mm,date\nchest,12,2026-02-30", "Line 2 .* date"),
        ("site,reading_mm,side\nchest,12,up", "Line 2 .* side"),
        ("site,reading_mm,fold\nchest,12,up", "Line 2 .* fold"),
        ("site,reading_mm,side\nchest,12,left\nchest,12,right", "two ways"),
        ('site,reading_mm\n"chest,12', "Line 2 .* comma-separated"),
        ("site,reading_mm\n" + "c" * 200_000 + ",12", "Line 2 .* comma-separated"),
        ("site,reading_mm\n" + "chest,12\n" * 100_001, "more than 100000 lines"),
        (b"site,reading_mm\nchest,\xff", "no UTF-8"),
        (b"x" * 10_000_001, "larger than 10 MB"),
        ("site,reading_mm,client\nchest,12,x\nchest,12,y", "holds 2 visits"),
    ],
    ids=lambda value: str(value)[:40].encode("unicode_escape").decode() if value else "empty",
)
def test_a_table_that_cannot_be_read_is_told(
    run: Run, table: Table, content: str | bytes, words: str
) -> None:
    """A wrong file is a failure that names the line, and nothing of it is computed."""
    with pytest.raises(CaptureError, match=words) as caught:
        run("--equation", MEN_3, "--age", "30", "--csv", table(content))
    assert not isinstance(caught.value, MisuseError)
    assert len(str(caught.value)) < 600


def test_a_message_about_a_table_holds_no_name() -> None:
    """A cell that slipped into the wrong column may be a name; it is not repeated."""
    for line in ("Erika Invented,12", "chest,Erika Invented"):
        with pytest.raises(CaptureError) as caught:
            visits_from_csv(f"site,reading_mm\n{line}", ("chest",))
        assert "Erika" not in str(caught.value)


@pytest.mark.parametrize("name", ["missing.csv", "."], ids=["missing", "a folder"])
def test_a_file_that_cannot_be_opened_is_told(run: Run, tmp_path: Path, name: str) -> None:
    """No file, no result."""
    with pytest.raises(CaptureError, match="cannot be opened"):
        run("--equation", MEN_3, "--age", "30", "--csv", str(tmp_path / name))


def test_a_table_from_a_spreadsheet(run: Run, table: Table) -> None:
    """A byte-order mark, Windows line ends, spaces and capitals do no harm."""
    content = b"\xef\xbb\xbfSite, Reading_mm\r\nChest,10\r\nabdominal , 20.0\r\n\r\nTHIGH,15\r\n"
    assert run("--equation", MEN_3, "--age", "30", "--csv", table(content)) == 0


def test_a_fold_lifted_another_way_in_a_table_is_refused(run: Run, table: Table) -> None:
    """The table's fold directions are compared with the equation's."""
    content = "site,reading_mm,fold\nchest,10,diagonal\nabdominal,20,horizontal\nthigh,15,vertical"
    with pytest.raises(CaptureError, match=r"another direction .* abdominal"):
        run("--equation", MEN_3, "--age", "30", "--csv", table(content))


def test_any_equation_can_be_asked_for_at_any_of_its_ages(
    run: Run, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each id of the list computes, at its youngest and its oldest age."""
    for known in equations():
        for age in known.ages:
            arguments = ("--equation", known.id, "--age", str(age), "--sum", "40", "--json")
            assert run(*arguments) == 0
            found = _json(capsys)
            assert 0 <= found["fat_percent"] <= 61
            direct = equation(known.id).gives.value == "fat percent"
            assert (found["density_g_cm3"] is None) is direct


@pytest.mark.parametrize("module", [options_module, table_module], ids=lambda m: m.__name__)
def test_the_examples_in_the_text_run(module: object) -> None:
    """What a docstring shows is what happens."""
    outcome = doctest.testmod(module)  # type: ignore[arg-type]
    assert outcome.attempted > 0
    assert outcome.failed == 0
