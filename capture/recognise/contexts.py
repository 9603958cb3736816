"""What the recogniser must listen for in each state of a visit, made from the grammar."""

from collections.abc import Collection, Iterator, Mapping

from capture.language.automaton import Automaton
from capture.language.grammar import Grammar
from capture.recognise.automaton import WordAutomaton
from capture.recognise.graph import DecodingGraph, GraphOptions, build_graph
from capture.recognise.lexicon import Lexicon

FILLER_COST = 2.5
"""Charged for each phone of speech outside the grammar; higher lets more of it be bent into one."""

FILLER_WORD_COST = 5.0
"""Charged for each run of such phones. Long phrases cost more words than the filler cost phones,
short ones fewer; a price for a run lets short calls through and keeps long speech out."""

OPEN_END_COST = 4.0
"""Charged for ending where more may follow. Above 2, so that the decoder waits for the longer of
its two silences (rules 2 and 3 of its end of speech), and below 8, so that it ends at all."""


def automata(
    grammar: Grammar, rules: Collection[str], sites: Collection[str] | None = None
) -> Mapping[str, Automaton]:
    """The automaton of each rule; `sites` limits the sites that may be named."""
    found = {rule: grammar.automaton(rule) for rule in rules}
    if sites is None:
        return found
    return {rule: each.restricted("site", sites) for rule, each in found.items()}


def decoding_graphs(
    heard: Mapping[str, Automaton],
    lexicon: Lexicon,
    filler_cost: float | None = FILLER_COST,
    decoys: Lexicon | None = None,
) -> Mapping[str, DecodingGraph]:
    """A strict decoding graph for each rule.

    `decoys` holds, by the answer that each could be taken for, how words are spoken that are none.
    """
    options = GraphOptions(
        filler_cost=filler_cost,
        filler_word_cost=FILLER_WORD_COST,
        open_end_cost=OPEN_END_COST,
        decoys={} if decoys is None else decoys.entries,
    )
    return {
        rule: build_graph(
            WordAutomaton(automaton.start, {automaton.final: 0.0}, automaton.arcs),
            lexicon,
            options,
        )
        for rule, automaton in heard.items()
    }


def phrases(heard: Mapping[str, Automaton]) -> Mapping[str, tuple[str, ...]]:
    """Short phrases that cover every word and every word pair of each rule.

    A recogniser that learns word pairs from a list needs no more; all sentences would be a
    hundred thousand.
    """
    return {rule: tuple(_covering(automaton)) for rule, automaton in heard.items()}


def _covering(automaton: Automaton) -> Iterator[str]:
    following: dict[int, set[str]] = {}
    for arc in automaton.arcs:
        if arc.word is not None:
            following.setdefault(arc.source, set()).add(arc.word)
    for arc in automaton.arcs:
        if arc.word is None:
            continue
        yield arc.word
        for word in sorted(following.get(arc.target, ())):
            yield f"{arc.word} {word}"
