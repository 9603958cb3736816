"""A language pack's grammar: several JSGF files resolved into rules, and the strict parser.

The pack's reader (an edge) gives the texts; nothing here opens a file.
"""

from collections.abc import Collection, Mapping, Sequence
from functools import cached_property

from capture.language.automaton import Arc, Automaton, Slots, build, meaning
from capture.language.intents import Intent, NotUnderstood, WhyNot
from capture.language.jsgf import too_deep
from capture.language.linking import link
from capture.language.meaning import CORRECTIONS, intent_from
from capture.language.tree import GrammarError, Tag

LISTENING = "foldcall.listening."
"""Public rules of this grammar say what is listened for in each state of a visit."""


class Parser:
    """Takes phrases of one automaton, whole or not at all."""

    def __init__(self, automaton: Automaton) -> None:
        self.automaton = automaton

    @cached_property
    def _steps(self) -> Mapping[tuple[int, str | None], tuple[Arc, ...]]:
        steps: dict[tuple[int, str | None], list[Arc]] = {}
        for arc in self.automaton.arcs:
            steps.setdefault((arc.source, arc.word), []).append(arc)
        return {key: tuple(arcs) for key, arcs in steps.items()}

    @cached_property
    def _words(self) -> frozenset[str]:
        return self.automaton.words

    def slots(self, words: Sequence[str]) -> Slots | None:
        """The meaning of a whole phrase, None if it is no sentence of the rule.

        Raises GrammarError if the phrase has two meanings: the pack is at fault.
        """
        alive, ended = self._follow(words)
        if ended < len(words):
            return None
        return self._meaning_of(alive, words)

    def why_not(self, words: Sequence[str]) -> NotUnderstood:
        """Why `slots` gave None for this phrase."""
        alive, ended = self._follow(words)
        refuses = any(
            tag.slot == "call" and tag.value in CORRECTIONS for _, tags in alive for tag in tags
        )
        if ended == len(words):
            return NotUnderstood(WhyNot.UNFINISHED, refuses=refuses)
        head, tail = words[:ended], words[ended:]
        known, following = self.slots(head) if head else None, self.slots(tail)
        if known is None or following is None or "whole" not in following:
            unknown = [word for word in words if word not in self._words]
            return NotUnderstood(WhyNot.NOT_A_CALL, unknown[0] if unknown else "", refuses)
        why = WhyNot.TOO_FINE if "tenths" in known else WhyNot.TWO_NUMBERS
        return NotUnderstood(why, refuses=refuses)

    def _follow(self, words: Sequence[str]) -> tuple[dict[tuple[int, tuple[Tag, ...]], None], int]:
        """The states and tags alive after as many words as can be followed, and that many."""
        alive: dict[tuple[int, tuple[Tag, ...]], None] = {(self.automaton.start, ()): None}
        for count, word in enumerate(words):
            onward = {
                (arc.target, tags + arc.tags): None
                for state, tags in alive
                for arc in self._steps.get((state, word), ())
            }
            if not onward:
                return alive, count
            alive = onward
        return alive, len(words)

    def _meaning_of(
        self, alive: Mapping[tuple[int, tuple[Tag, ...]], None], words: Sequence[str]
    ) -> Slots | None:
        found: list[Slots] = []
        for state, tags in alive:
            endings = self._steps.get((state, None), ())
            if state == self.automaton.final:
                found.append(meaning(tags))
            found.extend(meaning(tags + arc.tags) for arc in endings)
        if any(other != found[0] for other in found[1:]):
            raise GrammarError(
                f"'{' '.join(words)}' has two meanings: {found[0]} and {found[1]}.",
                "Change one of the two rules so that every phrase has one meaning.",
            )
        return found[0] if found else None


class Grammar:
    """All rules of a language pack, ready to be built, parsed and listed.

    `texts` maps a file name to its JSGF text. Rules of one file see each other and what the file
    imports. Raises GrammarError with a position.
    """

    def __init__(self, texts: Mapping[str, str]) -> None:
        linked = link(texts)
        if linked.faults:
            raise linked.faults[0]
        self._bodies = linked.bodies
        self._public = linked.public
        self._automata: dict[str, Automaton] = {}
        self._parsers: dict[tuple[str, frozenset[str] | None], Parser] = {}

    @property
    def rules(self) -> tuple[str, ...]:
        """Full names of the public rules, such as `foldcall.numbers.number`."""
        return self._public

    @property
    def words(self) -> frozenset[str]:
        """Every word that any public rule may use."""
        return frozenset().union(*(self.automaton(rule).words for rule in self.rules))

    def automaton(self, rule: str) -> Automaton:
        """The automaton of a public rule, by full name. Raises KeyError if there is none."""
        if rule not in self._automata:
            if rule not in self._public:
                raise KeyError(rule)
            try:
                self._automata[rule] = build(rule, self._bodies)
            except RecursionError as error:
                raise too_deep(f"rule <{rule}>") from error
        return self._automata[rule]

    def parser(self, rule: str, sites: Collection[str] | None = None) -> Parser:
        """A parser of one public rule; `sites` limits the sites that may be named.

        It is kept: a session asks for the same few again with each call.
        """
        key = rule, None if sites is None else frozenset(sites)
        if key not in self._parsers:
            automaton = self.automaton(rule)
            if sites is not None:
                automaton = automaton.restricted("site", sites)
            self._parsers[key] = Parser(automaton)
        return self._parsers[key]


def understand(parser: Parser, words: Sequence[str]) -> Intent | NotUnderstood:
    """The intent of a phrase under a rule, or the reason why it has none.

    Raises GrammarError where the pack's tags give a phrase a meaning that no call has.
    """
    slots = parser.slots(words)
    if slots is None:
        return parser.why_not(words)
    try:
        return intent_from(slots)
    except ValueError as error:
        raise GrammarError(
            f"'{' '.join(words)}' has a meaning that no call has: {error}.",
            "Mend the tags of its rule in the language pack.",
        ) from error
