"""What the recognisers make of the calls: ours, and pocketsphinx with the same grammar."""

import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from capture.language.grammar import LISTENING, Grammar, understand
from capture.language.intents import Intent, NotUnderstood
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

    def __init__(self, grammar: Grammar, rules: Sequence[str], lexicon: str) -> None:
        from pocketsphinx import Config, Decoder

        self._decoders = {}
        for rule in rules:
            config = Config(lm=None, samprate=RATE_HZ, loglevel="FATAL")
            decoder = Decoder(config)
            known = {}
            for line in lexicon.splitlines():
                if line.strip() and not line.startswith(";"):
                    word, *phones = line.split()
                    known[word] = known.get(word, 0) + 1
                    name = word if known[word] == 1 else f"{word}({known[word]})"
                    if decoder.lookup_word(name) is None:
                        decoder.add_word(name, " ".join(phones), True)
            decoder.add_jsgf_string("calls", jsgf(grammar, LISTENING + rule))
            decoder.activate_search("calls")
            self._decoders[rule] = decoder

    def hear(self, rule: str, sound: bytes) -> Hearing:
        """Give the whole sound at once."""
        decoder = self._decoders[rule]
        begun = time.process_time()
        decoder.start_utt()
        decoder.process_raw(sound, False, True)
        decoder.end_utt()
        found = decoder.hyp()
        busy = time.process_time() - begun
        words = tuple(found.hypstr.split()) if found is not None and found.hypstr else ()
        answers = (Utterance(words, len(sound) / _BYTES_PER_S, busy),) if words else ()
        return Hearing(answers, len(sound) / _BYTES_PER_S, busy)


def jsgf(grammar: Grammar, rule: str) -> str:
    """The rule's automaton as one JSGF grammar without imports and tags: a rule for each state."""
    automaton = grammar.automaton(rule)
    onward: dict[int, list[str]] = {}
    for arc in automaton.arcs:
        parts = [arc.word] if arc.word is not None else []
        parts += [f"<s{arc.target}>"] if arc.target != automaton.final else []
        weight = f"/{max(2.718281828**-arc.cost, 1e-6):.6f}/ "
        onward.setdefault(arc.source, []).append(weight + (" ".join(parts) or "<NULL>"))
    lines = ["#JSGF V1.0;", "grammar calls;", f"public <call> = <s{automaton.start}>;"]
    lines += [f"<s{state}> = {' | '.join(ways)};" for state, ways in onward.items()]
    return "\n".join(lines)


@dataclass(frozen=True, slots=True)
class Answer:
    """An utterance with its meaning under the rule that was listened for."""

    utterance: Utterance
    meaning: Intent | NotUnderstood


class Judge:
    """Says what answers mean, and what a call should have meant."""

    def __init__(self, grammar: Grammar) -> None:
        self._grammar = grammar

    def meaning(self, rule: str, words: Sequence[str]) -> Intent | NotUnderstood:
        """The meaning of words under a rule."""
        return understand(self._grammar.parser(LISTENING + rule), words)

    def calls_in(self, rule: str, hearing: Hearing) -> list[Answer]:
        """The answers that would be acted on: whole calls of the rule, without filler."""
        found = []
        for each in hearing.utterances:
            if each.words and UNKNOWN not in each.words:
                meant = self.meaning(rule, each.words)
                if not isinstance(meant, NotUnderstood):
                    found.append(Answer(each, meant))
        return found
