"""Protocols as data: the files that come with the program, and a practitioner's own."""

import json
from decimal import Decimal
from pathlib import Path
from xml.etree import ElementTree

import pytest

from capture.composition.equations import equations
from capture.errors import MisuseError
from capture.language.grammar import Grammar
from capture.protocol.pictures import PICTURES, svg, text_lines
from capture.protocol.protocol import PROTOCOLS, Whichever
from capture.protocol.reading import (
    ProtocolError,
    protocol_from_plain,
    protocol_to_plain,
    read_protocol,
)
from capture.protocol.shipped import SHIPPED, text_of
from capture.protocol.sites import Fold, Side
from capture.protocol_file import open_protocol

EVERY_SITE = [(each.id, site) for each in PROTOCOLS.values() for site in each.sites]
IDS = [f"{protocol} {site.id}" for protocol, site in EVERY_SITE]


def test_the_protocols_that_come_with_the_program() -> None:
    """Seven, three for men and for women, four and eight sites, in their usual order.

    Sources: Jackson and Pollock 1978; Jackson, Pollock and Ward 1980; Durnin and Womersley 1974;
    the eight of international practice from memory.
    """
    assert {each.id: [site.id for site in each.sites] for each in PROTOCOLS.values()} == {
        "seven_sites": [
            "chest", "midaxillary", "triceps", "subscapular", "abdominal", "suprailiac", "thigh",
        ],
        "three_sites_men": ["chest", "abdominal", "thigh"],
        "three_sites_women": ["triceps", "suprailiac", "thigh"],
        "four_sites": ["biceps", "triceps", "subscapular", "iliac_crest"],
        "eight_sites": [
            "triceps", "subscapular", "biceps", "iliac_crest", "supraspinale", "abdominal",
            "thigh", "calf",
        ],
    }  # fmt: skip


@pytest.mark.parametrize(
    ("protocol", "equation"),
    [
        ("seven_sites", "jackson_pollock_1978_men_7"),
        ("seven_sites", "jackson_pollock_ward_1980_women_7"),
        ("three_sites_men", "jackson_pollock_1978_men_3"),
        ("three_sites_women", "jackson_pollock_ward_1980_women_3"),
        ("four_sites", "durnin_womersley_1974_men"),
        ("four_sites", "durnin_womersley_1974_women"),
    ],
)
def test_a_protocol_measures_what_its_equation_needs(protocol: str, equation: str) -> None:
    """The sites have the equation's names, and every direction that the paper states."""
    (formula,) = (each for each in equations() if each.id == equation)
    sites = PROTOCOLS[protocol].sites
    assert {site.id for site in sites} == set(formula.sites)
    stated = dict(formula.fold_directions)
    for site in sites:
        assert stated[site.id].value in {site.fold.value, "not stated"}


def test_the_seven_folds_run_as_their_authors_lifted_them() -> None:
    """Vertical midaxillary and abdominal, diagonal suprailiac (Jackson and Pollock 1978)."""
    folds = {site.id: site.fold for site in PROTOCOLS["seven_sites"].sites}
    upright = {name for name, fold in folds.items() if fold is Fold.VERTICAL}
    assert upright == {"midaxillary", "triceps", "abdominal", "thigh"}
    assert {folds[name] for name in ("chest", "subscapular", "suprailiac")} == {Fold.DIAGONAL}


def test_international_practice_agrees_within_five_percent() -> None:
    """A third beyond 5 percent, whatever the millimetres (from memory)."""
    tolerance = PROTOCOLS["eight_sites"].tolerance
    assert tolerance.agree(195, 205)
    assert not tolerance.agree(194, 205)


def test_the_smaller_of_two_bounds() -> None:
    """A file may ask for the stricter rule: 2 mm even where 10 percent is more."""
    text = text_of("seven_sites").replace('whichever = "larger"', 'whichever = "smaller"')
    tolerance = read_protocol(text, "own.toml").tolerance
    assert tolerance.whichever is Whichever.SMALLER
    assert (tolerance.agree(400, 420), tolerance.agree(400, 421)) == (True, False)
    assert (tolerance.agree(95, 105), tolerance.agree(94, 105)) == (True, False)


@pytest.mark.parametrize("name", SHIPPED)
def test_names_in_a_file_are_names_that_are_heard(name: str, grammar: Grammar) -> None:
    """Each spoken name of a site is in the grammar and calls that site; none is forgotten."""
    heard: dict[str, set[str]] = {}
    for words, slots in grammar.automaton("foldcall.sites.site").sentences():
        heard.setdefault(str(slots["site"]), set()).add(" ".join(words))
    for site in PROTOCOLS[name].sites:
        assert set(site.spoken) == heard[site.id]


@pytest.mark.parametrize(("protocol", "site"), EVERY_SITE, ids=IDS)
def test_every_site_says_all_that_is_needed(protocol: str, site: object) -> None:
    """Landmark, side, picture; both ends and a usual length where a tape is used."""
    site = next(each for each in PROTOCOLS[protocol].sites if each is site)
    assert len(site.landmark.split()) >= 5
    assert site.side is Side.RIGHT
    assert site.picture in PICTURES
    taped = (site.tape_from, site.tape_to, site.tape_usual_mm)
    assert all(taped) or not any(taped)


@pytest.mark.parametrize("name", SHIPPED)
def test_a_protocol_survives_the_store(name: str) -> None:
    """What a plan keeps of its protocol is the whole of it."""
    stored = json.loads(json.dumps(protocol_to_plain(PROTOCOLS[name])))
    assert protocol_from_plain(stored) == PROTOCOLS[name]


def test_a_practitioners_own_file(tmp_path: Path) -> None:
    """A copied and changed file is opened by its path, one of ours by its id."""
    own = tmp_path / "mine.toml"
    text = text_of("three_sites_men").replace('id = "three_sites_men"', 'id = "mine"')
    own.write_text(text.replace("circuits = 2", "circuits = 3"), encoding="utf-8")
    opened = open_protocol(str(own))
    assert (opened.id, opened.circuits) == ("mine", 3)
    assert opened.sites == open_protocol("three_sites_men").sites


MISTAKES = {
    "no TOML": ("circuits = 2", "circuits =", "line 9"),
    "no number": ("circuits = 2", 'circuits = "two"', "circuits"),
    "yes for one": ("circuits = 2", "circuits = true", "circuits"),
    "too many circuits": ("circuits = 2", "circuits = 9", "circuits"),
    "another format": ("format = 1", "format = 2", "format"),
    "a missing key": ('title = "Three', '# "Three', "title"),
    "an unknown key": ("circuits = 2", "circuits = 2\ncolour = 3", "colour"),
    "too fine a tolerance": ("mm = 2", "mm = 2.05", "tolerance.mm"),
    "a negative tolerance": ("mm = 2", "mm = -1", "tolerance.mm"),
    "endless": ("mm = 2", "mm = inf", "tolerance.mm"),
    "neither bound": ('whichever = "larger"', 'whichever = "both"', "tolerance.whichever"),
    "a sideways fold": ('fold = "diagonal"', 'fold = "sideways"', "site 1: fold"),
    "a range upside down": ("usual_mm = [4, 65]", "usual_mm = [65, 4]", "site 2: usual_mm"),
    "a range of one": ("usual_mm = [4, 65]", "usual_mm = [4]", "site 2: usual_mm"),
    "a range in words": ("usual_mm = [4, 65]", 'usual_mm = ["a", 4]', "site 2: usual_mm"),
    "a site twice": ('id = "thigh"', 'id = "chest"', "site 3: id"),
    "a name for two": ('spoken = ["thigh"]', 'spoken = ["chest"]', "site 3: spoken"),
    "half a tape": ('tape_to = "the nipple line"', "", "site 1: tape_to"),
    "no picture": ('picture = "thigh"', 'picture = "banana"', "site 3: picture"),
    "no sites": ("[[site]]", "[[place]]", "site is missing"),
}


@pytest.mark.parametrize(("old", "new", "place"), MISTAKES.values(), ids=MISTAKES.keys())
def test_a_mistake_is_told_with_file_and_key(old: str, new: str, place: str) -> None:
    """Whoever changes a protocol is told in one line where it is wrong, and what to write."""
    text = text_of("three_sites_men")
    assert old in text
    with pytest.raises(ProtocolError) as caught:
        read_protocol(text.replace(old, new), "mine.toml")
    assert caught.value.message.startswith("mine.toml: ")
    assert place in caught.value.message
    assert "\n" not in caught.value.message
    assert caught.value.hint


def test_a_range_is_exact_in_tenths() -> None:
    """3.3 mm is 33 tenths, not what a binary fraction makes of it."""
    text = text_of("three_sites_men").replace("usual_mm = [4, 65]", "usual_mm = [3.3, 64.9]")
    lowest, highest = read_protocol(text, "mine.toml").site("abdominal").usual_tenths_mm
    assert (lowest, highest) == (Decimal("3.3") * 10, Decimal("64.9") * 10)


@pytest.mark.parametrize("what", ["nothing", "folder", "bytes"])
def test_a_file_that_cannot_be_read(tmp_path: Path, what: str) -> None:
    """A wrong path is a wrong call, an unreadable file a failure; neither ends in a traceback."""
    with pytest.raises(MisuseError, match="seven_sites"):
        open_protocol("nine_sites")
    file = tmp_path / "own.toml"
    if what == "folder":
        file.mkdir()
    elif what == "bytes":
        file.write_bytes(b"\xff\xfe")
    with pytest.raises(ProtocolError, match=r"own\.toml"):
        open_protocol(str(file))


@pytest.mark.parametrize(("protocol", "site"), EVERY_SITE, ids=IDS)
def test_every_site_is_drawn(protocol: str, site: object) -> None:
    """The text shows the figure with one X and the words; the SVG the landmark and the fold."""
    site = next(each for each in PROTOCOLS[protocol].sites if each is site)
    lines = text_lines(site)
    figure, words = lines[:16], "\n".join(lines[16:])
    assert "".join(figure).count("X") == 1
    assert all(len(line) <= 21 for line in figure)
    assert site.landmark in words
    assert site.fold.value in words
    drawn = ElementTree.fromstring(svg(site))
    assert len(drawn.findall("{*}line")) == 2
    assert site.fold.value in drawn.findtext("{*}title", "")


def test_a_fold_is_drawn_as_it_was_lifted() -> None:
    """A horizontal midaxillary is drawn level, a vertical one upright."""
    site = PROTOCOLS["seven_sites"].site("midaxillary")

    def crest(fold: Fold) -> tuple[bool, bool]:
        line = ElementTree.fromstring(svg(site, fold)).findall("{*}line")[1]
        return line.get("x1") == line.get("x2"), line.get("y1") == line.get("y2")

    assert crest(Fold.VERTICAL) == (True, False)
    assert crest(Fold.HORIZONTAL) == (False, True)
    assert crest(Fold.DIAGONAL) == (False, False)
    assert "Fold horizontal (-)" in "\n".join(text_lines(site, Fold.HORIZONTAL))
