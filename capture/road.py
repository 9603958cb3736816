"""The one road of an utterance: heard or keyed, understood, stepped, recorded, then announced.

The road knows its ports only by their shape. One thread walks it; sound and keys reach it
through that thread's queue.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import Protocol

from capture.language.grammar import LISTENING, Grammar, Parser, understand
from capture.language.intents import Correct, Intent, NotUnderstood, Reading, Remark
from capture.protocol.plausibility import Limits
from capture.recognise.certainty import Certainty, calibrated
from capture.recognise.port import UNKNOWN, Heard
from capture.visit.announcement import Announcement
from capture.visit.call import Call, Rival
from capture.visit.course import listening_rule
from capture.visit.entry import Entry, Source
from capture.visit.machine import Record, Say, opening, step
from capture.visit.state import Visit

CAREFUL = Limits(normal_from=0.98, again_below=0.5, sure_from=0.98)
"""Without a measured certainty: the decoder's own confidence is nearly always higher than it
should be. Own choice, no source."""

LATEST_YES_S = 30.0
"""A spoken "yes" that comes later after its question is not taken for the answer. Own choice, no
source: a read-back is answered within a few seconds, and other people say yes too."""


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

    `now` gives the time as ISO 8601 with offset. `certainty` gives the probability that an
    utterance was heard right; None for a language pack or a model without one.
    """

    def __init__(
        self,
        visit: Visit,
        grammar: Grammar,
        journal: Journal,
        audience: Audience,
        now: Callable[[], str],
        certainty: Certainty | None = None,
    ) -> None:
        self.visit = visit
        self._grammar = grammar
        self._journal = journal
        self._audience = audience
        self._now = now
        self._certainty = certainty

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

    def hear(
        self,
        heard: Heard,
        waited_s: float = 0.0,
        dwell_s: float | None = None,
        *,
        begun_early: bool = False,
    ) -> None:
        """Take an utterance. Speech outside the grammar leads to nothing.

        `waited_s` is how long after its question it began, `dwell_s` how long after the cue that
        the jaws are on; `begun_early`: its first words may be missing.
        """
        words = tuple(word.text for word in heard.words)
        rule = self.listening
        if self.visit.noting and UNKNOWN in words:
            # Whatever is said after "make a note" is the note; of its words nothing is known.
            self._take(Call(Remark(""), Source.VOICE, heard.text, heard.confidence))
            return
        if rule is None or not words or UNKNOWN in words:
            self._audience.ignored(heard)
            return
        parser = self._parser(rule)
        call = spoken_call(measured(heard, parser, self._certainty), parser, self._certainty)
        self._take(
            replace(
                call,
                late=waited_s > LATEST_YES_S,
                dwell_s=_dwell(call.intent, dwell_s),
                begun_early=begun_early,
            )
        )

    def key(self, intent: Intent, keys: str, dwell_s: float | None = None) -> None:
        """Take a keyed intent; `keys` is what was struck, for the journal."""
        self._take(Call(intent, Source.KEYPAD, keys, dwell_s=_dwell(intent, dwell_s)))

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
        return self._grammar.parser(rule, {site.id for site in self.visit.plan.protocol.sites})


def _dwell(intent: Intent | NotUnderstood, dwell_s: float | None) -> float | None:
    """The dwell in tenths of a second, for a call that gives a caliper's value; None for others."""
    if dwell_s is None or not isinstance(intent, Reading | Correct):
        return None
    return round(dwell_s, 1)


def measured(heard: Heard, parser: Parser, certainty: Certainty | None) -> Heard:
    """The utterance with the probabilities that were measured, where there are any."""
    if certainty is None:
        return heard
    return calibrated(heard, lambda said: understand(parser, said), certainty)


def spoken_call(heard: Heard, parser: Parser, certainty: Certainty | None) -> Call:
    """The call that a `measured` utterance of the grammar makes, with the limits for it."""
    limits = CAREFUL
    if certainty is not None:
        limits = Limits(certainty.normal_from, certainty.again_below, certainty.sure_from)
    intent = understand(parser, [word.text for word in heard.words])
    rivals = tuple(
        Rival(rival.text, rival.confidence, understand(parser, rival.words))
        for rival in heard.alternatives
        if rival.words and UNKNOWN not in rival.words
    )
    return Call(intent, Source.VOICE, heard.text, heard.confidence, rivals, limits)
