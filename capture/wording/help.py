"""What may be said, told from the grammar itself: for the help and the guide."""

from collections.abc import Collection
from functools import lru_cache

from capture.language.automaton import Automaton
from capture.language.grammar import LISTENING, Grammar
from capture.language.intents import (
    Correct,
    CorrectTape,
    Intent,
    NotUnderstood,
    Reading,
    SetCloth,
    SetOffset,
    Tape,
    kind_of,
)
from capture.language.meaning import intent_from
from capture.units import Centimetres, Inches

TITLES = {
    "preparation": "Before anybody is touched",
    "permission": "While a permission is asked",
    "tape_wanted": "While a tape length is wanted",
    "tape_readback": "While a tape length is read back",
    "reading_wanted": "While a reading is wanted",
    "readback": "While a reading is read back",
    "readback_through": "While a reading is read back, in call-through",
    "closing": "When all is measured",
    "noting": "While a note is spoken",
    "paused": "In a pause",
}
"""The states of a visit in their order, as headings."""

_SHOWN: tuple[Intent, ...] = (
    Reading(125),
    Reading(125, "triceps"),
    Correct(125),
    Tape(Inches(108)),
    Tape(Centimetres(372)),
    CorrectTape(Inches(108)),
    SetCloth(0),
    SetCloth(15),
    SetOffset(25),
)
"""Where a call can have any value, every way to say these is shown."""

_MANY = (Reading, Correct, Tape, CorrectTape, SetCloth, SetOffset)


def phrase_lines(grammar: Grammar, sites: Collection[str]) -> tuple[str, ...]:
    """For each state its calls, by what they do, and the phrases the grammar makes of them."""
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


@lru_cache(maxsize=64)
def _by_kind(automaton: Automaton) -> tuple[tuple[str, str], ...]:
    """Kept, for it looks at every sentence of a rule: a second or two for all rules."""
    found: dict[str, list[str]] = {}
    # Many sentences have one meaning: it is made once.
    kinds: dict[tuple[tuple[str, int | str], ...], str | None] = {}
    for words, slots in automaton.sentences():
        meant = tuple(slots.items())
        if meant not in kinds:
            kinds[meant] = _shown_as(intent_from(slots))
        kind = kinds[meant]
        if kind is not None:
            found.setdefault(kind, []).append(" ".join(words))
    return tuple(
        (kind.replace("_", " "), ", ".join(f'"{text}"' for text in sentences))
        for kind, sentences in found.items()
    )


def _shown_as(intent: Intent | NotUnderstood) -> str | None:
    """The kind under which a call is shown; None for what is no call, or one value of many."""
    if isinstance(intent, NotUnderstood) or (isinstance(intent, _MANY) and intent not in _SHOWN):
        return None
    return kind_of(intent)
