"""JSGF files: what is read, and where a mistake stands."""

import math

import pytest

from capture.language.jsgf import (
    Choice,
    GrammarError,
    Operation,
    Reference,
    Rule,
    Sequence,
    Tag,
    Token,
    read_grammar,
)

HEADER = "#JSGF V1.0 UTF-8 en;\ngrammar a.b;\n"

MISTAKES = {
    "no header": ("grammar a;", "1:1", "not a JSGF file"),
    "header without its end": ("#JSGF V1.0 UTF-8 en\ngrammar a;", "1:1", "not a JSGF file"),
    "another version": ("#JSGF V2.0 UTF-8 en;\ngrammar a;", "1:1", "not a JSGF file"),
    "no grammar line": ("#JSGF V1.0;\n<x> = y;", "2:1", "'grammar' expected"),
    "no grammar name": ("#JSGF V1.0;\ngrammar ;", "2:9", "a grammar name expected"),
    "a bad grammar name": ("#JSGF V1.0;\ngrammar 4you;", "2:9", "a grammar name expected"),
    "grammar line without its end": ("#JSGF V1.0;\ngrammar a\n<x> = y;", "3:1", "';' expected"),
    "import of a word": (HEADER + "import numbers;", "3:8", "<grammar.rule> expected"),
    "import of nothing": (HEADER + "import", "3:7", "<grammar.rule> expected"),
    "import of a bare rule": (HEADER + "import <number>;", "3:1", "names no grammar"),
    "import of an empty rule": (HEADER + "import <numbers.>;", "3:1", "names no grammar"),
    "import without its end": (HEADER + "import <a.b>\n<x> = y;", "4:1", "';' expected"),
    "a word where a rule begins": (HEADER + "  yes = no;", "3:3", "a rule such as <number>"),
    "public without a rule": (HEADER + "public yes;", "3:8", "a rule such as <number>"),
    "a late import": (HEADER + "<x> = y;\nimport <a.b>;", "4:1", "a rule such as <number>"),
    "a rule name with a dash": (HEADER + "<half-a> = y;", "3:1", "cannot name a rule"),
    "a rule name with a dot": (HEADER + "<c.d> = y;", "3:1", "cannot name a rule"),
    "a rule name with a digit first": (HEADER + "<1st> = y;", "3:1", "cannot name a rule"),
    "no equals sign": (HEADER + "<x> y;", "3:5", "'=' expected"),
    "a rule without its end": (HEADER + "<x> = y\n<z> = w;", "4:5", "';' expected"),
    "a file that stops in a rule": (HEADER + "<x> = y\n", "4:1", "found the end of the file"),
    "a rule of nothing": (HEADER + "<x> = ;", "3:7", "a word, a rule or a bracket expected"),
    "an empty alternative": (HEADER + "<x> = y | ;", "3:11", "a word, a rule or a bracket"),
    "an empty bracket": (HEADER + "<x> = y ();", "3:10", "a word, a rule or a bracket"),
    "an open round bracket": (HEADER + "<x> = (y;", "3:9", "')' expected"),
    "an open square bracket": (HEADER + "<x> = [y;", "3:9", "']' expected"),
    "crossed brackets": (HEADER + "<x> = (y];", "3:9", "')' expected"),
    "a bracket too many": (HEADER + "<x> = y);", "3:8", "';' expected"),
    "a star": (HEADER + "<x> = y*;", "3:8", "repetition is not supported"),
    "a plus": (HEADER + "<x> = (y | z)+;", "3:14", "repetition is not supported"),
    "a rule twice": (HEADER + "<x> = y;\n public <x> = z;", "4:9", "<x> is defined twice"),
    "a weight of nothing": (HEADER + "<x> = /0/ y | /1/ z;", "3:7", "a weight must be above 0"),
    "some weights": (HEADER + "<x> = /2/ y | z;", "3:15", "some have none"),
    "some weights, the other way": (HEADER + "<x> = y | /2/ z;", "3:11", "some have none"),
    "a negative weight": (HEADER + "<x> = /-1/ y;", "3:7", "no meaning here: '/'"),
    "an open comment": (HEADER + "<x> = y;\n/* for ever", "4:1", "no meaning here: '/'"),
    "an open quote": (HEADER + '<x> = "y;', "3:7", "no meaning here: '\"'"),
    "an open tag": (HEADER + "<x> = y {z = 1;", "3:9", "no meaning here: '{'"),
    "an open rule": (HEADER + "<x> = <y z;", "3:7", "no meaning here: '<'"),
    "a tag of words": (HEADER + "<x> = y {hello there};", "3:9", "has no meaning"),
    "a tag without a value": (HEADER + "<x> = y {z = };", "3:9", "has no meaning"),
    "a tag with a capital": (HEADER + "<x> = y {z = Chest};", "3:9", "has no meaning"),
    "a tag that adds a name": (HEADER + "<x> = y {z += chest};", "3:9", "+= needs a number"),
    "a tag that appends a name": (HEADER + "<x> = y {z << chest};", "3:9", "<< needs a number"),
    "a tag that appends two digits": (HEADER + "<x> = y {z << 12};", "3:9", "appends one digit"),
}


@pytest.mark.parametrize(("text", "place", "said"), MISTAKES.values(), ids=MISTAKES.keys())
def test_a_mistake_is_told_with_its_place(text: str, place: str, said: str) -> None:
    """The author of a grammar is told file, line and column, what is wrong, and what to do."""
    with pytest.raises(GrammarError) as caught:
        read_grammar(text, "mine.gram")
    assert caught.value.message.startswith(f"mine.gram:{place}: ")
    assert said in caught.value.message
    assert caught.value.hint.endswith(".")


def test_the_place_counts_comments_and_line_ends() -> None:
    """Comments before a mistake, of one line or many, do not move its place."""
    text = HEADER + "// one <x>\n/* two\n three */ <x> = /* four */ y*;"
    with pytest.raises(GrammarError, match=r"^mine\.gram:5:29: repetition"):
        read_grammar(text, "mine.gram")


def one_rule(body: str) -> Rule:
    """The only rule of a small file."""
    (rule,) = read_grammar(HEADER + f"public <x> = {body};", "mine.gram").rules
    return rule


def test_comments_of_both_kinds_are_left_out() -> None:
    """A comment changes nothing, even if it holds a whole rule."""
    text = HEADER + "// <a> = b;\n/* <c> = d;\n*/ <x> /* here */ = y // there\n ;"
    assert [(rule.name, rule.body) for rule in read_grammar(text, "f").rules] == [("x", Token("y"))]


def test_names_and_imports_are_kept() -> None:
    """A file tells its grammar's name, its imports and which rules are public."""
    text = HEADER + "import <c.d.one>;\nimport <c.d.*>;\npublic <x> = y;\n<z> = <x>;"
    read = read_grammar(text, "f")
    assert read.name == "a.b"
    assert [(each.grammar, each.rule) for each in read.imports] == [("c.d", "one"), ("c.d", None)]
    assert [(rule.name, rule.public) for rule in read.rules] == [("x", True), ("z", False)]


def test_a_byte_order_mark_is_no_mistake() -> None:
    """A file saved by an editor that marks UTF-8 is read."""
    assert read_grammar("\ufeff" + HEADER + "<x> = y;", "f").name == "a.b"


def test_weights_become_shares() -> None:
    """Weights are relative: 30 to 10 is three quarters to one quarter; without any, all equal."""
    weighted, even = one_rule("/30/ y | / 10.0 / z").body, one_rule("y | z | w").body
    assert isinstance(weighted, Choice)
    assert isinstance(even, Choice)
    assert weighted.shares == (0.75, 0.25)
    assert all(math.isclose(share, 1 / 3) for share in even.shares)


def test_words_are_lower_case_and_quotes_hold_several() -> None:
    """Spoken words have no capitals; a quoted phrase is its words in a row."""
    assert one_rule("Yes").body == Token("yes")
    assert one_rule('"Shoulder  blade"').body == Sequence((Token("shoulder"), Token("blade")))


def test_optional_and_empty_parts() -> None:
    """[x] is x or nothing, and so is (x | <NULL>)."""
    optional, spelled = one_rule("[y]").body, one_rule("y | <NULL>").body
    assert optional == spelled == Choice((Token("y"), Sequence(())), (0.5, 0.5))


@pytest.mark.parametrize(
    ("tag", "expected"),
    [
        ("{a = 7}", Tag("a", Operation.SET, 7)),
        ("{ site = iliac_crest }", Tag("site", Operation.SET, "iliac_crest")),
        ("{whole += 20}", Tag("whole", Operation.ADD, 20)),
        ("{whole<<9}", Tag("whole", Operation.APPEND, 9)),
    ],
    ids=["set a number", "set a name", "add", "append"],
)
def test_tags(tag: str, expected: Tag) -> None:
    """A tag sets, adds or appends."""
    assert one_rule(f"y {tag}").body == Sequence((Token("y"), expected))


def test_a_reference_knows_where_it_stands() -> None:
    """A rule that is used keeps its place for later complaints."""
    body = one_rule("<other>").body
    assert isinstance(body, Reference)
    assert (body.name, str(body.at)) == ("other", "mine.gram:3:14")
