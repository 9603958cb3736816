"""The prompts of the voice check, in the words of a language pack. Pure.

What is asked for is chosen by meaning, so that a pack in other words has its prompts too.
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from capture.language.grammar import LISTENING, Grammar, understand
from capture.language.intents import Confirm, Correct, Intent, Reading, Refuse, Tape, Undo
from capture.language.meaning import intent_from
from capture.units import Inches
from capture.wording.numbers import NumberWords

_COMMANDS = "foldcall.commands."
_SITE = "foldcall.sites.site"


@dataclass(frozen=True, slots=True)
class Prompt:
    """One thing to say: its words, what they mean, and the listening rule they are said under."""

    rule: str
    words: str
    intent: Intent


@dataclass(frozen=True, slots=True)
class _Wanted:
    state: str
    intent: Intent
    digits: bool = False


WANTED = (
    _Wanted("reading_wanted", Reading(150)),
    _Wanted("reading_wanted", Reading(125)),
    _Wanted("readback", Confirm()),
    _Wanted("reading_wanted", Reading(300)),
    _Wanted("reading_wanted", Reading(90)),
    _Wanted("reading_wanted", Reading(106, "triceps")),
    _Wanted("readback", Refuse()),
    _Wanted("reading_wanted", Reading(600)),
    _Wanted("reading_wanted", Reading(176), digits=True),
    _Wanted("reading_wanted", Reading(50)),
    _Wanted("reading_wanted", Undo()),
    _Wanted("reading_wanted", Reading(500)),
    _Wanted("readback", Correct(160), digits=True),
    _Wanted("reading_wanted", Reading(130)),
    _Wanted("reading_wanted", Reading(182)),
    _Wanted("tape_wanted", Tape(Inches(108))),
    _Wanted("reading_wanted", Reading(60)),
    _Wanted("reading_wanted", Reading(160, "suprailiac")),
    _Wanted("reading_wanted", Reading(224)),
    _Wanted("reading_wanted", Reading(190)),
)
"""The halves of the pairs that sound alike, apart from each other, with tenths, digits, sites, a
tape length and the answers between them. Own choice: what is usual in a visit, and what is hard."""


def prompts(grammar: Grammar, sites: Collection[str]) -> tuple[Prompt, ...]:
    """The prompts in their order. What a pack has no words for is left out."""
    words = _Words(grammar)
    found = []
    for wanted in WANTED:
        rule = LISTENING + wanted.state
        if rule not in grammar.rules:
            continue
        parser = grammar.parser(rule, sites)
        for said in words.ways(wanted.intent, digits=wanted.digits):
            if understand(parser, said.split()) == wanted.intent:
                found.append(Prompt(rule, said, wanted.intent))
                break
    return tuple(found)


class _Words:
    """How a pack says a call."""

    def __init__(self, grammar: Grammar) -> None:
        self._grammar = grammar
        self._numbers = NumberWords(grammar)

    def ways(self, intent: Intent, *, digits: bool) -> Iterator[str]:
        """Phrases that may mean this, the usual one first."""
        match intent:
            case Reading(value, None):
                yield self._number(value, digits=digits)
            case Reading(value, site):
                number = self._number(value, digits=digits)
                yield from (f"{name} {number}" for name in self._said(_SITE, site))
            case Correct(value):
                number = self._number(value, digits=digits)
                refusals = self._said(f"{_COMMANDS}refuse", Refuse())
                yield from (f"{refusal} {number}" for refusal in refusals)
            case Tape(length):
                yield self._numbers.length(length)
            case Confirm():
                yield from self._said(f"{_COMMANDS}confirm", intent)
            case Refuse():
                yield from self._said(f"{_COMMANDS}refuse", intent)
            case Undo():
                yield from self._said(f"{_COMMANDS}undo", intent)

    def _number(self, value_tenths_mm: int, *, digits: bool) -> str:
        said = self._numbers.digits if digits else self._numbers.plain
        return said(value_tenths_mm)

    def _said(self, rule: str, meant: Intent | str | None) -> Iterator[str]:
        """The phrases of a small rule that mean this intent, or name this site."""
        if rule not in self._grammar.rules:
            return
        for words, slots in self._grammar.automaton(rule).sentences():
            found = slots.get("site") if rule == _SITE else intent_from(slots)
            if found == meant:
                yield " ".join(words)
