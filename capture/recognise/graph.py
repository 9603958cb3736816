"""From a grammar to the graph that the decoder searches: words, phones, frames.

`build_graph(automaton, lexicon, options)` gives a `DecodingGraph`; its `fst` and `words_text` are
the files HCLG.fst and words.txt of a model folder.

The graph accepts exactly these utterances:

* silence alone: the empty phrase;
* one phrase of the grammar, each word in any of its pronunciations, with optional silence before
  the first word, between words and after the last;
* with a filler: runs of any phones with pauses between. A run comes out as the word ``[unk]``;
* with decoys: a word alone that sounds like a one-word phrase of the grammar. It comes out as
  ``[unk]``, at the price of that phrase.

There is no way from the one to the other within an utterance: speech that is partly outside the
grammar is heard as filler from its beginning, or not at all. Transition probabilities are equal
everywhere in the acoustic model, so they are left out of the costs.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from capture.recognise.automaton import (
    PlainAutomaton,
    WordAutomaton,
    determined,
    held_open,
    simplify,
)
from capture.recognise.fst import FstArc, fst_bytes
from capture.recognise.lexicon import Lexicon, Pronunciation
from capture.recognise.phones import (
    PHONES,
    SILENCE_ID,
    Position,
    forward_id,
    phone_id,
    self_loop_id,
    word_phone_ids,
)
from capture.recognise.port import UNKNOWN

EPSILON = 0


@dataclass(frozen=True, slots=True)
class GraphOptions:
    """Costs, as -ln(probability), that the grammar does not know.

    `silence_cost` is charged for each pause. `filler_cost` is charged for each phone of the
    filler; None leaves the filler out. `filler_word_cost` is charged once for each run of them.
    `empty_cost` is charged for an utterance without words. `open_end_cost` is charged for ending
    where more words may follow, and given back beforehand: see `held_open`. `decoys` gives, for
    one-word phrases of the grammar, how other words are spoken that could be taken for them.
    """

    silence_cost: float = math.log(2.0)
    filler_cost: float | None = None
    empty_cost: float = 0.0
    filler_word_cost: float = 0.0
    open_end_cost: float = 0.0
    decoys: Mapping[str, tuple[Pronunciation, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class DecodingGraph:
    """A graph over transition numbers (in) and word numbers (out).

    Word number n stands for ``words[n - 1]``; 0 is no word. `grammar` is what it was made from,
    determined.
    """

    start: int
    arcs: tuple[FstArc, ...]
    finals: dict[int, float]
    words: tuple[str, ...]
    grammar: PlainAutomaton

    def fst(self) -> bytes:
        """The graph as the file HCLG.fst."""
        return fst_bytes(self.start, self.arcs, self.finals)

    def words_text(self) -> str:
        """The table of words as the file words.txt."""
        names = ("<eps>", *self.words)
        return "".join(f"{name} {number}\n" for number, name in enumerate(names))


def build_graph(
    automaton: WordAutomaton, lexicon: Lexicon, options: GraphOptions | None = None
) -> DecodingGraph:
    """Expand a grammar into a decoding graph.

    LexiconError names the words without a pronunciation. ValueError when the automaton has no
    phrase, an empty cycle, or the word ``[unk]``.
    """
    options = options or GraphOptions()
    plain = held_open(determined(simplify(automaton)), options.open_end_cost)
    if UNKNOWN in plain.words:
        raise ValueError(f"{UNKNOWN} is not a word of a grammar")
    lexicon.require(plain.words)
    words = sorted(plain.words)
    if options.filler_cost is not None or options.decoys:
        words.append(UNKNOWN)
    expansion = _Expansion(plain, lexicon, options, {word: n for n, word in enumerate(words, 1)})
    start = expansion.run()
    return DecodingGraph(start, tuple(expansion.arcs), expansion.finals, tuple(words), plain)


@dataclass(slots=True)
class _Expansion:
    grammar: PlainAutomaton
    lexicon: Lexicon
    options: GraphOptions
    numbers: dict[str, int]
    arcs: list[FstArc] = field(default_factory=list)
    finals: dict[int, float] = field(default_factory=dict)
    count: int = 0
    tails: dict[tuple[int, tuple[int, ...]], int] = field(default_factory=dict)
    junctions: dict[int, tuple[int, int]] = field(default_factory=dict)
    unexpanded: list[int] = field(default_factory=list)

    def run(self) -> int:
        """Build everything; the number of the start state."""
        start = self.state()
        silence = self.silence_after(start)
        self.finals[silence] = self.options.empty_cost
        self.words_from((start, silence), self.grammar.start)
        if self.options.filler_cost is not None:
            self.filler_from((start, silence), self.options.filler_cost)
        self.decoys_from((start, silence))
        while self.unexpanded:
            place = self.unexpanded.pop()
            self.words_from(self.junctions[place], place)
        return start

    def state(self) -> int:
        self.count += 1
        return self.count - 1

    def arc(self, source: int, label: int, output: int, cost: float, target: int) -> None:
        self.arcs.append(FstArc(source, label, output, cost, target))

    def phone_state(self, phone: int) -> int:
        """A state that one phone can stay in."""
        state = self.state()
        self.arc(state, self_loop_id(phone), EPSILON, 0.0, state)
        return state

    def silence_after(self, *sources: int) -> int:
        silence = self.phone_state(SILENCE_ID)
        for source in sources:
            self.arc(source, forward_id(SILENCE_ID), EPSILON, self.options.silence_cost, silence)
        return silence

    def words_from(self, sources: Iterable[int], place: int) -> None:
        """Let every word that the grammar allows at `place` begin in each of the sources."""
        for (word, target), cost in self.grammar.steps.get(place, {}).items():
            for phones in self.lexicon.pronunciations(word):
                ids = word_phone_ids(phones)
                first = self.tail(target, ids)
                for source in sources:
                    self.arc(source, forward_id(ids[0]), self.numbers[word], cost, first)

    def tail(self, place: int, ids: tuple[int, ...]) -> int:
        """The state of the first of these phones, which lead to `place`; equal tails are shared."""
        if (place, ids) not in self.tails:
            state = self.phone_state(ids[0])
            self.tails[place, ids] = state
            if len(ids) > 1:
                self.arc(state, forward_id(ids[1]), EPSILON, 0.0, self.tail(place, ids[1:]))
            else:
                self.leave_word(state, place)
        return self.tails[place, ids]

    def leave_word(self, state: int, place: int) -> None:
        """Connect the last state of a word with what may follow at `place`."""
        final = self.grammar.finals.get(place)
        more = bool(self.grammar.steps.get(place))
        if place not in self.junctions:
            # A place where phrases only end needs no junction: words end in their last phone.
            junction = self.state() if more else state
            silence = self.silence_after(*((junction,) if more else ()))
            self.junctions[place] = (junction, silence)
            if final is not None:
                self.finals[junction] = final
                self.finals[silence] = final
            if more:
                self.unexpanded.append(place)
        junction, silence = self.junctions[place]
        if more:
            self.arc(state, EPSILON, EPSILON, 0.0, junction)
            return
        if final is not None:
            self.finals[state] = final
        self.arc(state, forward_id(SILENCE_ID), EPSILON, self.options.silence_cost, silence)

    def decoys_from(self, sources: Iterable[int]) -> None:
        """Let each decoy be said in the place of its phrase, with nothing after it but silence."""
        for (word, target), cost in self.grammar.steps[self.grammar.start].items():
            final = self.grammar.finals.get(target)
            if final is None:
                continue
            for phones in self.options.decoys.get(word, ()):
                numbers = word_phone_ids(phones)
                states = [self.phone_state(number) for number in numbers]
                for source in sources:
                    unknown = self.numbers[UNKNOWN]
                    self.arc(source, forward_id(numbers[0]), unknown, cost, states[0])
                for state, number, following in zip(states, numbers[1:], states[1:], strict=False):
                    self.arc(state, forward_id(number), EPSILON, 0.0, following)
                self.finals[states[-1]] = self.finals[self.silence_after(states[-1])] = final

    def filler_from(self, sources: Iterable[int], cost: float) -> None:
        """Speech outside the grammar, beside the whole grammar: words of any phones, and pauses.

        A run of phones is one word ``[unk]``, which begins with a first phone, goes on with any
        number of inner ones and ends with a last; only its first phone puts the word out. All
        runs are then one and the same word, so that the decoder need not keep them apart.
        """
        again, inner = self.state(), self.state()
        pause = self.silence_after(again)
        self.finals[pause] = 0.0
        self.arc(pause, EPSILON, EPSILON, 0.0, again)
        for phone in PHONES:
            self.filler_phone((*sources, again), phone, Position.BEGIN, cost, inner)
            self.filler_phone((inner,), phone, Position.INTERNAL, cost, inner)
            self.filler_phone((inner,), phone, Position.END, cost, again)
            self.filler_phone((*sources, again), phone, Position.SINGLETON, cost, again)

    def filler_phone(
        self, sources: Iterable[int], phone: str, position: Position, cost: float, target: int
    ) -> None:
        """One phone of the filler, from the sources to the target."""
        number = phone_id(phone, position)
        first = position in {Position.BEGIN, Position.SINGLETON}
        state = self.phone_state(number)
        self.arc(state, EPSILON, EPSILON, 0.0, target)
        if position in {Position.END, Position.SINGLETON}:
            self.finals[state] = 0.0
        for source in sources:
            output = self.numbers[UNKNOWN] if first else EPSILON
            entry = self.options.filler_word_cost if first else 0.0
            self.arc(source, forward_id(number), output, cost + entry, state)
