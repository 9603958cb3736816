"""The voice check: what became of each prompt, judged as a visit would judge it. Pure."""

from dataclasses import dataclass, replace
from enum import StrEnum

from capture.judgement import verdict_of
from capture.language.grammar import Parser
from capture.language.intents import NotUnderstood
from capture.recognise.certainty import Certainty, Verdict
from capture.recognise.port import UNKNOWN, Heard
from capture.road import measured, spoken_call
from capture.voice_prompts import Prompt

MOST_TRIES = 3
"""A prompt that was asked for so often is left at that. Own choice: longer, and it is no check of
two minutes any more."""


class Outcome(StrEnum):
    """What became of a prompt."""

    RIGHT = "right at once"
    """Taken as meant, and no doubt about it."""
    DOUBTFUL = "doubtful"
    """Taken, right or wrong; a visit would name the other possibility and want an explicit yes."""
    AGAIN = "asked again"
    """Nothing was taken, or not at the first time."""
    WRONG = "silently wrong"
    """Another call was taken, and nothing marked it as doubtful."""
    SKIPPED = "left out"


@dataclass(frozen=True, slots=True)
class Answer:
    """One utterance as a visit would take it.

    `words` are empty for speech outside the grammar. `probability`, 0 to 1, is that of the
    meaning. `right`: it means what the prompt does.
    """

    outcome: Outcome
    words: str
    probability: float
    right: bool


@dataclass(frozen=True, slots=True)
class Result:
    """What became of one prompt; `answer` decided it, None where nothing was said."""

    prompt: Prompt
    outcome: Outcome
    answer: Answer | None = None


def answered(
    prompt: Prompt,
    heard: Heard,
    parser: Parser,
    certainty: Certainty | None,
    *,
    begun_early: bool = False,
) -> Answer:
    """Judge an utterance; `parser` is that of the prompt's rule.

    `begun_early`: it may have begun before anybody listened. Whatever leads to no call in a visit,
    such as other speech or a number without its end, is asked for again.
    """
    words = tuple(word.text for word in heard.words)
    if not words or UNKNOWN in words:
        return Answer(Outcome.AGAIN, "", 0.0, False)
    call = spoken_call(measured(heard, parser, certainty), parser, certainty)
    call = replace(call, begun_early=begun_early)
    right = call.intent == prompt.intent
    match verdict_of(call):
        case Verdict.NORMAL if not isinstance(call.intent, NotUnderstood):
            outcome = Outcome.RIGHT if right else Outcome.WRONG
        case Verdict.DOUBTFUL if not isinstance(call.intent, NotUnderstood):
            outcome = Outcome.DOUBTFUL
        case _:
            outcome = Outcome.AGAIN
    return Answer(outcome, heard.text, call.certainty, right)


@dataclass(frozen=True, slots=True)
class Round:
    """The way through the prompts.

    `misses` counts what was not taken for the present prompt, of at most `tries`. `retaken`
    counts the prompts that were said once more on request, such as after a slip of the tongue.
    """

    prompts: tuple[Prompt, ...]
    tries: int = MOST_TRIES
    results: tuple[Result, ...] = ()
    misses: int = 0
    retaken: int = 0

    @property
    def present(self) -> Prompt | None:
        """The prompt that is to be said, None at the end."""
        done = len(self.results)
        return self.prompts[done] if done < len(self.prompts) else None

    def take(self, answer: Answer) -> "Round":
        """After an utterance: the same prompt where a visit would ask again, or the next."""
        misses = self.misses + 1
        if answer.outcome is Outcome.AGAIN and misses < self.tries:
            return replace(self, misses=misses)
        # What had to be said twice was not taken at once, however well it went then.
        kept = {Outcome.RIGHT, Outcome.DOUBTFUL} if self.misses else set()
        outcome = Outcome.AGAIN if answer.outcome in kept else answer.outcome
        return self._next(outcome, answer)

    def skip(self) -> "Round":
        """Leave the present prompt out; if it was spoken in vain, that is what counts."""
        return self._next(Outcome.AGAIN if self.misses else Outcome.SKIPPED, None)

    def back(self) -> "Round":
        """Say the one before once more; what was heard is taken back."""
        if not self.results:
            return replace(self, misses=0)
        again = self.results[-1].outcome is not Outcome.SKIPPED
        return replace(self, results=self.results[:-1], misses=0, retaken=self.retaken + int(again))

    def _next(self, outcome: Outcome, answer: Answer | None) -> "Round":
        prompt = self.present
        if prompt is None:
            return self
        return replace(self, results=(*self.results, Result(prompt, outcome, answer)), misses=0)
