"""A rule as a finite automaton over words, with the tags on its arcs.

The automaton is the one form from which everything else is made: the sentences that tests and
help show, the strict parse of a phrase, and the recogniser's graph. It has no cycles.
"""

import math
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field

from capture.language.tree import (
    Choice,
    GrammarError,
    Node,
    Operation,
    Reference,
    Sequence,
    Tag,
    Token,
)

Slots = Mapping[str, int | str]
"""The meaning of a phrase: a value for each slot that its tags touched."""


@dataclass(frozen=True, slots=True)
class Arc:
    """One step: a word (None: no word) that costs `cost` = -ln(probability), with its tags."""

    source: int
    word: str | None
    tags: tuple[Tag, ...]
    cost: float
    target: int


@dataclass(frozen=True, slots=True)
class Automaton:
    """Every sentence of one rule: paths from state `start` to state `final`."""

    start: int
    final: int
    arcs: tuple[Arc, ...]

    @property
    def words(self) -> frozenset[str]:
        """All words that occur."""
        return frozenset(arc.word for arc in self.arcs if arc.word is not None)

    def restricted(self, slot: str, allowed: Collection[str]) -> "Automaton":
        """The same without the paths that set `slot` to anything outside `allowed`."""
        kept = tuple(
            arc
            for arc in self.arcs
            if all(
                tag.slot != slot or tag.operation is not Operation.SET or tag.value in allowed
                for tag in arc.tags
            )
        )
        return Automaton(self.start, self.final, _useful(kept, self.start, self.final))

    def sentences(self, most_words: int = 12) -> Iterator[tuple[tuple[str, ...], Slots]]:
        """Every sentence of up to `most_words` words with its meaning, in the grammar's order."""
        steps = _steps(self)

        def walk(
            state: int, words: tuple[str, ...], tags: tuple[Tag, ...]
        ) -> Iterator[tuple[tuple[str, ...], Slots]]:
            if state == self.final:
                yield words, meaning(tags)
            for arc in steps.get(state, ()):
                longer = words if arc.word is None else (*words, arc.word)
                if len(longer) <= most_words:
                    yield from walk(arc.target, longer, tags + arc.tags)

        return walk(self.start, (), ())


def meaning(tags: tuple[Tag, ...]) -> dict[str, int | str]:
    """Apply tags in order to empty slots.

    >>> from capture.language.tree import Operation, Tag
    >>> meaning((Tag("whole", Operation.ADD, 20), Tag("whole", Operation.ADD, 5)))
    {'whole': 25}
    """
    slots: dict[str, int | str] = {}
    for tag in tags:
        if isinstance(tag.value, str) or tag.operation is Operation.SET:
            slots[tag.slot] = tag.value
            continue
        before = slots.get(tag.slot, 0)
        number = before if isinstance(before, int) else 0
        factor = 10 if tag.operation is Operation.APPEND else 1
        slots[tag.slot] = number * factor + tag.value
    return slots


def _steps(automaton: Automaton) -> dict[int, list[Arc]]:
    steps: dict[int, list[Arc]] = {}
    for arc in automaton.arcs:
        steps.setdefault(arc.source, []).append(arc)
    return steps


def _useful(arcs: tuple[Arc, ...], start: int, final: int) -> tuple[Arc, ...]:
    """The arcs that lie on a path from start to final."""

    def reach(origin: int, pairs: list[tuple[int, int]]) -> set[int]:
        onward: dict[int, list[int]] = {}
        for one, other in pairs:
            onward.setdefault(one, []).append(other)
        seen, waiting = {origin}, [origin]
        while waiting:
            for state in onward.get(waiting.pop(), ()):
                if state not in seen:
                    seen.add(state)
                    waiting.append(state)
        return seen

    forward = reach(start, [(arc.source, arc.target) for arc in arcs])
    backward = reach(final, [(arc.target, arc.source) for arc in arcs])
    return tuple(arc for arc in arcs if arc.source in forward and arc.target in backward)


@dataclass(slots=True)
class _Builder:
    bodies: Mapping[str, Node]
    arcs: list[Arc] = field(default_factory=list)
    states: int = 0

    def state(self) -> int:
        self.states += 1
        return self.states - 1

    def join(self, source: int, target: int, share: float = 1.0) -> None:
        self.arcs.append(Arc(source, None, (), -math.log(share), target))

    def add(self, node: Node, source: int, open_rules: tuple[str, ...]) -> int:
        """Append `node` after state `source`; the state at its end."""
        match node:
            case Token(word):
                target = self.state()
                self.arcs.append(Arc(source, word, (), 0.0, target))
                return target
            case Tag():
                target = self.state()
                self.arcs.append(Arc(source, None, (node,), 0.0, target))
                return target
            case Sequence(parts):
                for part in parts:
                    source = self.add(part, source, open_rules)
                return source
            case Choice(branches, shares):
                target = self.state()
                for branch, share in zip(branches, shares, strict=True):
                    first = self.state()
                    self.join(source, first, share)
                    self.join(self.add(branch, first, open_rules), target)
                return target
            case Reference(name, at):
                if name in open_rules:
                    raise GrammarError(
                        f"{at}: the rule <{name}> contains itself.",
                        "Sentences must be finite: write the nesting out.",
                    )
                return self.add(self.bodies[name], source, (*open_rules, name))


def build(rule: str, bodies: Mapping[str, Node]) -> Automaton:
    """The automaton of `rule`; `bodies` holds the body of every rule it may reach.

    A rule that is used twice is written out twice, so that paths never mix.
    """
    builder = _Builder(bodies)
    start = builder.state()
    final = builder.add(bodies[rule], start, (rule,))
    return _without_silent_steps(Automaton(start, final, tuple(builder.arcs)))


def _without_silent_steps(automaton: Automaton) -> Automaton:
    """Merge wordless arcs into the next word, so that only the last arcs may be wordless.

    The tags of the merged arcs move on to the word, their costs add up. What is left wordless
    ends in the final state.
    """
    steps = _steps(automaton)

    def onward(
        state: int, tags: tuple[Tag, ...], cost: float
    ) -> Iterator[tuple[str | None, tuple[Tag, ...], float, int]]:
        if state == automaton.final:
            yield None, tags, cost, state
        for arc in steps.get(state, ()):
            gathered, total = tags + arc.tags, cost + arc.cost
            if arc.word is None:
                yield from onward(arc.target, gathered, total)
            else:
                yield arc.word, gathered, total, arc.target

    arcs: list[Arc] = []
    seen, waiting = {automaton.start}, [automaton.start]
    while waiting:
        source = waiting.pop()
        if source == automaton.final:
            continue
        for word, tags, cost, target in onward(source, (), 0.0):
            arcs.append(Arc(source, word, tags, cost, target))
            if target not in seen:
                seen.add(target)
                waiting.append(target)
    return Automaton(automaton.start, automaton.final, tuple(arcs))
