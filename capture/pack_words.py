"""Which words of a language pack cannot be heard, and which cannot be told apart.

Pure, as `pack_audit`: texts and pronunciations in, findings out.
"""

from collections.abc import Collection, Mapping, Sequence
from functools import lru_cache

from capture.findings import Finding, Mark
from capture.language.automaton import Automaton
from capture.language.grammar import LISTENING, Grammar
from capture.language.linking import Linked, link
from capture.language.tree import Position, Token
from capture.pack_audit import grammar_of, is_state, listed, nodes_of, note
from capture.recognise.alike import Alike, sound_alike
from capture.recognise.lexicon import Lexicon, Pronunciation
from capture.recognise.near import nearly_alike

WORDS, SOUND = "lexicon", "alike"


def places_of_words(linked: Linked) -> Mapping[str, Position]:
    """Where each word of the grammar stands first."""
    found: dict[str, Position] = {}
    for rule in linked.rules.values():
        for node in nodes_of(rule.body):
            if isinstance(node, Token) and node.at is not None:
                found.setdefault(node.word, node.at)
    return found


def word_findings(
    texts: Mapping[str, str], lexicon: Lexicon, spare: Collection[str] = ()
) -> tuple[Finding, ...]:
    """Words that cannot be heard, each with its place, and pronunciations that nothing needs.

    The words in `spare` may be there for nothing.
    """
    linked = link(texts)
    places = places_of_words(linked)
    found = [
        Finding(
            Mark.FAILED,
            WORDS,
            f"{places[word]}: {lexicon.name} has no pronunciation of '{word}'.",
            "Add a line such as: belly  B EH L IY",
        )
        for word in sorted(lexicon.missing(places), key=lambda each: _order(places[each]))
    ]
    unused = sorted(set(lexicon.entries) - set(places) - set(spare))
    if unused and not (linked.broken or linked.unnamed):
        told = f"{lexicon.name} has {len(unused)} words that no rule uses: {listed(unused)}."
        found.append(note(WORDS, told, "They do no harm."))
    return tuple(found)


def _order(place: Position) -> tuple[str, int, int]:
    return place.file, place.line, place.column


def near_pairs(grammar: Grammar, lexicon: Lexicon) -> tuple[tuple[str, str], ...]:
    """All pairs of words that differ in one phone, in any state of a visit, and by their value."""
    found: dict[tuple[str, str], None] = {}
    for rule in grammar.rules:
        if is_state(rule):
            found |= dict.fromkeys(nearly_alike(grammar.automaton(rule), lexicon))
    return tuple(found)


def near_findings(pairs: Sequence[tuple[str, str]]) -> tuple[Finding, ...]:
    """A note on pairs that nearly sound the same."""
    if not pairs:
        return ()
    told = listed([f"{one}/{other}" for one, other in pairs])
    told = f"one sound apart, with another value: {told}."
    return (note(SOUND, told, "Take other words where you can; the read-back tells them apart."),)


def sound_findings(texts: Mapping[str, str], lexicon: Lexicon) -> tuple[Finding, ...]:
    """Phrases that sound the same and mean different things, in a grammar without mistakes."""
    places = places_of_words(link(texts))
    grammar = grammar_of(texts)
    heard: dict[object, tuple[Alike, list[str]]] = {}
    for rule in grammar.rules:
        if not is_state(rule):
            continue
        automaton = grammar.automaton(rule)
        words = sorted(automaton.words & lexicon.entries.keys())
        sounds = tuple((word, lexicon.entries[word]) for word in words)
        for alike in _sound_alike(automaton, sounds):
            key = frozenset(alike.core) if any(alike.core) else alike.differs
            _, states = heard.setdefault(key, (alike, []))
            states.append(rule.removeprefix(LISTENING))
    return tuple(_alike(alike, states, places) for alike, states in heard.values())


@lru_cache(maxsize=64)
def _sound_alike(
    automaton: Automaton, sounds: tuple[tuple[str, tuple[Pronunciation, ...]], ...]
) -> tuple[Alike, ...]:
    """Phrases of a rule that sound the same, by the sounds of its words.

    Kept: a pack is looked over at each use, and a change to it leaves most rules as they were.
    """
    return sound_alike(automaton, Lexicon("", dict(sounds)))


def _alike(alike: Alike, states: Sequence[str], places: Mapping[str, Position]) -> Finding:
    one, other = (" ".join(words) for words in alike.core)
    where = " and ".join(states[:2]) + (f" and {len(states) - 2} more" if len(states) > 2 else "")
    if not one and not other:
        values = " or ".join(f"{slot} {here} or {there}" for slot, here, there in alike.differs)
        told = f"'{' '.join(alike.one)}' has two meanings in {where}: {values}."
        hint = "Change one of the two rules so that every phrase has one meaning."
        return Finding(Mark.FAILED, SOUND, told, hint)
    at = next((places[word] for word in (*alike.core[0], *alike.core[1]) if word in places), "")
    told = (
        f"{at}: '{one}' sounds like '{other}' and means something else in {where}, as in "
        f"'{' '.join(alike.one)}'."
    )
    hint = "A wrong value could be saved: take another word for one of the two."
    return Finding(Mark.FAILED, SOUND, told, hint)
