"""Phrases that no ear can tell apart, found in a grammar before they can save a wrong number."""

from collections.abc import Iterator
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from capture.language.automaton import Automaton, Slots
from capture.language.grammar import LISTENING, Grammar
from capture.language.meaning import intent_from
from capture.language.web import web_of
from capture.pack import Pack
from capture.recognise.alike import sound_alike
from capture.recognise.lexicon import Lexicon, parse_lexicon
from capture.recognise.near import nearly_alike

HEADER = "#JSGF V1.0 UTF-8 en;\ngrammar a;\n"
LEXICON = parse_lexicon(
    "two  T UW\nto  T UW\nto  T AH\ntoo  T UW\nfour  F AO R\nforty  F AO R T IY\ntea  T IY\n"
    "fifteen  F IH F T IY N\nfifty  F IH F T IY\nchest  CH EH S T\nnine  N AY N\n"
)


def rule(body: str) -> Automaton:
    """The automaton of one small rule."""
    return Grammar({"a.gram": f"{HEADER}public <x> = {body};"}).automaton("a.x")


def cores(automaton: Automaton, lexicon: Lexicon = LEXICON) -> set[frozenset[str]]:
    """The pairs found, each by the words in which its phrases differ."""
    return {
        frozenset(" ".join(words) for words in each.core)
        for each in sound_alike(automaton, lexicon)
    }


READING = "{call = reading}"


@pytest.mark.parametrize(
    ("body", "found"),
    [
        ("(two {whole = 2} | to {whole = 3}) {call = reading}", {"two/to"}),
        ("(two {whole = 2} | to {whole = 2}) {call = reading}", set()),
        ("two {whole = 2} {call = reading} | too {call = confirm}", {"too/two"}),
        ("(forty {whole = 40} | four tea {whole = 4}) {call = reading}", {"forty/four tea"}),
        ("(fifteen {whole = 15} | fifty {whole = 50}) {call = reading}", set()),
        ("chest {site = chest} (two {whole = 2} | to {whole = 3}) {call = reading}", {"two/to"}),
        ("two {whole = 2} {call = reading} | two {call = confirm}", {""}),
        # Refused in the same words, whichever it was.
        ("(two {whole = 2} | to {whole = 3}) {wrong = unfinished}", set()),
        # The same words lead to a refusal here and to a value there.
        (
            "chest (two {tenths = 2} | to {tenths = 3}) {wrong = unfinished}"
            " | nine {whole = 9} (two {tenths = 2} | to {tenths = 3}) {call = reading}",
            {"two/to"},
        ),
        # One value is set over the other: both come to the same.
        ("(two {whole = 2} | to {whole = 3}) nine {whole = 9} {call = reading}", set()),
        ("nine {whole = 9} [(two | to) {tenths = 2}] {call = reading}", set()),
    ],
)
def test_what_sounds_the_same_and_differs_is_found(body: str, found: set[str]) -> None:
    """By words, over several words, and by meaning: synonyms and refusals are no danger."""
    assert cores(rule(body)) == {frozenset(each.split("/")) for each in found}


def test_an_example_is_a_phrase_of_the_rule() -> None:
    """Both phrases of a pair can be said, and sound the same."""
    automaton = rule("chest (two {whole = 2} | to {whole = 3}) [nine] {call = reading}")
    (alike,) = sound_alike(automaton, LEXICON)
    said = {words for words, _ in automaton.sentences()}
    assert {alike.one, alike.other} <= said
    assert {alike.one, alike.other} == {("chest", "two"), ("chest", "to")}


WORDS = {"a": ["P", "P T"], "b": ["T"], "c": ["P T"], "d": ["T P"], "e": ["P", "S"]}
SMALL = parse_lexicon(
    "\n".join(f"{word}  {phones}" for word, many in WORDS.items() for phones in many)
)


def bodies() -> some.SearchStrategy[str]:
    """Small random rules of few words, with values that some of the words set or add."""
    tags = some.sampled_from(["", " {whole = 1}", " {whole = 2}", " {whole += 3}", " {whole << 4}"])
    leaves = some.builds(lambda word, tag: word + tag, some.sampled_from(sorted(WORDS)), tags)
    return some.recursive(
        leaves,
        lambda inner: some.one_of(
            some.lists(inner, min_size=2, max_size=3).map(lambda each: f"({' | '.join(each)})"),
            some.lists(inner, min_size=2, max_size=2).map(" ".join),
            inner.map(lambda each: f"[{each}]"),
        ),
        max_leaves=6,
    )


def spoken(words: tuple[str, ...]) -> Iterator[str]:
    """All ways in which words can sound."""
    for each in product(*(SMALL.pronunciations(word) for word in words)):
        yield " ".join(" ".join(phones) for phones in each)


def meant(slots: Slots) -> object:
    """What a phrase comes to."""
    return intent_from(slots)


@settings(max_examples=400, deadline=None)
@given(bodies())
def test_the_search_agrees_with_listing_all_phrases(body: str) -> None:
    """A pair is found exactly if two of all phrases, spoken out, sound the same and differ."""
    automaton = rule(f"a {body} {READING}")
    by_sound: dict[str, set[object]] = {}
    for words, slots in automaton.sentences(40):
        for sound in spoken(words):
            by_sound.setdefault(sound, set()).add(meant(slots))
    expected = any(len(meanings) > 1 for meanings in by_sound.values())
    found = sound_alike(automaton, SMALL)
    assert bool(found) == expected
    for each in found:
        assert set(spoken(each.one)) & set(spoken(each.other))


@settings(max_examples=200, deadline=None)
@given(bodies())
def test_a_web_has_the_same_phrases_and_meanings(body: str) -> None:
    """Fewer nodes, nothing else."""
    automaton = rule(f"{body} {READING}")
    web = web_of(automaton)

    def walk(node: int, words: tuple[str, ...], tags: tuple[object, ...]) -> Iterator[object]:
        for ending in web.ends(node):
            yield words, (*tags, *ending)
        for step in web.steps[node]:
            if step.word is not None:
                yield from walk(step.target, (*words, step.word), (*tags, *step.tags))

    def paths(state: int, words: tuple[str, ...], tags: tuple[object, ...]) -> Iterator[object]:
        if state == automaton.final:
            yield words, tags
        for arc in automaton.arcs:
            if arc.source == state:
                longer = words if arc.word is None else (*words, arc.word)
                yield from paths(arc.target, longer, (*tags, *arc.tags))

    assert set(walk(web.start, (), web.tags)) == set(paths(automaton.start, (), ()))


def test_the_english_pack_has_no_such_phrases(pack: Pack) -> None:
    """In no state of a visit can two calls of different meaning sound the same."""
    lexicon = parse_lexicon(pack.pronunciations())
    for name in pack.grammar.rules:
        if name.startswith(LISTENING):
            assert sound_alike(pack.grammar.automaton(name), lexicon) == ()


def test_words_that_nearly_sound_the_same(pack: Pack) -> None:
    """One phone apart, at the same place, with another value: the teens and tens among them."""
    assert nearly_alike(rule("(two {whole = 2} | tea {whole = 3}) {call = reading}"), LEXICON) == (
        ("tea", "two"),
    )
    assert nearly_alike(rule("(two | tea) {whole = 2} {call = reading}"), LEXICON) == ()
    lexicon = parse_lexicon(pack.pronunciations())
    found = nearly_alike(pack.grammar.automaton(LISTENING + "reading_wanted"), lexicon)
    assert {("fifteen", "fifty"), ("thirteen", "thirty"), ("nineteen", "ninety")} <= set(found)
    assert not any("yes" in pair or "twelve" in pair for pair in found)
