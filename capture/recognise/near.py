"""Words that differ in one phone and stand for different numbers or sites: fifteen and fifty.

The recogniser can tell them apart, but a noisy room or a cold may not.
"""

from collections.abc import Iterable

from capture.language.automaton import Automaton
from capture.language.meaning import NUMBER_SLOTS
from capture.language.web import Tags, web_of
from capture.recognise.lexicon import Lexicon, Pronunciation

_VALUES = (*NUMBER_SLOTS, "site")


def nearly_alike(automaton: Automaton, lexicon: Lexicon) -> tuple[tuple[str, str], ...]:
    """Pairs of words that differ in one phone and stand for different numbers or sites.

    Only pairs of which either word may be said at the same place.
    """
    near: dict[str, set[str]] = {}
    words = sorted(word for word in automaton.words if word in lexicon.entries)
    for place, one in enumerate(words):
        for other in words[place + 1 :]:
            if _is_near(lexicon.entries[one], lexicon.entries[other]):
                near.setdefault(one, set()).add(other)
    found: dict[tuple[str, str], None] = {}
    for steps in web_of(automaton).steps:
        values: dict[str, set[Tags]] = {}
        for step in steps:
            kept = tuple(tag for tag in step.tags if tag.slot in _VALUES)
            if step.word is not None and kept:
                values.setdefault(step.word, set()).add(kept)
        for one, meant in values.items():
            for other in near.get(one, set()) & values.keys():
                if values[other] != meant:
                    found[one, other] = None
    return tuple(sorted(found))


def _is_near(one: Iterable[Pronunciation], other: Iterable[Pronunciation]) -> bool:
    return any(_one_edit(here, there) for here in one for there in other)


def _one_edit(one: Pronunciation, other: Pronunciation) -> bool:
    """Whether one phone changed, added or dropped makes the one the other."""
    if len(one) > len(other):
        one, other = other, one
    if len(other) - len(one) > 1 or one == other:
        return False
    same = 0
    while same < len(one) and one[same] == other[same]:
        same += 1
    return one[same + 1 :] == other[same + 1 :] or one[same:] == other[same + 1 :]
