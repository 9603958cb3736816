"""Whatever a name, a note or a file is called: no exit of the program lets it act."""

import ast
import csv
import io
import json
import re
import sys
import threading
import unicodedata
from dataclasses import replace
from functools import partial
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
import wcwidth
from hypothesis import given
from hypothesis import strategies as st

import capture
from capture.cli import main
from capture.composition.options import short
from capture.exchange.table import guard, unguard
from capture.report.markup import escape
from capture.screen.plain import PlainScreen
from capture.screen.render import Size, render
from capture.screen.view import SoundView, Standing, View
from capture.showable import MOST_MARKS, begin, cells, cut, json_text, one_line, padded
from capture.store import open_store
from capture.terminal import show

ROOT = Path(capture.__file__).parent
AT = "2026-05-04T09:30:00+02:00"

HOSTILE = {
    "clear the screen": "Eve\x1b[2J\x1b[H",
    "colour": "Eve\x1b[31;5mNy\x1b[0m",
    "window title": "Eve\x1b]0;owned\x07",
    "link": "Eve\x1b]8;;file:///etc\x1b\\Ny\x1b]8;;\x1b\\",
    "clipboard": "Eve\x1b]52;c;ZXZpbA==\x07",
    "answerback": "Eve\x05\x1b[c\x1b[6n",
    "one-byte controls": "Eve\x9b2J\x9d0;owned\x9c\x90q\x85Ny",
    "line ends": "Eve\r\nfoldcall: all is well\nNy\u2028x\u2029y\x0b\x0c",
    "backspaces": "Eve\b\b\bAda",
    "carriage return": "Eve\rAda",
    "tab": "Eve\tNy",
    "bell and NUL": "Eve\a\0Ny",
    "delete": "Eve\x7f",
    "right to left override": "Eve \u202eyN\u202c Ny",
    "embeddings": "Eve \u202a\u202bNy\u202c",
    "isolates": "Eve \u2066\u2067\u2068Ny\u2069",
    "marks of direction": "Eve\u200e\u200f\u061cNy",
    "never closed": "\u202e\u2067Eve",
    "no width": "E\u200bv\u200c\u200de\u2060\ufeff\u00adNy",
    "only without width": "\u200b\u200d\ufeff",
    "tag letters": "Eve\U000e0041\U000e007f",
    "blank letters": "\u3164\u115f\uffa0\u2800",
    "private use": "Eve\ue000\U0010fffd",
    "not assigned": "Eve\U0003fffd\uffff",
    "accents without end": "E" + "\u0301\u0489\u20dd" * 500 + "ve",
    "accents alone": "\u0301\u0301Eve",
    "emoji": "Eve \U0001f469\u200d\U0001f52c\U0001f3fd \u2764\ufe0f \U0001f1e9\U0001f1ea",
    "wide": "\u674e\u5a1c \u30a2\u30c0 \uac00\uac01 \uff25\uff56\uff45",
    "Hangul in parts": "\u1112\u1161\u11ab\u1100\u1173\u11af",
    "Arabic and Hebrew": "\u0622\u062f\u0627 \u05d0\u05d3\u05d4",
    "Devanagari and Thai": "\u0928\u092e\u0938\u094d\u0924\u0947 \u0e44\u0e17\u0e22\u0e33",
    "very long": "Evangeline " * 900,
    "very long and wide": "\u674e" * 9_900,
    "markup": "<script>alert(1)</script><img src=x onerror=alert(1)>&amp;\"'",
    "formula": "=cmd|' /C calc'!A0",
    "format": "%s%n{0}{client}${HOME}`id`",
}
"""Names by what they try; each is kept and exported as it is."""

NAMES = pytest.mark.parametrize("name", HOSTILE.values(), ids=HOSTILE)

ACTS = re.compile(
    "[\x00-\x1f\x7f-\x9f\u00ad\u034f\u061c\u115f\u1160\u180e\u200b-\u200f\u2028-\u202e"
    "\u2060-\u206f\u2800\u3164\ufe00-\ufe0f\ufeff\uffa0\ufff9-\ufffb\ud800-\udfff"
    "\U000e0000-\U000e0fff]"
)
"""What acts on a terminal, turns the order of letters round, or takes no place: the control
characters of ECMA-48 and Unicode's Bidi_Control and Default_Ignorable_Code_Point."""


def harmless(line: str) -> bool:
    """Whether a terminal only shows a line."""
    marks = 0
    for letter in line:
        marks = marks + 1 if unicodedata.category(letter) in {"Mn", "Me", "Mc"} else 0
        if marks > MOST_MARKS:
            return False
    return ACTS.search(line) is None


# The one module


@NAMES
def test_one_line_only_shows(name: str) -> None:
    """Nothing acts, nothing is turned round, and a second time changes nothing."""
    shown = one_line(name)
    assert harmless(shown)
    assert one_line(shown) == shown
    assert "\n" not in shown


@given(st.text())
def test_any_text_at_all_only_shows(text: str) -> None:
    """The same for whatever text there is."""
    shown = one_line(text)
    assert harmless(shown)
    assert one_line(shown) == shown


def test_names_of_the_world_stay_as_they_are() -> None:
    """Accents, other scripts and signs in names are shown."""
    for name in (
        "Åsa Öberg",
        "José Núñez",
        "O'Neill-Šťastný",
        "李娜",
        "Нина",
        "نور",
        "אדה",
        "สมชาย",
    ):
        assert one_line(name) == name


@NAMES
def test_the_width_is_that_of_a_terminal(name: str) -> None:
    """As the library says that the screen is drawn with."""
    shown = one_line(name)
    assert cells(shown) == wcwidth.wcswidth(shown)


@given(st.text(st.characters(categories=("L", "M", "N", "P", "Zs"), max_codepoint=0x2FFFF)))
def test_a_text_is_cut_to_the_columns_there_are(text: str) -> None:
    """Never more columns than wanted, and filled up to just so many."""
    shown = one_line(text)
    for columns in (0, 1, 2, 7, 24):
        assert cells(cut(shown, columns)) <= columns
        assert cells(begin(shown, columns)) <= columns
        assert cells(padded(shown, columns)) == columns
        assert shown.startswith(begin(shown, columns))


# Every exit


VIEW = View(
    client="Rowan Alderby",
    assessor="Tobias Quill",
    protocol="Seven sites, two circuits",
    headline="triceps",
    about="first circuit",
    value="12.4",
    standing=Standing.CONFIRM,
    standing_about="",
    said=("triceps, twelve point four. Right?",),
    heard='"twelve point four"',
    notice="The microphone is back.",
    menu=(),
    may_say=("yes", "no"),
    keys="Enter yes   - no",
    table=(),
    progress="3 of 14",
    sound=SoundView("LISTENING", -30.0, "Desk microphone", "en strict"),
)
"""A screen in mid-visit."""


@NAMES
@pytest.mark.parametrize("size", [Size(80, 24), Size(120, 40), Size(40, 12)], ids=str)
@pytest.mark.parametrize("where", ["client", "assessor", "notice", "heard", "standing_about"])
def test_the_screen_stands(name: str, size: Size, where: str) -> None:
    """Not a line more, not a column wider, and the value is still to be seen."""
    fine = render(VIEW, size)
    changes: dict[str, Any] = {where: name}
    lines = render(replace(VIEW, **changes), size)
    assert len(lines) == len(fine)
    for line in lines:
        text = "".join(piece for _, piece in line)
        assert harmless(text)
        assert wcwidth.wcswidth(text) <= size.columns
    if size.columns >= 80 and where in {"client", "assessor"}:
        assert "3 of 14" in "".join(piece for _, piece in lines[0])


@NAMES
def test_the_plain_lines_stand(name: str, english: Any) -> None:
    """A notice, or a typed line, is one line."""
    lines: list[str] = []
    PlainScreen(lines.append, english, lambda: 0.0).noticed(name)
    assert len(lines) == 1
    assert harmless(lines[0])


@NAMES
def test_an_argument_is_told_in_one_line(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """What was called wrongly is repeated without acting; so is what argparse itself says."""
    assert harmless(short(name))
    wrong = (
        ["tape", name],
        ["compute", "--sum", name],
        ["clients", "show", name.replace("\0", ""), "--store", "/nowhere/at/all.db"],
        ["report", name, "--store", "/nowhere/at/all.db"],
        ["listen", name.replace("\0", "")[:200]],
        ["measure", "--age", name, "--client", "a", "--assessor", "b"],
        ["clients", name],
        [name],
    )
    for arguments in wrong:
        try:
            code = main(arguments)
        except SystemExit as ended:
            code = int(ended.code or 0)
        told = capsys.readouterr()
        assert code in (1, 2), arguments[0]
        for line in (told.out + told.err).split("\n"):
            assert harmless(line)


STORED = {what: name.replace("\0", "") for what, name in HOSTILE.items()}
"""No keyboard and no argument gives a NUL; the import of a table refuses it."""


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder for the store of all these names."""
    return tmp_path_factory.mktemp("hostile")


@pytest.fixture
def path(kept: Path, halfway: Any) -> Path:
    """A store with a client and a visit for each name; the assessor has it too, as has the note."""
    path = kept / "foldcall.db"
    if not path.exists():
        with open_store(path) as store:
            for name in STORED.values():
                client = store.add_client(name, "female", at=AT, note=name)
                assessor = store.add_assessor(name, at=AT)
                row = store.begin_visit(
                    client.id, assessor.id, at=AT, plan=halfway.plan.to_plain(), program_version="1"
                )
                for entry in halfway.journal[:12]:
                    store.append(row.id, entry)
    return path


def test_the_tables_stand(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The list of clients and the list of the day have one line for each, in their columns."""
    assert main(["clients", "list", "--store", str(path)]) == 0
    listed = capsys.readouterr().out.split("\n")
    assert len(listed) == len(STORED) + 1
    assert all(harmless(line) for line in listed)


def test_the_review_stands(
    path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """In lines: the list, every visit, and what is answered to a hostile command."""
    commands = [*map(str, range(1, len(STORED) + 1)), "list", *HOSTILE.values()]
    flat = "\n".join(line.replace("\n", " ") for line in commands)
    monkeypatch.setattr(sys, "stdin", io.StringIO(flat + "\nquit\n"))
    assert main(["review", "--all", "--plain", "--store", str(path)]) == 0
    lines = capsys.readouterr().out.split("\n")
    assert len(lines) > 10 * len(STORED)
    assert all(harmless(line) for line in lines)


class Page(HTMLParser):
    """What a browser makes of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.policy = ""
        self.handlers: list[str] = []
        self.links: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note elements, policy, handlers and links."""
        given = dict(attrs)
        self.tags.append(tag)
        if given.get("http-equiv") == "Content-Security-Policy":
            self.policy = given["content"] or ""
        self.handlers += [name for name in given if name.startswith("on")]
        self.links += [given[name] or "" for name in ("href", "src") if name in given]

    def handle_data(self, data: str) -> None:
        """Collect the text."""
        self.text += data


@pytest.mark.parametrize("what", STORED)
def test_the_page_stands(path: Path, tmp_path: Path, what: str) -> None:
    """No element comes from a name; nothing runs, nothing is fetched, nothing is turned round."""
    with open_store(path) as store:
        (row,) = [each for each in store.visits() if each.client.name == STORED[what]]
    out = tmp_path / "report.html"
    assert main(["report", row.id, "--out", str(out), "--store", str(path)]) == 0
    text = out.read_bytes().decode()
    page = Page()
    page.feed(text)
    assert not {"script", "iframe", "object", "embed", "img", "base", "form"} & set(page.tags)
    assert page.handlers == []
    assert [link for link in page.links if not link.startswith("#")] == []
    assert "default-src 'none'" in page.policy
    assert "script-src" not in page.policy
    assert re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", text) is None


def test_markup_in_a_name_is_text() -> None:
    """It is shown as it was typed."""
    assert escape(HOSTILE["markup"]).count("<") == 0
    page = Page()
    page.feed(f"<p>{escape(HOSTILE['markup'])}</p>")
    assert page.text == HOSTILE["markup"]


def test_joined_letters_stay_joined_on_paper() -> None:
    """A name that needs a joiner keeps it on the page."""
    assert escape("نا\u200cمه") == "نا\u200cمه"


FORMULAS = (
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    "\n=1",
    " =1",
    "\u3000=1",
    "＝1+1",
    "＋1",
    "－1",
    "＠x",
    "\0=1",
    "=cmd|' /C calc'!A0",
    '=HYPERLINK("http://x","y")',
    "'=1",
    "''",
)


@pytest.mark.parametrize("text", FORMULAS, ids=ascii)
def test_no_cell_begins_as_a_formula(text: str) -> None:
    """OWASP, CSV injection: an apostrophe before it; taken away, the text is what it was."""
    guarded = guard(text)
    assert guarded.startswith("'")
    assert unguard(guarded) == text


def test_names_come_back_unchanged_by_csv_and_json(path: Path, tmp_path: Path) -> None:
    """What is only shown otherwise is exported as it is: another store takes the very names."""
    for form in ("csv", "json"):
        file, other = tmp_path / f"all.{form}", tmp_path / f"{form}.db"
        assert main(["export", str(file), "--store", str(path)]) == 0
        assert main(["import", str(file), "--store", str(other)]) == 0
        with open_store(other) as store:
            found = {(each.name, each.note) for each in store.clients()}
        assert found == {(name, name) for name in STORED.values()}


def test_no_cell_of_the_table_is_a_formula(
    path: Path, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    """In the whole file, not only in names."""
    request.addfinalizer(partial(csv.field_size_limit, csv.field_size_limit(10_000_000)))
    file = tmp_path / "all.csv"
    assert main(["export", str(file), "--store", str(path)]) == 0
    with file.open(encoding="utf-8", newline="") as lines:
        for row in csv.reader(lines):
            for cell in row:
                assert not cell.lstrip().startswith(("=", "+", "-", "@", "＝", "＋", "－", "＠"))


def test_fhir_holds_the_names_and_no_character_that_acts(path: Path, tmp_path: Path) -> None:
    """JSON escapes what a terminal would act upon; a reader gets the very names."""
    file = tmp_path / "all.fhir.json"
    assert main(["export", str(file), "--as", "fhir", "--store", str(path)]) == 0
    text = file.read_text(encoding="utf-8")
    assert all(harmless(line) for line in text.split("\n"))
    names = {
        each["resource"]["name"][0]["text"]
        for each in json.loads(text)["entry"]
        if each["resource"]["resourceType"] == "Patient"
    }
    assert names == set(STORED.values())


@NAMES
def test_json_gives_back_what_it_was_given(name: str) -> None:
    """With every character escaped that a terminal would act upon."""
    text = json_text({"file": name})
    assert json.loads(text) == {"file": name}
    assert harmless(text)


# The one way out


def test_only_one_module_writes_to_the_terminal() -> None:
    """`print` and the standard streams are `capture/terminal.py`'s; screens use prompt_toolkit."""
    for file in sorted(ROOT.rglob("*.py")):
        name = file.relative_to(ROOT).as_posix()
        if name.startswith(("training/", "_data/")) or name == "terminal.py":
            continue
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                safe = name == "sound/__main__.py"  # an edge of its own, which passes one_line
                assert safe or node.func.id != "print", f"{name}:{node.lineno}"
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                written = ast.unparse(node.func)
                assert not written.startswith(("sys.stdout.write", "sys.stderr.write")), name


def test_what_the_encoding_lacks_is_a_question_mark(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a terminal of 1987 as well, a name does not end the program."""
    old = io.TextIOWrapper(io.BytesIO(), encoding="cp437", newline="")
    monkeypatch.setattr(sys, "stdout", old)
    show("Нина Lind")
    assert old.buffer.getvalue() == b"???? Lind\n"


def test_an_unexpected_error_in_a_thread_does_not_print_values(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Neither the message nor the source line of it; where it was, is told."""

    def fails(_: Any) -> int:
        def inside() -> None:
            raise ValueError("Quintessa Marigold 47.3")

        thread = threading.Thread(target=inside)
        thread.start()
        thread.join()
        return 0

    monkeypatch.setattr("capture.phrases._command", fails)
    assert main(["phrases"]) == 0
    told = capsys.readouterr().err
    assert "ValueError" in told
    assert "Quintessa" not in told
    assert "47.3" not in told
