"""What may be said, told from the grammar itself: for the help and the guide."""

from collections.abc import Collection, Iterator

from capture.language.automaton import Automaton, Slots
from capture.language.grammar import LISTENING, Grammar
from capture.language.intents import NotUnderstood, kind_of
from capture.language.meaning import intent_from

TITLES = {
    "permission": "While a permission is asked",
    "tape_wanted": "While a tape length is wanted",
    "tape_readback": "While a tape length is read back",
    "reading_wanted": "While a reading is wanted",
    "readback": "While a reading is read back",
    "closing": "When all is measured",
    "paused": "In a pause",
}
"""The states of a visit in their order, as headings."""

_EXAMPLES = 5


def phrase_lines(grammar: Grammar, sites: Collection[str]) -> tuple[str, ...]:
    """For each state its calls, by what they do, each with a few phrases that the grammar makes."""
    lines: list[str] = []
    for rule, title in TITLES.items():
        lines += [f"{title}:"] if not lines else ["", f"{title}:"]
        lines += [
            f"  {kind:<14}{phrases}"
            for kind, phrases in _by_kind(
                grammar.automaton(LISTENING + rule).restricted("site", sites)
            )
        ]
    return tuple(lines)


def _by_kind(automaton: Automaton) -> Iterator[tuple[str, str]]:
    found: dict[str, list[tuple[tuple[str, ...], Slots]]] = {}
    for words, slots in automaton.sentences():
        intent = intent_from(slots)
        if not isinstance(intent, NotUnderstood):
            found.setdefault(kind_of(intent), []).append((words, slots))
    for kind, sentences in found.items():
        yield kind.replace("_", " "), ", ".join(f'"{text}"' for text in _spread(sentences))


def _spread(sentences: list[tuple[tuple[str, ...], Slots]]) -> list[str]:
    """A few phrases from all over the list, the first of each, so that every form is seen."""
    if len(sentences) <= _EXAMPLES + 1:
        return [" ".join(words) for words, _ in sentences]
    step = len(sentences) / _EXAMPLES
    return [" ".join(sentences[int(step * (n + 0.5))][0]) for n in range(_EXAMPLES)]
