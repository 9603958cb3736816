"""What the recognisers make of the calls: ours, and pocketsphinx with the same grammar."""

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from capture.language.grammar import LISTENING, Grammar, Parser, understand
from capture.language.intents import Intent, NotUnderstood
from capture.recognise.automaton import PlainAutomaton, WordAutomaton, determined, simplify
from capture.recognise.ending import needed_quiet_s
from capture.recognise.port import UNKNOWN, Heard
from capture.wiring import Ear

RATE_HZ = 16_000
_BLOCK = 3200
"""A tenth of a second of 16-bit sound."""

_BYTES_PER_S = 2 * RATE_HZ


@dataclass(frozen=True, slots=True)
class Utterance:
    """One answer of a recogniser.

    `at_s` is how much sound it had been given; `busy_s` how long the last block of it took.
    """

    words: tuple[str, ...]
    at_s: float
    busy_s: float
    heard: Heard | None = None


@dataclass(frozen=True, slots=True)
class Hearing:
    """All answers to one sound, with its length and the processor time they took."""

    utterances: tuple[Utterance, ...]
    sound_s: float
    busy_s: float


class Hearer(Protocol):
    """A recogniser under test."""

    def hear(self, rule: str, sound: bytes) -> Hearing:
        """Listen to a sound from beginning to end, for the calls of one rule."""
        ...


class Ours:
    """The strict recogniser, fed as the microphone feeds it."""

    def __init__(self, ear: Ear) -> None:
        self._ear = ear

    def hear(self, rule: str, sound: bytes) -> Hearing:
        """Feed tenths of a second."""
        listener = self._ear.listener(RATE_HZ, LISTENING + rule)
        found = []
        total = 0.0
        for at in range(0, len(sound) + _BLOCK, _BLOCK):
            block = sound[at : at + _BLOCK]
            begun = time.process_time()
            heard = listener.feed(block) if block else listener.finish()
            busy = time.process_time() - begun
            total += busy
            if heard is not None:
                words = tuple(word.text for word in heard.words)
                given_s = min(at + _BLOCK, len(sound)) / _BYTES_PER_S
                found.append(Utterance(words, given_s, busy, heard))
        return Hearing(tuple(found), len(sound) / _BYTES_PER_S, total)


class Sphinx:
    """pocketsphinx with its own American model and our grammar as a finite-state grammar.

    It gets each call cut out, which spares it the search for beginning and end.
    """

    def __init__(self, grammar: Grammar, lexicon: str) -> None:
        self._grammar = grammar
        self._lexicon = lexicon
        self._decoders: dict[str, Any] = {}

    def _decoder(self, rule: str) -> Any:
        """The decoder of a rule, made when it is first needed: each takes much memory."""
        if rule not in self._decoders:
            self._decoders[rule] = self._made(rule)
        return self._decoders[rule]

    def _made(self, rule: str) -> Any:
        from pocketsphinx import Config, Decoder  # type: ignore[import-untyped]

        decoder = Decoder(Config(lm=None, samprate=RATE_HZ, loglevel="FATAL"))
        known: dict[str, int] = {}
        for line in self._lexicon.splitlines():
            if line.strip() and not line.startswith(";"):
                word, *phones = line.split()
                known[word] = known.get(word, 0) + 1
                name = word if known[word] == 1 else f"{word}({known[word]})"
                if decoder.lookup_word(name) is None:
                    decoder.add_word(name, " ".join(phones), True)
        decoder.add_fsg("calls", decoder.create_fsg("calls", *transitions(self._grammar, rule)))
        decoder.activate_search("calls")
        return decoder

    def hear(self, rule: str, sound: bytes) -> Hearing:
        """Give the whole sound at once."""
        decoder = self._decoder(rule)
        begun = time.process_time()
        decoder.start_utt()
        decoder.process_raw(sound, False, True)
        decoder.end_utt()
        found = decoder.hyp()
        busy = time.process_time() - begun
        words = tuple(found.hypstr.split()) if found is not None and found.hypstr else ()
        answers = (Utterance(words, len(sound) / _BYTES_PER_S, busy),) if words else ()
        return Hearing(answers, len(sound) / _BYTES_PER_S, busy)


def definite(grammar: Grammar, rule: str) -> PlainAutomaton:
    """What may be said under a rule, at most one step for a word out of each state."""
    automaton = grammar.automaton(LISTENING + rule)
    plain = WordAutomaton(automaton.start, {automaton.final: 0.0}, automaton.arcs)
    return determined(simplify(plain))


Step = tuple[int, int, float] | tuple[int, int, float, str]


def transitions(grammar: Grammar, rule: str) -> tuple[int, int, list[Step]]:
    """The rule as start, end and steps, each with its probability; without a word it is silent."""
    automaton = definite(grammar, rule)
    end = max(automaton.steps.keys() | automaton.finals.keys()) + 1
    steps: list[Step] = [
        (state, target, max(math.exp(-cost), 1e-6), word)
        for state, here in automaton.steps.items()
        for (word, target), cost in here.items()
    ]
    steps += [(state, end, max(math.exp(-cost), 1e-6)) for state, cost in automaton.finals.items()]
    return automaton.start, end, steps


@dataclass(frozen=True, slots=True)
class Answer:
    """An utterance with its meaning under the rule that was listened for."""

    utterance: Utterance
    meaning: Intent | NotUnderstood


class Judge:
    """Says what answers mean, and what a call should have meant."""

    def __init__(self, grammar: Grammar) -> None:
        self._grammar = grammar
        self._parsers: dict[str, Parser] = {}
        self._definite: dict[str, PlainAutomaton] = {}

    def meaning(self, rule: str, words: Sequence[str]) -> Intent | NotUnderstood:
        """The meaning of words under a rule."""
        if rule not in self._parsers:
            self._parsers[rule] = self._grammar.parser(LISTENING + rule)
        return understand(self._parsers[rule], words)

    def needed_quiet_s(self, rule: str, words: Sequence[str]) -> float | None:
        """How long a quiet ends a call after these words; None where they are no whole call."""
        if rule not in self._definite:
            self._definite[rule] = definite(self._grammar, rule)
        return needed_quiet_s(self._definite[rule], words)

    def calls_in(self, rule: str, hearing: Hearing) -> list[Answer]:
        """The answers that would be acted on: whole calls of the rule, without filler."""
        found = []
        for each in hearing.utterances:
            if each.words and UNKNOWN not in each.words:
                meant = self.meaning(rule, each.words)
                if not isinstance(meant, NotUnderstood):
                    found.append(Answer(each, meant))
        return found
