"""The one road of an utterance: heard or keyed, understood, stepped, recorded, then announced.

The road knows its ports only by their shape. One thread walks it; sound and keys reach it
through that thread's queue.
"""

from collections.abc import Callable
from typing import Protocol

from capture.language.grammar import LISTENING, Grammar, Parser, understand
from capture.language.intents import Intent
from capture.recognise.port import UNKNOWN, Heard
from capture.visit.announcement import Announcement
from capture.visit.call import Call, Rival
from capture.visit.course import listening_rule
from capture.visit.entry import Entry, Source
from capture.visit.machine import Record, Say, opening, step
from capture.visit.state import Visit


class Journal(Protocol):
    """Where entries go. `append` returns only when the entry is durable."""

    def append(self, entry: Entry) -> None:
        """Add one entry at the end."""
        ...


class Audience(Protocol):
    """Who is told: the screen and the voice."""

    def heard(self, call: Call) -> None:
        """A call came in; it has not been taken yet."""
        ...

    def ignored(self, heard: Heard) -> None:
        """Speech that is no call, such as other people talking; nothing was taken."""
        ...

    def said(self, announcement: Announcement, visit: Visit) -> None:
        """The program announces this; `visit` is the state after the call."""
        ...


class Road:
    """Carries calls through one visit.

    `now` gives the time as ISO 8601 with offset.
    """

    def __init__(
        self,
        visit: Visit,
        grammar: Grammar,
        journal: Journal,
        audience: Audience,
        now: Callable[[], str],
    ) -> None:
        self.visit = visit
        self._grammar = grammar
        self._journal = journal
        self._audience = audience
        self._now = now
        self._parsers: dict[str, Parser] = {}

    @property
    def listening(self) -> str | None:
        """The full name of the rule that is listened for now, None when the visit is closed."""
        rule = listening_rule(self.visit)
        return None if rule is None else LISTENING + rule

    def open(self) -> None:
        """Announce where the visit stands."""
        for effect in opening(self.visit):
            if isinstance(effect, Say):
                self._audience.said(effect.announcement, self.visit)

    def hear(self, heard: Heard) -> None:
        """Take an utterance. Speech outside the grammar leads to nothing."""
        words = tuple(word.text for word in heard.words)
        rule = self.listening
        if rule is None or not words or UNKNOWN in words:
            self._audience.ignored(heard)
            return
        parser = self._parser(rule)
        rivals = tuple(
            Rival(rival.text, rival.confidence, understand(parser, rival.words))
            for rival in heard.alternatives
            if rival.words and UNKNOWN not in rival.words
        )
        intent = understand(parser, words)
        self._take(Call(intent, Source.VOICE, heard.text, heard.confidence, rivals))

    def key(self, intent: Intent, keys: str) -> None:
        """Take a keyed intent; `keys` is what was struck, for the journal."""
        self._take(Call(intent, Source.KEYPAD, keys))

    def _take(self, call: Call) -> None:
        self._audience.heard(call)
        after, effects = step(self.visit, call, self._now())
        for effect in effects:
            if isinstance(effect, Record):
                self._journal.append(effect.entry)
        # Only what the journal holds is true: a failed write above leaves the visit as it was.
        self.visit = after
        for effect in effects:
            if isinstance(effect, Say):
                self._audience.said(effect.announcement, self.visit)

    def _parser(self, rule: str) -> Parser:
        if rule not in self._parsers:
            sites = {site.id for site in self.visit.plan.protocol.sites}
            self._parsers[rule] = self._grammar.parser(rule, sites)
        return self._parsers[rule]
