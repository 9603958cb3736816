"""From a grammar to a decoding graph, followed phone by phone without any decoder."""

import itertools
import math
import random

import pytest

from capture.recognise.automaton import (
    PlainAutomaton,
    WordArc,
    WordAutomaton,
    determined,
    held_open,
    simplify,
)
from capture.recognise.graph import DecodingGraph, GraphOptions, build_graph
from capture.recognise.lexicon import LexiconError, parse_lexicon
from capture.recognise.phones import PHONES, forward_id, self_loop_id, word_phone_ids

LEXICON = parse_lexicon("six  S IH K S\ntwo  T UW\noh  OW\nfour  F AO R\nfour  F AO\n")
SILENCE = (1,)
FREE = GraphOptions(silence_cost=0.0)


def sounds(*parts: str) -> list[int]:
    """Phone numbers of words (``S IH K S``) and silences (``-``)."""
    return [n for part in parts for n in (SILENCE if part == "-" else phones_of(part))]


def phones_of(text: str) -> tuple[int, ...]:
    """Phone numbers of one word given by its phones."""
    return word_phone_ids(tuple(text.split()))


def heard(graph: DecodingGraph, phones: list[int], frames: int = 1) -> dict[tuple[str, ...], float]:
    """Every word sequence that these phones, `frames` long each, can mean, with its cost."""
    labels = [
        label
        for phone in phones
        for label in (forward_id(phone), *[self_loop_id(phone)] * (frames - 1))
    ]
    onward: dict[tuple[int, int], list] = {}
    for arc in graph.arcs:
        onward.setdefault((arc.source, arc.input), []).append(arc)

    def step(places: dict, label: int) -> dict:
        found: dict[tuple[int, tuple[str, ...]], float] = {}
        for (state, words), cost in places.items():
            for arc in onward.get((state, label), ()):
                more = (*words, graph.words[arc.output - 1]) if arc.output else words
                key = (arc.target, more)
                found[key] = min(cost + arc.cost, found.get(key, math.inf))
        return found

    def settle(places: dict) -> dict:
        while True:
            wider = dict(places)
            for key, cost in step(places, 0).items():
                wider[key] = min(cost, wider.get(key, math.inf))
            if wider == places:
                return places
            places = wider

    places = settle({(graph.start, ()): 0.0})
    for label in labels:
        places = settle(step(places, label))
    meant: dict[tuple[str, ...], float] = {}
    for (state, words), cost in places.items():
        if state in graph.finals:
            meant[words] = min(cost + graph.finals[state], meant.get(words, math.inf))
    return meant


def number_grammar() -> WordAutomaton:
    """(six | two) [oh] four?, written with empty steps and a branch for each first word."""
    return WordAutomaton(
        0,
        {9: 0.0},
        [
            WordArc(0, None, 1.0, 1),
            WordArc(0, None, 2.0, 2),
            WordArc(1, "six", 0.0, 3),
            WordArc(2, "two", 0.0, 4),
            WordArc(3, None, 0.0, 5),
            WordArc(4, None, 0.0, 5),
            WordArc(5, "oh", 0.5, 6),
            WordArc(5, None, 0.25, 6),
            WordArc(6, "four", 4.0, 9),
            WordArc(6, None, 0.125, 9),
        ],
    )


PHRASES = {
    ("six",): 1.375,
    ("six", "oh"): 1.625,
    ("six", "four"): 5.25,
    ("six", "oh", "four"): 5.5,
    ("two",): 2.375,
    ("two", "oh"): 2.625,
    ("two", "four"): 6.25,
    ("two", "oh", "four"): 6.5,
}


@pytest.mark.parametrize("frames", [1, 3])
@pytest.mark.parametrize("pauses", [False, True], ids=["joined", "with pauses"])
def test_exactly_the_phrases_of_the_grammar_are_heard(pauses: bool, frames: int) -> None:
    """Of all rows of up to three words, the grammar's and no others have a meaning: their own."""
    graph = build_graph(number_grammar(), LEXICON, FREE)
    rows = (row for n in (1, 2, 3) for row in itertools.product(LEXICON.entries, repeat=n))
    for row in rows:
        spoken = [" ".join(LEXICON.pronunciations(word)[0]) for word in row]
        parts = ["-", *[part for one in spoken for part in (one, "-")]] if pauses else spoken
        expected = {row: PHRASES[row]} if row in PHRASES else {}
        assert heard(graph, sounds(*parts), frames) == pytest.approx(expected)


def test_each_pronunciation_is_heard() -> None:
    """Four is understood with and without its R."""
    graph = build_graph(number_grammar(), LEXICON, FREE)
    for four in ("F AO R", "F AO"):
        assert set(heard(graph, sounds("T UW", four))) == {("two", "four")}


def test_words_do_not_begin_or_end_in_the_middle() -> None:
    """A phone in the form for another place in the word is not accepted."""
    graph = build_graph(number_grammar(), LEXICON, FREE)
    begin, end = phones_of("T UW")
    assert heard(graph, [begin, end])
    assert not heard(graph, [begin])
    assert not heard(graph, [end])
    assert not heard(graph, [*phones_of("T"), *phones_of("UW")])


def test_silence_alone_is_the_empty_phrase() -> None:
    """Silence, long or short, means no words, at its own cost."""
    graph = build_graph(number_grammar(), LEXICON, GraphOptions(0.75, None, 2.0))
    assert heard(graph, sounds("-"), 5) == {(): 2.75}


def test_pauses_cost() -> None:
    """Each silence that is taken adds its cost."""
    graph = build_graph(number_grammar(), LEXICON, GraphOptions(silence_cost=10.0))
    cost = PHRASES["two", "oh"]
    assert heard(graph, sounds("T UW", "OW"))["two", "oh"] == pytest.approx(cost)
    assert heard(graph, sounds("-", "T UW", "-", "OW", "-"))["two", "oh"] == pytest.approx(
        cost + 30
    )


def test_the_filler_stands_beside_the_grammar() -> None:
    """A run of any phones is one unknown word, at a cost a phone; it never joins a phrase."""
    graph = build_graph(number_grammar(), LEXICON, GraphOptions(0.0, 5.0))
    assert graph.words[-1] == "[unk]"
    for phone in PHONES:
        assert heard(graph, sounds(phone)) == {("[unk]",): 5.0}
    assert heard(graph, sounds("-", "ZH AA K", "-", "B", "-")) == {("[unk]",) * 2: 20.0}
    assert heard(graph, sounds("T UW", "ZH")) == {("[unk]",) * 2: 15.0}
    assert heard(graph, sounds("ZH", "-", "T UW")) == {("[unk]",) * 2: 15.0}
    # What the grammar allows can be filler too, and the two never mix.
    assert heard(graph, sounds("T UW", "OW")) == {
        ("two", "oh"): PHRASES["two", "oh"],
        ("[unk]",) * 2: 15.0,
    }


def test_a_run_of_filler_costs_once_whatever_its_length() -> None:
    """The price of a run is charged for each unknown word, beside that of its phones."""
    options = GraphOptions(silence_cost=0.0, filler_cost=5.0, filler_word_cost=3.0)
    graph = build_graph(number_grammar(), LEXICON, options)
    assert heard(graph, sounds("ZH")) == {("[unk]",): 8.0}
    assert heard(graph, sounds("ZH AA K")) == {("[unk]",): 18.0}
    assert heard(graph, sounds("ZH", "-", "B")) == {("[unk]",) * 2: 16.0}


def test_a_decoy_stands_in_the_place_of_the_answer_that_it_is_near() -> None:
    """Said alone it is unknown speech at the answer's own price; after it nothing may follow."""
    arcs = (WordArc(0, "oh", 1.0, 1), WordArc(1, "six", 0.0, 2), WordArc(0, "six", 0.0, 2))
    grammar = WordAutomaton(0, {1: 0.5, 2: 0.0}, arcs)
    decoys = {"oh": (("L", "OW"),), "two": (("T", "AO"),)}
    graph = build_graph(grammar, LEXICON, GraphOptions(silence_cost=0.0, decoys=decoys))
    plain = build_graph(grammar, LEXICON, FREE)
    assert heard(plain, sounds("L OW")) == {}
    assert heard(graph, sounds("L OW")) == {("[unk]",): 1.5}
    assert heard(graph, sounds("-", "L OW", "-")) == {("[unk]",): 1.5}
    assert heard(graph, sounds("L OW", "S IH K S")) == {}
    assert heard(graph, sounds("T AO")) == {}
    for said in (("OW",), ("OW", "S IH K S"), ("S IH K S",)):
        assert heard(graph, sounds(*said)) == heard(plain, sounds(*said)) != {}


def test_word_numbers_begin_at_one() -> None:
    """The word table has the empty word as 0 and the unknown word last."""
    graph = build_graph(number_grammar(), LEXICON, GraphOptions(filler_cost=1.0))
    assert graph.words_text().splitlines() == [
        "<eps> 0", "four 1", "oh 2", "six 3", "two 4", "[unk] 5",
    ]  # fmt: skip


def test_a_grammar_with_loops_is_followed() -> None:
    """A loop over words may be repeated as often as it is spoken."""
    graph = build_graph(WordAutomaton(0, {0: 0.0}, [WordArc(0, "oh", 1.0, 0)]), LEXICON, FREE)
    assert heard(graph, sounds("OW", "-", "OW", "OW")) == {("oh",) * 3: 3.0}


def test_words_without_pronunciation_are_named() -> None:
    """A grammar with words that the list lacks is refused before anything is built."""
    arcs = [WordArc(0, "calf", 0.0, 1), WordArc(0, "thigh", 0.0, 1)]
    with pytest.raises(LexiconError, match="calf, thigh"):
        build_graph(WordAutomaton(0, {1: 0.0}, arcs), LEXICON)


@pytest.mark.parametrize(
    ("arcs", "finals", "told"),
    [
        ([WordArc(0, None, 0.0, 1), WordArc(1, None, 0.0, 0)], {1: 0.0}, "cycle"),
        ([WordArc(0, "six", 0.0, 1)], {}, "no phrase"),
        ([WordArc(0, "six", 0.0, 1)], {2: 0.0}, "no phrase"),
        ([WordArc(0, "[unk]", 0.0, 1)], {1: 0.0}, "not a word"),
    ],
    ids=["empty cycle", "no end", "end out of reach", "unk"],
)
def test_unfit_grammars_are_refused(
    arcs: list[WordArc], finals: dict[int, float], told: str
) -> None:
    """A grammar that cannot be searched is a mistake of the caller."""
    with pytest.raises(ValueError, match=told):
        build_graph(WordAutomaton(0, finals, arcs), LEXICON)


def test_equal_branches_are_merged_and_dead_ends_dropped() -> None:
    """What may follow two sites is kept once; a word that leads nowhere is not listened for."""
    arcs = [
        WordArc(0, "six", 0.0, 1),
        WordArc(0, "two", 0.0, 2),
        WordArc(1, "oh", 0.5, 3),
        WordArc(2, "oh", 0.5, 4),
        WordArc(2, "four", 0.0, 7),
    ]
    plain = simplify(WordAutomaton(0, {3: 0.0, 4: 0.0}, arcs))
    assert len(plain.steps) == 3
    assert plain.words == {"six", "two", "oh"}


# Ends that are open: more words may follow.


def all_phrases(automaton: PlainAutomaton) -> dict[tuple[str, ...], float]:
    """Every phrase with the cost of its cheapest path."""
    found: dict[tuple[str, ...], float] = {}
    waiting: list[tuple[int, tuple[str, ...], float]] = [(automaton.start, (), 0.0)]
    while waiting:
        state, words, cost = waiting.pop()
        if state in automaton.finals:
            total = cost + automaton.finals[state]
            found[words] = min(total, found.get(words, math.inf))
        for (word, target), step in automaton.steps.get(state, {}).items():
            waiting.append((target, (*words, word), cost + step))
    return found


def random_grammar(seed: int) -> WordAutomaton:
    """A small grammar without loops in which words lead several ways at random costs."""
    dice = random.Random(seed)
    arcs = [
        WordArc(source, dice.choice("abc"), dice.randrange(8) / 4, dice.randint(source + 1, 6))
        for source in range(6)
        for _ in range(3)
    ]
    return WordAutomaton(0, {3: 0.5, 5: 0.25, 6: 0.0}, arcs)


@pytest.mark.parametrize("seed", range(25))
def test_no_phrase_and_no_cost_is_lost(seed: int) -> None:
    """Making the grammar definite and holding ends open changes no phrase's cost in all."""
    plain = simplify(random_grammar(seed))
    wanted = all_phrases(plain)
    definite = determined(plain)
    words = [[word for word, _ in here] for here in definite.steps.values()]
    assert all(len(set(each)) == len(each) for each in words)
    for automaton in (definite, held_open(definite, 4.0)):
        found = all_phrases(automaton)
        assert found.keys() == wanted.keys()
        assert all(math.isclose(found[each], wanted[each], abs_tol=1e-6) for each in wanted)


def test_only_an_open_end_costs_something_to_end_in() -> None:
    """Ending after "six" costs what leaving it for "six two" costs; other ends are free."""
    arcs = [WordArc(0, "six", 0.0, 1), WordArc(0, "six", 0.0, 2), WordArc(2, "two", 0.0, 3)]
    arcs.append(WordArc(0, "oh", 0.0, 1))
    graph = held_open(determined(simplify(WordAutomaton(0, {1: 0.0, 3: 0.0}, arcs))), 4.0)
    after = dict(graph.steps[graph.start].keys())
    assert graph.finals[after["six"]] == 4.0
    assert graph.finals[after["oh"]] == 0.0
    ((two, cost),) = graph.steps[after["six"]].items()
    assert (cost, graph.finals[two[1]]) == (4.0, 0.0)
