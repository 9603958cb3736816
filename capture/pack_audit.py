"""What is wrong or missing in a language pack's grammar, all of it in one go.

Pure: texts in, findings out. Each finding is one line with the place, what is wrong and what to
write. What would let a wrong number through, or keeps a state of the visit deaf, is a failure;
what only has to be keyed instead is a note.
"""

import difflib
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from functools import lru_cache

from capture.errors import CaptureError
from capture.findings import Finding, Mark
from capture.language.grammar import LISTENING, Grammar
from capture.language.linking import Linked, link
from capture.language.meaning import NAME_SLOTS, NUMBER_SLOTS, intent_from
from capture.language.meanings import Kind, kinds, names_of
from capture.language.tree import Choice, Node, Reference, Tag
from capture.language.tree import Sequence as Parts

MOST_LISTED = 12
"""More names than these are not read in one line."""

GRAMMAR = "language"


def grammar_findings(
    texts: Mapping[str, str],
    needed: Collection[str],
    sites: Collection[str],
    *,
    unread: bool = False,
) -> tuple[Finding, ...]:
    """The mistakes in the grammar files, by name and text.

    `needed` are the full names of the public rules that the program asks for, `sites` the sites
    of all known protocols. `unread`: some of the files could not be opened. Empty for a grammar
    that can be used as it is.
    """
    linked = link(texts, unread=unread)
    found = [failure(GRAMMAR, error) for error in linked.faults]
    found += _tags(linked, sites)
    found += _missing_rules(linked, needed)
    found += _unused(linked, needed)
    if not any(each.mark is Mark.FAILED for each in found):
        found += () if unread else _built(grammar_of(texts))
    return tuple(found)


def grammar_of(texts: Mapping[str, str]) -> Grammar:
    """The grammar of these files, built once for all that is asked of it."""
    return _grammar(tuple(texts.items()))


@lru_cache(maxsize=2)
def _grammar(texts: tuple[tuple[str, str], ...]) -> Grammar:
    return Grammar(dict(texts))


def failure(what: str, error: CaptureError) -> Finding:
    """An error as a finding."""
    return Finding(Mark.FAILED, what, error.message, error.hint)


def note(what: str, told: str, hint: str = "") -> Finding:
    """What is only worth knowing."""
    return Finding(Mark.NOTE, what, told, hint, needed=False)


def nodes_of(node: Node) -> Iterator[Node]:
    """A node and all within it, in the order of the text."""
    yield node
    match node:
        case Parts(parts):
            for each in parts:
                yield from nodes_of(each)
        case Choice(branches):
            for each in branches:
                yield from nodes_of(each)


# Tags.


def _tags(linked: Linked, sites: Collection[str]) -> Iterator[Finding]:
    for rule in linked.rules.values():
        for node in nodes_of(rule.body):
            if isinstance(node, Tag):
                yield from _tag(node, sites)


def _tag(tag: Tag, sites: Collection[str]) -> Iterator[Finding]:
    slot, value = tag.slot, tag.value
    if slot in NUMBER_SLOTS:
        if isinstance(value, str):
            told = f"{tag.at}: {slot} holds a number, not '{value}'."
            yield Finding(Mark.FAILED, GRAMMAR, told, f"Write {{{slot} += 5}}, for example.")
        return
    if slot not in NAME_SLOTS:
        known = (*NAME_SLOTS, *NUMBER_SLOTS)
        told = f"{tag.at}: no call has a slot '{slot}'."
        yield Finding(Mark.FAILED, GRAMMAR, told, _choose(slot, known))
        return
    names = NAME_SLOTS[slot]
    if isinstance(value, int):
        told = f"{tag.at}: {slot} holds a name, not {value}."
        yield Finding(Mark.FAILED, GRAMMAR, told, f"Write {{{slot} = name}}.")
    elif names is not None and value not in names:
        told = f"{tag.at}: '{value}' is no {slot}."
        yield Finding(Mark.FAILED, GRAMMAR, told, _choose(value, names))
    elif slot == "site" and value not in sites:
        told = f"{tag.at}: no protocol of the program has a site '{value}'."
        hint = "Right for a protocol of your own; else: "
        yield note(GRAMMAR, told, hint + _choose(value, sites))


def _choose(given: str, known: Iterable[str]) -> str:
    names = [str(each) for each in known]
    near = difflib.get_close_matches(given, names, 1)
    if near:
        return f"Did you mean {near[0]}?"
    return f"Choose of: {', '.join(names)}."


# Rules.


def _missing_rules(linked: Linked, needed: Collection[str]) -> Iterator[Finding]:
    for full in needed:
        grammar, _, name = full.rpartition(".")
        rule = linked.rules.get(full)
        excused = grammar in linked.broken or (rule is None and linked.unnamed)
        if (rule is None or not rule.public) and not excused:
            deaf = "nothing would be heard in that state" if is_state(full) else "it is needed"
            told = f"there is no public rule <{name}> in the grammar {grammar}: {deaf}."
            hint = f"Write 'public <{name}> = ...;' as in the pack that comes with foldcall."
            if rule is not None:
                hint = f"Write 'public' before it, at {rule.at}."
            yield Finding(Mark.FAILED, GRAMMAR, told, hint)


def is_state(full: str) -> bool:
    """Whether a rule is listened for in a state of a visit."""
    return full.startswith(LISTENING)


def _unused(linked: Linked, needed: Collection[str]) -> Iterator[Finding]:
    if linked.broken or linked.unnamed:
        # Whatever seems unused may be used where reading failed.
        return
    used: set[str] = set()
    waiting = [name for name in needed if name in linked.bodies]
    while waiting:
        name = waiting.pop()
        if name not in used:
            used.add(name)
            waiting += (
                node.name
                for node in nodes_of(linked.bodies.get(name, Parts(())))
                if isinstance(node, Reference)
            )
    for name, rule in linked.rules.items():
        if name in used:
            continue
        if is_state(name) and rule.public:
            states = [each.removeprefix(LISTENING) for each in needed if is_state(each)]
            hint = _choose(rule.name, states)
            yield note(GRAMMAR, f"{rule.at}: no state of a visit is called '{rule.name}'.", hint)
        else:
            hint = "Name it in another rule, or leave it out."
            yield note(GRAMMAR, f"{rule.at}: nothing uses the rule <{rule.name}>.", hint)


def _built(grammar: Grammar) -> Iterator[Finding]:
    """Rules that contain themselves, and phrases whose tags add up to no call."""
    told: set[str] = set()
    for rule in grammar.rules:
        try:
            automaton = grammar.automaton(rule)
        except CaptureError as error:
            if error.message not in told:
                told.add(error.message)
                yield failure(GRAMMAR, error)
            continue
        if not is_state(rule):
            continue
        for kind, words in kinds(automaton).items():
            try:
                intent_from(dict(kind))
            except ValueError as error:
                text = f"'{' '.join(words)}' has a meaning that no call has: {error}."
                if text not in told:
                    told.add(text)
                    yield Finding(Mark.FAILED, GRAMMAR, text, "Mend the tags of its rule.")


# What can be said.


def gap_findings(own: Grammar, whole: Grammar) -> tuple[Finding, ...]:
    """What can be said with the pack `whole` and cannot with `own`: it has to be keyed."""
    by_kind: dict[Kind, list[str]] = {}
    for rule in whole.rules:
        if not is_state(rule) or rule not in own.rules:
            continue
        there = {names_of(kind) for kind in kinds(own.automaton(rule))}
        for kind in kinds(whole.automaton(rule)):
            states = by_kind.setdefault(names_of(kind), [])
            state = rule.removeprefix(LISTENING)
            if names_of(kind) not in there and state not in states:
                states.append(state)
    by_states: dict[tuple[str, ...], list[str]] = {}
    for kind, states in by_kind.items():
        if states:
            by_states.setdefault(tuple(states), []).append(" ".join(str(each) for _, each in kind))
    return tuple(
        note(
            GRAMMAR,
            f"nothing is said for {listed(calls)} in {' and '.join(states)}.",
            "It has to be keyed.",
        )
        for states, calls in by_states.items()
    )


def listed(names: Sequence[str]) -> str:
    """Names in a line, not too many."""
    more = len(names) - MOST_LISTED
    return ", ".join(names[:MOST_LISTED]) + (f" and {more} more" if more > 0 else "")
