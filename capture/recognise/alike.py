"""Phrases of one rule that sound the same, phone for phone, and mean different things.

The recogniser cannot tell such phrases apart: it would take whichever the grammar holds for the
more usual one, and a wrong value could be saved. The search follows two phrases at once through
the rule, one phone after the other, wherever words end. What is kept of their meanings is only
how they differ, so that whole families of phrases are followed as one.
"""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field

from capture.language.automaton import Automaton, meaning
from capture.language.differing import Differing, differing_after
from capture.language.meaning import intent_from
from capture.language.web import Step, Tags, Web, web_of
from capture.recognise.lexicon import Lexicon, Pronunciation

Words = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Alike:
    """Two phrases that sound the same; `core` is where their words differ.

    `differs` tells the slots in which their meanings differ, with both values (None: not set).
    """

    one: Words
    other: Words
    differs: tuple[tuple[str, int | str | None, int | str | None], ...] = ()

    @property
    def core(self) -> tuple[Words, Words]:
        """The words of both without those that they share at their beginnings and ends."""
        one, other = self.one, self.other
        while one and other and one[0] == other[0]:
            one, other = one[1:], other[1:]
        while one and other and one[-1] == other[-1]:
            one, other = one[:-1], other[:-1]
        return one, other


_ANY = -1
_MOST_WAYS = 40
"""So many different numbers said before are tried, more than any rule needs."""

_SETTING = ("call", "wrong")
Setting = tuple[tuple[str, int | str], ...]


@dataclass(frozen=True, slots=True)
class _Pair:
    """Two phrases so far: where each is, and the phones by which one is ahead of the other."""

    one: int
    other: int
    ahead: Pronunciation = ()
    one_is_ahead: bool = True
    differing: Differing = ()
    core: tuple[Words, Words] = ((), ())
    """Their words from where they begin to differ to where both have ended a word again."""
    setting: Setting = ()
    """What is said of both: a known wrong form means the same whatever number is in it."""
    root: int = _ANY
    """Where they parted, if the number said before decides whether they differ at all."""

    @property
    def is_settled(self) -> bool:
        """Whether the words have differed, and both have ended a word since."""
        return not self.ahead and self.core != ((), ())


@dataclass(frozen=True, slots=True)
class _Trace:
    """How a pair was reached: the words and tags of both since the pair before."""

    before: _Pair | None
    words: tuple[Words, Words]
    tags: tuple[Tags, Tags]


@dataclass(slots=True)
class _Search:
    web: Web
    lexicon: Lexicon
    traces: dict[_Pair, _Trace] = field(default_factory=dict)
    waiting: deque[_Pair] = field(default_factory=deque)
    ways: dict[tuple[int, Setting], list[tuple[Words, Tags]]] = field(default_factory=dict)
    begun: dict[int, dict[Pronunciation, list[tuple[Pronunciation, Step]]]] = field(
        default_factory=dict
    )

    def run(self) -> Iterator[tuple[Alike, Differing]]:
        """All pairs found, each with how its meanings differ."""
        self._find_ways()
        for (node, setting), ways in self.ways.items():
            root = _Pair(node, node, setting=setting, root=node)
            words, tags = ways[0]
            self.traces[root] = _Trace(None, (words, words), (tags, tags))
            onward = _Trace(root, ((), ()), ((), ()))
            places = {step: place for place, step in enumerate(self.web.steps[node])}
            for step, place in places.items():
                for phones in self._pronunciations(step.word):
                    for follower, rest, is_ahead in self._following(node, phones):
                        # One word said in two ways counts too: the next words even it out.
                        if places[follower] > place or (follower == step and rest):
                            self._reach(root, onward, step, follower, rest, not is_ahead)
        while self.waiting:
            pair = self.waiting.popleft()
            yield from self._ended(pair)
            self._go_on(pair)

    def _find_ways(self) -> None:
        """Words that lead to each node in each setting, shortest first, with their tags.

        Ways that differ in no number are one.
        """
        start = (self.web.start, _setting((), self.web.tags))
        waiting: deque[tuple[tuple[int, Setting], Words, Tags]] = deque()
        waiting.append((start, (), self.web.tags))
        known: dict[tuple[int, Setting], set[frozenset[tuple[str, int | str]]]] = {}
        while waiting:
            place, words, tags = waiting.popleft()
            there = known.setdefault(place, set())
            numbers = frozenset(item for item in meaning(tags).items() if isinstance(item[1], int))
            if numbers in there or len(there) >= _MOST_WAYS:
                continue
            there.add(numbers)
            self.ways.setdefault(place, []).append((words, tags))
            for step in self.web.steps[place[0]]:
                if step.word is not None:
                    onward = (step.target, _setting(place[1], step.tags))
                    waiting.append((onward, (*words, step.word), tags + step.tags))

    def _pronunciations(self, word: str | None) -> tuple[Pronunciation, ...]:
        # A word that nobody can pronounce is told elsewhere.
        return () if word is None else self.lexicon.entries.get(word, ())

    def _following(
        self, node: int, phones: Pronunciation
    ) -> Iterator[tuple[Step, Pronunciation, bool]]:
        """Words out of a node that begin as these phones do, or with which these begin.

        With what one of both has left over, and whether that is the word.
        """
        known = self.begun.get(node)
        if known is None:
            known = self.begun[node] = {}
            for step in self.web.steps[node]:
                for each in self._pronunciations(step.word):
                    for length in range(1, len(each) + 1):
                        known.setdefault(each[:length], []).append((each[length:], step))
        for length in range(1, len(phones)):
            for rest, step in known.get(phones[:length], ()):
                if not rest:
                    yield step, phones[length:], False
        for rest, step in known.get(phones, ()):
            yield step, rest, True

    def _go_on(self, pair: _Pair) -> None:
        trace = _Trace(pair, ((), ()), ((), ()))
        if pair.ahead:
            node = pair.other if pair.one_is_ahead else pair.one
            for step, rest, is_ahead in self._following(node, pair.ahead):
                if pair.one_is_ahead:
                    self._reach(pair, trace, None, step, rest, not is_ahead)
                else:
                    self._reach(pair, trace, step, None, rest, is_ahead)
            return
        if pair.one == pair.other:
            # From here on both go the same way: that shows whether the difference stays.
            for step in self.web.steps[pair.one]:
                if step.word is not None:
                    self._reach(pair, trace, step, step, (), True)
            return
        for step in self.web.steps[pair.one]:
            for phones in self._pronunciations(step.word):
                for follower, rest, is_ahead in self._following(pair.other, phones):
                    self._reach(pair, trace, step, follower, rest, not is_ahead)

    def _reach(
        self,
        pair: _Pair,
        trace: _Trace,
        one: Step | None,
        other: Step | None,
        ahead: Pronunciation,
        one_is_ahead: bool,
    ) -> None:
        words = _words_of(one), _words_of(other)
        tags = _tags_of(one), _tags_of(other)
        core = pair.core
        if not pair.is_settled and (core != ((), ()) or words[0] != words[1]):
            core = core[0] + words[0], core[1] + words[1]
        differing = differing_after(pair.differing, *tags)
        hangs_on = any(here[0] != there[0] for _, here, there in differing)
        reached = _Pair(
            pair.one if one is None else one.target,
            pair.other if other is None else other.target,
            ahead,
            one_is_ahead or not ahead,
            differing,
            core,
            _setting(pair.setting, tags[0]),
            pair.root if hangs_on else _ANY,
        )
        same = reached.one == reached.other and not reached.ahead and not reached.differing
        if reached in self.traces or same:
            return
        self.traces[reached] = _Trace(
            trace.before,
            (trace.words[0] + words[0], trace.words[1] + words[1]),
            (trace.tags[0] + tags[0], trace.tags[1] + tags[1]),
        )
        self.waiting.append(reached)

    def _ended(self, pair: _Pair) -> Iterator[tuple[Alike, Differing]]:
        if pair.ahead:
            return
        for one in self.web.ends(pair.one):
            for other in self.web.ends(pair.other):
                differing = differing_after(pair.differing, one, other)
                if not differing:
                    continue
                for words, tags in self._whole(pair):
                    differs = _meant_differently(tags[0] + one, tags[1] + other)
                    if differs:
                        yield Alike(*words, differs), differing
                        break

    def _whole(self, pair: _Pair) -> Iterator[tuple[tuple[Words, Words], tuple[Tags, Tags]]]:
        """The words and tags of both from the beginning, for each way to where they parted."""
        words: tuple[Words, Words] = ((), ())
        tags: tuple[Tags, Tags] = ((), ())
        at = pair
        while (before := self.traces[at].before) is not None:
            trace = self.traces[at]
            words = trace.words[0] + words[0], trace.words[1] + words[1]
            tags = trace.tags[0] + tags[0], trace.tags[1] + tags[1]
            at = before
        for first, begun in self.ways[at.one, at.setting]:
            yield (first + words[0], first + words[1]), (begun + tags[0], begun + tags[1])


def sound_alike(automaton: Automaton, lexicon: Lexicon) -> tuple[Alike, ...]:
    """Pairs of phrases that cannot be told apart by ear, one for each pair of differing words.

    The same words with two meanings are such a pair too, with nothing in its core. What follows
    from a shorter pair is left out. Words without a pronunciation are left out.
    """
    found: dict[object, Alike] = {}
    for alike, differing in _Search(web_of(automaton), lexicon).run():
        core = alike.core
        key = frozenset(core) if any(core) else differing
        if key not in found or len(alike.one) < len(found[key].one):
            found[key] = alike
    kept: list[Alike] = []
    for alike in sorted(found.values(), key=lambda each: len(each.core[0]) + len(each.core[1])):
        if not any(_follows(alike.core, shorter.core) for shorter in kept):
            kept.append(alike)
    return tuple(kept)


def _follows(core: tuple[Words, Words], shorter: tuple[Words, Words]) -> bool:
    """Whether a pair holds a shorter pair in its words."""
    if not any(shorter):
        return False
    one, other = shorter
    return (_holds(core[0], one) and _holds(core[1], other)) or (
        _holds(core[0], other) and _holds(core[1], one)
    )


def _holds(words: Words, part: Words) -> bool:
    return any(words[at : at + len(part)] == part for at in range(len(words) - len(part) + 1))


def _setting(before: Setting, tags: Tags) -> Setting:
    """What is known of a phrase beside its values, after some tags more."""
    found = dict(before) | {tag.slot: tag.value for tag in tags if tag.slot in _SETTING}
    return tuple(sorted(found.items()))


def _words_of(step: Step | None) -> Words:
    return () if step is None or step.word is None else (step.word,)


def _tags_of(step: Step | None) -> Tags:
    return () if step is None else step.tags


def _meant_differently(
    one: Tags, other: Tags
) -> tuple[tuple[str, int | str | None, int | str | None], ...]:
    """The slots in which two phrases end up different, if they mean different calls."""
    here, there = meaning(one), meaning(other)
    try:
        if here == there or intent_from(here) == intent_from(there):
            return ()
    except ValueError:
        # A meaning that no call has is told elsewhere.
        return ()
    return tuple(
        (slot, here.get(slot), there.get(slot))
        for slot in sorted(here.keys() | there)
        if here.get(slot) != there.get(slot)
    )
