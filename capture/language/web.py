"""An automaton's phrases and meanings in as few nodes as is easily had.

A rule that is used twice is written out twice in an automaton, and a tag may stand late: behind
ten sites wait ten copies of all numbers. Here tags stand as early as they can, equal
continuations are one node, and of each node no two steps have the same word and tags.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

from capture.language.automaton import Arc, Automaton
from capture.language.meanings import in_order
from capture.language.tree import Tag

Tags = tuple[Tag, ...]

FINAL = 0
"""The node at which every phrase has ended."""


@dataclass(frozen=True, slots=True)
class Step:
    """One word out of a node (None: the end of the phrase), with its tags."""

    word: str | None
    tags: Tags
    target: int


@dataclass(frozen=True, slots=True)
class Web:
    """All phrases of a rule: the words and tags along the steps from `start` to `FINAL`.

    `steps` holds the steps out of each node, `tags` are those that every phrase begins with.
    """

    start: int
    steps: Sequence[tuple[Step, ...]]
    tags: Tags = ()

    def ends(self, node: int) -> Iterator[Tags]:
        """The tags of each way in which a phrase may end at a node."""
        if node == FINAL:
            yield ()
        yield from (step.tags for step in self.steps[node] if step.word is None)


@dataclass(slots=True)
class _Nodes:
    """Nodes by their steps: equal steps are one node."""

    steps: list[tuple[Step, ...]] = field(default_factory=lambda: [()])
    known: dict[frozenset[Step], int] = field(default_factory=lambda: {frozenset(): FINAL})

    def node(self, steps: Iterable[Step]) -> int:
        """The node with these steps."""
        once = tuple(dict.fromkeys(steps))
        key = frozenset(once)
        if key not in self.known:
            self.known[key] = len(self.steps)
            self.steps.append(once)
        return self.known[key]


@lru_cache(maxsize=64)
def web_of(automaton: Automaton) -> Web:
    """The web of an automaton; kept, as `kinds` is, because a check looks at it from two sides."""
    outgoing: dict[int, list[Arc]] = {}
    for arc in automaton.arcs:
        outgoing.setdefault(arc.source, []).append(arc)
    nodes = _Nodes()
    early: dict[int, Tags] = {}
    node_of: dict[int, int] = {}
    for state in reversed(in_order(automaton.start, outgoing)):
        steps = [
            Step(arc.word, arc.tags + early[arc.target], node_of[arc.target])
            for arc in outgoing.get(state, ())
        ]
        early[state] = shared = _shared_beginning([step.tags for step in steps])
        node_of[state] = nodes.node(replace(step, tags=step.tags[len(shared) :]) for step in steps)
    start, determined = _determined(node_of[automaton.start], nodes.steps)
    return Web(start, determined, early[automaton.start])


def _determined(
    start: int, steps: Sequence[tuple[Step, ...]]
) -> tuple[int, Sequence[tuple[Step, ...]]]:
    """The same phrases with one step out of each node for the same word and tags."""
    nodes = _Nodes()
    known: dict[frozenset[int], int] = {frozenset((FINAL,)): FINAL}

    def node(subset: frozenset[int]) -> int:
        if subset not in known:
            targets: dict[tuple[str | None, Tags], set[int]] = {}
            if FINAL in subset:
                targets[None, ()] = {FINAL}
            for each in sorted(subset):
                for step in steps[each]:
                    targets.setdefault((step.word, step.tags), set()).add(step.target)
            known[subset] = nodes.node(
                Step(word, tags, node(frozenset(onward)))
                for (word, tags), onward in targets.items()
            )
        return known[subset]

    return node(frozenset((start,))), nodes.steps


def _shared_beginning(many: Sequence[Tags]) -> Tags:
    """The tags that all begin with."""
    if not many:
        return ()
    least = min(many, key=len)
    count = 0
    while count < len(least) and all(tags[count] == least[count] for tags in many):
        count += 1
    return least[:count]
