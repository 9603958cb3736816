"""Every kind of meaning that a rule can give, without making its hundred thousand sentences.

Two phrases are of one kind if they differ only in their numbers: all readings at the chest are
one. So the kinds of a rule are few, and each has an example.
"""

from collections.abc import Mapping
from functools import lru_cache

from capture.language.automaton import Arc, Automaton, meaning
from capture.language.tree import Operation, Tag

Kind = tuple[tuple[str, int | str], ...]
"""The slots of a phrase in the order of their names; every number is `ANY_NUMBER`."""

ANY_NUMBER = 5
"""Stands for every number: 5, and 5.5 with tenths, are values that every call can have."""


@lru_cache(maxsize=64)
def kinds(automaton: Automaton) -> Mapping[Kind, tuple[str, ...]]:
    """The kinds of meaning of an automaton, each with the shortest example found.

    Kept, because a check asks for them twice, and most rules of an own pack are the program's.
    """
    steps: dict[int, list[Arc]] = {}
    for arc in automaton.arcs:
        steps.setdefault(arc.source, []).append(arc)
    found: dict[int, dict[Kind, tuple[str, ...]]] = {automaton.start: {(): ()}}
    known: dict[tuple[Kind, tuple[Tag, ...]], Kind] = {}
    for state in in_order(automaton.start, steps):
        for arc in steps.get(state, ()):
            there = found.setdefault(arc.target, {})
            tags = tuple(_abstract(tag) for tag in arc.tags)
            for kind, words in found[state].items():
                longer = words if arc.word is None else (*words, arc.word)
                if (kind, tags) not in known:
                    known[kind, tags] = _after(kind, tags)
                reached = known[kind, tags]
                if reached not in there or len(longer) < len(there[reached]):
                    there[reached] = longer
    return found.get(automaton.final, {})


def names_of(kind: Kind) -> Kind:
    """The kind without its numbers."""
    return tuple(item for item in kind if isinstance(item[1], str))


def _abstract(tag: Tag) -> Tag:
    value = tag.value if isinstance(tag.value, str) else ANY_NUMBER
    return Tag(tag.slot, Operation.SET, value)


def _after(kind: Kind, tags: tuple[Tag, ...]) -> Kind:
    return tuple(sorted((dict(kind) | meaning(tags)).items())) if tags else kind


def in_order(start: int, steps: Mapping[int, list[Arc]]) -> tuple[int, ...]:
    """The states from the start on, each after all that lead to it."""
    done: set[int] = set()
    order: list[int] = []
    waiting = [(start, False)]
    while waiting:
        state, left = waiting.pop()
        if left:
            order.append(state)
        elif state not in done:
            done.add(state)
            waiting.append((state, True))
            waiting += ((arc.target, False) for arc in steps.get(state, ()))
    return tuple(reversed(order))
