"""A rule as an automaton: its sentences, their meaning and their probability."""

import math

import pytest

from capture.language.automaton import Automaton, meaning
from capture.language.grammar import Grammar
from capture.language.jsgf import GrammarError, Operation, Tag


def automaton(rules: str, name: str = "x") -> Automaton:
    """The automaton of a rule of a small grammar."""
    grammar = Grammar({"f.gram": f"#JSGF V1.0 UTF-8 en;\ngrammar g;\n{rules}"})
    return grammar.automaton(f"g.{name}")


def sentences(made: Automaton, most_words: int = 12) -> list[str]:
    """Its sentences, each as one line."""
    return [" ".join(words) for words, _ in made.sentences(most_words)]


def test_sentences_come_in_the_order_of_the_file() -> None:
    """The first form that is written is the first that is shown."""
    made = automaton("public <x> = [please] (b | a c) <y>; <y> = d | <NULL>;")
    assert sentences(made) == [
        "please b d", "please b", "please a c d", "please a c", "b d", "b", "a c d", "a c",
    ]  # fmt: skip


def test_long_sentences_can_be_left_out() -> None:
    """A list of short phrases leaves out the long ones and nothing else."""
    made = automaton("public <x> = [one] [two] [three] four;")
    assert {len(text.split()) for text in sentences(made)} == {1, 2, 3, 4}
    assert sentences(made, 2) == [text for text in sentences(made) if len(text.split()) <= 2]


def test_tags_take_effect_in_order() -> None:
    """Setting, adding and appending follow each other as they were written."""
    tags = (
        Tag("whole", Operation.APPEND, 1),
        Tag("whole", Operation.APPEND, 0),
        Tag("whole", Operation.ADD, 5),
        Tag("site", Operation.SET, "chest"),
        Tag("site", Operation.SET, "thigh"),
    )
    assert meaning(tags) == {"whole": 15, "site": "thigh"}


def test_a_rule_used_twice_keeps_its_paths_apart() -> None:
    """The meaning of the first use does not leak into the second."""
    made = automaton("<d> = one {n << 1} | two {n << 2}; public <x> = <d> <d> | <d> end;")
    found = {" ".join(words): slots["n"] for words, slots in made.sentences()}
    assert found == {
        "one one": 11, "one two": 12, "two one": 21, "two two": 22, "one end": 1, "two end": 2,
    }  # fmt: skip


def test_only_the_last_step_may_be_wordless() -> None:
    """What a listener walks has a word on every step but the one into the end."""
    made = automaton("public <x> = [a {s = 1}] {t = 2} [[b]] (<NULL> | c {u = 3}) {v = 4};")
    assert all(arc.word is not None or arc.target == made.final for arc in made.arcs)
    found = {" ".join(words): dict(slots) for words, slots in made.sentences()}
    assert found["a b c"] == {"s": 1, "t": 2, "u": 3, "v": 4}
    assert found[""] == {"t": 2, "v": 4}


def test_costs_are_probabilities() -> None:
    """The probabilities of all sentences, by their weights, add up to one."""
    made = automaton("public <x> = /3/ a | /1/ [b] c | /4/ (d | e) [/1/ f | /3/ g];")
    found: dict[str, float] = {}

    def walk(state: int, words: tuple[str, ...], cost: float) -> None:
        if state == made.final:
            found[" ".join(words)] = math.exp(-cost)
        for arc in made.arcs:
            if arc.source == state:
                walk(arc.target, words if arc.word is None else (*words, arc.word), cost + arc.cost)

    walk(made.start, (), 0.0)
    assert sum(found.values()) == pytest.approx(1.0)
    assert found["a"] == pytest.approx(3 / 8)
    assert found["b c"] == pytest.approx(1 / 16)
    assert found["e g"] == pytest.approx(4 / 8 * 1 / 2 * 1 / 2 * 3 / 4)


def test_a_restriction_takes_out_whole_phrases() -> None:
    """Sites outside the protocol cannot be said at all; phrases without a site stay."""
    made = automaton(
        "public <x> = [<site>] go | halt; <site> = calf {site = calf} | medial calf {site = calf}"
        " | thigh {site = thigh};"
    )
    assert sentences(made.restricted("site", {"thigh"})) == ["thigh go", "go", "halt"]
    assert sentences(made.restricted("site", ())) == ["go", "halt"]
    assert made.restricted("site", {"thigh"}).words == {"thigh", "go", "halt"}


def test_a_restriction_may_leave_nothing() -> None:
    """A rule whose every phrase names a forbidden site has no phrase and no word left."""
    made = automaton("public <x> = go <s>; <s> = thigh {site = thigh};").restricted("site", ())
    assert sentences(made) == []
    assert made.words == frozenset()


@pytest.mark.parametrize(
    ("rules", "place"),
    [
        ("public <x> = a [<x>];", "3:17"),
        ("public <x> = a <y>;\n<y> = b | c <z>;\n<z> = d <y>;", "5:9"),
        ("public <x> = <x> a;", "3:14"),
    ],
    ids=["itself", "in a ring", "at the left"],
)
def test_recursion_is_refused_with_its_place(rules: str, place: str) -> None:
    """A rule that contains itself would have endless sentences."""
    with pytest.raises(GrammarError, match=rf"^f\.gram:{place}: .*contains itself"):
        automaton(rules)
