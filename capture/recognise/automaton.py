"""A grammar as the recogniser needs it: words with costs, without empty steps.

The grammar's own automaton is handed over as a `WordAutomaton`; `simplify` removes its empty
steps and merges states that allow the same continuations, which keeps the graph small.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

Steps = dict[tuple[str, int], float]
"""Costs of the steps out of one state, by word and next state."""

_Key = TypeVar("_Key")
_Subset = tuple[tuple[int, float], ...]
"""States that the same words lead to, each with what its path still owes."""


class WordStep(Protocol):
    """What is needed of an arc: a word (None: no word) that costs -ln(probability)."""

    @property
    def source(self) -> int: ...  # noqa: D102
    @property
    def word(self) -> str | None: ...  # noqa: D102
    @property
    def cost(self) -> float: ...  # noqa: D102
    @property
    def target(self) -> int: ...  # noqa: D102


@dataclass(frozen=True, slots=True)
class WordArc:
    """A plain `WordStep`."""

    source: int
    word: str | None
    cost: float
    target: int


@dataclass(frozen=True, slots=True)
class WordAutomaton:
    """Every phrase of a grammar: paths from `start` to a state in `finals` (with its cost)."""

    start: int
    finals: Mapping[int, float]
    arcs: Sequence[WordStep]


@dataclass(frozen=True, slots=True)
class PlainAutomaton:
    """The same phrases without empty steps; every state lies on a path from start to end."""

    start: int
    finals: Mapping[int, float]
    steps: Mapping[int, Steps]

    @property
    def words(self) -> frozenset[str]:
        """All words that occur."""
        return frozenset(word for steps in self.steps.values() for word, _ in steps)


def simplify(automaton: WordAutomaton) -> PlainAutomaton:
    """Remove empty steps and useless states, merge equal ones.

    Where a phrase has several paths, the cheapest of equal ones stays. ValueError when empty
    steps form a cycle or no phrase is left.
    """
    onward: dict[int, list[WordStep]] = {}
    for arc in automaton.arcs:
        onward.setdefault(arc.source, []).append(arc)
    finals: dict[int, float] = {}
    steps: dict[int, Steps] = {}
    known: dict[int, dict[int, float]] = {}
    waiting = [automaton.start]
    while waiting:
        state = waiting.pop()
        if state in steps:
            continue
        here = steps.setdefault(state, {})
        for near, cost in _reached_silently(state, onward, known).items():
            if near in automaton.finals:
                _keep_cheapest(finals, state, cost + automaton.finals[near])
            for arc in onward.get(near, ()):
                if arc.word is not None:
                    _keep_cheapest(here, (arc.word, arc.target), cost + arc.cost)
                    waiting.append(arc.target)
    useful = _leading_to(steps, finals)
    if automaton.start not in useful:
        raise ValueError("the automaton has no phrase")
    kept = {
        state: {key: cost for key, cost in here.items() if key[1] in useful}
        for state, here in steps.items()
        if state in useful
    }
    return _merge_equal_states(PlainAutomaton(automaton.start, finals, kept))


def determined(automaton: PlainAutomaton) -> PlainAutomaton:
    """The same phrases at the same costs, with at most one step for a word out of each state.

    Then a state knows all that may follow the words that led to it. Costs come as early as they
    can. Of several paths for a phrase the cheapest stays. The grammar has no loops, so this ends.
    """
    numbers: dict[_Subset, int] = {}
    steps: dict[int, Steps] = {}
    finals: dict[int, float] = {}
    waiting: list[_Subset] = []

    def number(subset: _Subset) -> int:
        if subset not in numbers:
            numbers[subset] = len(numbers)
            waiting.append(subset)
        return numbers[subset]

    start = number(((automaton.start, 0.0),))
    while waiting:
        subset = waiting.pop()
        here = steps.setdefault(numbers[subset], {})
        by_word: dict[str, dict[int, float]] = {}
        for state, owed in subset:
            if state in automaton.finals:
                _keep_cheapest(finals, numbers[subset], owed + automaton.finals[state])
            for (word, target), cost in automaton.steps.get(state, {}).items():
                _keep_cheapest(by_word.setdefault(word, {}), target, owed + cost)
        for word, costs in by_word.items():
            least = min(costs.values())
            # Rounded, so that sums in another order lead to the same state.
            rest = ((target, round(cost - least, 9)) for target, cost in costs.items())
            here[word, number(tuple(sorted(rest)))] = least
    return _merge_equal_states(PlainAutomaton(start, finals, steps))


def held_open(automaton: PlainAutomaton, cost: float) -> PlainAutomaton:
    """The same phrases at the same costs, charged so that open ends can be told from closed ones.

    Takes a determined automaton. An end is open where more words may follow, as "point five" may
    follow "twelve". There `cost` is charged only for ending; every other phrase that could have
    come by an open end pays when it leaves it behind. What is charged is given beforehand, so that
    no phrase costs more in all.
    """
    open_ends = {state for state in automaton.finals if automaton.steps.get(state)}
    before = _leading_to(automaton.steps, open_ends)

    def given(state: int) -> float:
        return cost if state in before and state != automaton.start else 0.0

    return PlainAutomaton(
        automaton.start,
        {state: each + given(state) for state, each in automaton.finals.items()},
        {
            state: {
                (word, target): each + given(state) - given(target)
                for (word, target), each in here.items()
            }
            for state, here in automaton.steps.items()
        },
    )


def _keep_cheapest(costs: dict[_Key, float], key: _Key, cost: float) -> None:
    costs[key] = min(cost, costs.get(key, cost))


def _reached_silently(
    state: int, onward: Mapping[int, list[WordStep]], known: dict[int, dict[int, float]]
) -> dict[int, float]:
    """States reached from this one without a word, with the cheapest cost; itself at 0."""
    if state in known:
        if not known[state]:
            raise ValueError(f"empty steps form a cycle at state {state}")
        return known[state]
    known[state] = {}
    found = {state: 0.0}
    for arc in onward.get(state, ()):
        if arc.word is None:
            for near, cost in _reached_silently(arc.target, onward, known).items():
                _keep_cheapest(found, near, arc.cost + cost)
    known[state] = found
    return found


def _leading_to(steps: Mapping[int, Steps], ends: Iterable[int]) -> set[int]:
    """The states from which one of the ends can be reached, the ends among them."""
    before: dict[int, set[int]] = {}
    for state, here in steps.items():
        for _, target in here:
            before.setdefault(target, set()).add(state)
    useful = set(ends)
    waiting = list(useful)
    while waiting:
        for state in before.get(waiting.pop(), ()):
            if state not in useful:
                useful.add(state)
                waiting.append(state)
    return useful


def _merge_equal_states(automaton: PlainAutomaton) -> PlainAutomaton:
    """Let one state stand for all that allow the same continuations at the same costs."""
    start, finals, steps = automaton.start, dict(automaton.finals), dict(automaton.steps)
    while True:
        chosen: dict[tuple[float | None, frozenset[tuple[tuple[str, int], float]]], int] = {}
        stand_in = {
            state: chosen.setdefault((finals.get(state), frozenset(here.items())), state)
            for state, here in steps.items()
        }
        if len(chosen) == len(steps):
            return PlainAutomaton(start, finals, steps)
        start = stand_in[start]
        merged: dict[int, Steps] = {}
        for state in chosen.values():
            here = merged.setdefault(state, {})
            for (word, target), cost in steps[state].items():
                _keep_cheapest(here, (word, stand_in[target]), cost)
        steps = merged
        finals = {state: cost for state, cost in finals.items() if state in steps}
