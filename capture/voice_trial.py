"""The voice check while it runs: sound and keys in, one prompt after the other.

It hears by the same road as a visit: source, gate, thread, recogniser, doubt. One thread takes
what comes; sound and keys only post.
"""

import queue
from collections.abc import Callable
from dataclasses import dataclass

from capture.errors import CaptureError
from capture.hearing import EarIs, Hearing, Listeners, MicrophoneIs, Order, Spoken, Told, Unheard
from capture.language.grammar import LISTENING, Grammar, Parser
from capture.recognise.certainty import Certainty
from capture.screen.prompt_view import PromptView
from capture.screen.view import SoundView
from capture.sound.duplex import HalfDuplex
from capture.sound.source import MicState, Source
from capture.voice_check import MOST_TRIES, Answer, Outcome, Round, answered
from capture.voice_prompts import Prompt
from capture.wording.help import TITLES

NOTHING_HEARD_S = 10.0
"""After so much silence at a prompt there is a hint what to do. Own choice."""

_LEVEL_STEP_DB = 3
_AGAIN = "b"
_LEAVE = "q"
KEYS = "Enter leave this one out   b the one before again   q end"


@dataclass(frozen=True, slots=True)
class _Key:
    key: str


@dataclass(frozen=True, slots=True)
class _NoMoreKeys:
    pass


class VoiceTrial:
    """Leads through the prompts. `watch` takes a line an event, None where a screen shows them.

    `recorded`: the source is a recording, with one utterance for each prompt: it is not asked
    again, and it ends the trial. Raises nothing: `trouble` is why there can be no more hearing.
    """

    def __init__(
        self,
        source: Source,
        listeners: Listeners,
        prompts: tuple[Prompt, ...],
        parsers: dict[str, Parser],
        certainty: Certainty | None,
        *,
        recorded: bool = False,
        watch: Callable[[str], None] | None = None,
    ) -> None:
        self.round = Round(prompts, 1 if recorded else MOST_TRIES)
        self.wake: Callable[[], None] = lambda: None
        self.over = False
        self.trouble: CaptureError | None = None
        self._parsers = parsers
        self._certainty = certainty
        self._recorded = recorded
        self._watch = watch
        self._inputs: queue.SimpleQueue[Told | _Key | _NoMoreKeys] = queue.SimpleQueue()
        self._epoch = 0
        self._asked_at_s = 0.0
        self._last = ""
        self._last_outcome: Outcome | None = None
        self._notice = ""
        self._microphone: MicrophoneIs | None = None
        duplex = HalfDuplex(source.now_s)  # nothing is spoken here, so it is always open
        self._hearing = Hearing(source, duplex, lambda: ("", listeners), self.post)

    # What any thread may call.

    def post(self, given: Told) -> None:
        """Queue what was heard."""
        self._inputs.put(given)
        self.wake()

    def strike(self, key: str) -> None:
        """Queue a key by its name."""
        self._inputs.put(_Key(key))
        self.wake()

    def no_more_keys(self) -> None:
        """The input is closed: only a recording goes on without it."""
        self._inputs.put(_NoMoreKeys())
        self.wake()

    # What only the thread that shows calls.

    def begin(self) -> None:
        """Show the first prompt, and begin to hear."""
        self._ask()
        self._hearing.start()

    def close(self) -> None:
        """Let go of the microphone."""
        self.wake = lambda: None
        self._hearing.stop()

    def drain(self) -> None:
        """Take all that waits."""
        while not self.over:
            try:
                given = self._inputs.get_nowait()
            except queue.Empty:
                return
            self._take(given)

    def wait(self, timeout_s: float) -> None:
        """Wait for something and take it, or do what the time asks for."""
        try:
            given = self._inputs.get(timeout=timeout_s)
        except queue.Empty:
            self.tick()
            return
        self._take(given)

    def tick(self) -> None:
        """After a long silence say what can be done."""
        if not self._notice and self._hearing.now_s() - self._asked_at_s > NOTHING_HEARD_S:
            self._tell("Nothing heard yet: speak up or come nearer. Enter leaves this one out.")

    def view(self) -> PromptView:
        """What is to be seen now."""
        present = self.round.present
        meter = self._hearing.meter
        comes = self._microphone is not None and self._microphone.state is MicState.LISTENING
        return PromptView(
            number=min(len(self.round.results) + 1, len(self.round.prompts)),
            count=len(self.round.prompts),
            words="" if present is None else present.words,
            about="" if present is None else _about(present),
            last=self._last,
            outcome="" if self._last_outcome is None else self._last_outcome.value,
            notice=self._notice,
            keys=KEYS,
            sound=SoundView(
                "LISTENING" if meter.open else "WAIT",
                _LEVEL_STEP_DB * round(meter.peak_dbfs / _LEVEL_STEP_DB) if comes else None,
                self._hearing.name,
                "",
                meter.overruns,
            ),
        )

    def _take(self, given: Told | _Key | _NoMoreKeys) -> None:
        try:
            match given:
                case Spoken():
                    self._take_spoken(given)
                case Unheard(seconds):
                    self._tell(f"{seconds:.0f} s of sound came before this prompt: not heard.")
                case MicrophoneIs():
                    self._take_microphone(given)
                case EarIs(_, trouble):
                    if trouble is not None:
                        self.trouble, self.over = trouble, True
                case _Key(key):
                    self._take_key(key)
                case _NoMoreKeys():
                    if not (self._recorded or self.over):
                        self._tell("The input is closed: the check ends here.")
                        self.over = True
        finally:
            if isinstance(given, Spoken):
                given.answered.set()

    def _take_microphone(self, given: MicrophoneIs) -> None:
        before, self._microphone = self._microphone, given
        if given.state is MicState.ENDED:
            self.over = True
        elif given.trouble is not None:
            self._tell(str(given.trouble))
        elif before is not None and before.trouble is not None:
            self._tell(f"The microphone '{given.name}' is back.")

    def _take_spoken(self, spoken: Spoken) -> None:
        prompt = self.round.present
        if prompt is None or spoken.epoch != self._epoch:
            self._tell(f'Heard "{spoken.heard.text}" for the prompt before: not taken.')
            return
        answer = answered(
            prompt,
            spoken.heard,
            self._parsers[prompt.rule],
            self._certainty,
            begun_early=spoken.begun_early,
        )
        before, self.round = self.round, self.round.take(answer)
        stays = len(before.results) == len(self.round.results)
        self._last = _told(prompt, answer, stays=stays)
        self._last_outcome = answer.outcome if stays else self.round.results[-1].outcome
        if answer.outcome is Outcome.WRONG and not self._recorded:
            self._last += f" (a slip of the tongue? {_AGAIN} says it again)"
        if self._watch is not None:
            self._watch(f"    {self._last}")
        if stays and not answer.words:
            # Other speech leads to nothing: what is being said belongs to the same prompt.
            self._notice = ""
            return
        self._ask()

    def _take_key(self, key: str) -> None:
        key = key.lower()
        if key == _LEAVE:
            self.over = True
        elif key == _AGAIN:
            self.round = self.round.back()
            self._last, self._last_outcome = "The one before once more.", None
            self._ask()
        elif key == "enter":
            self.round = self.round.skip()
            self._last, self._last_outcome = "Left out.", None
            self._ask()
        else:
            self._tell(f"That key does nothing here. {KEYS}.")

    def _ask(self) -> None:
        """Show the present prompt; what is heard from now on answers it."""
        self._epoch += 1
        self._asked_at_s = self._hearing.now_s()
        self._notice = ""
        prompt = self.round.present
        if prompt is None:
            self.over = True
            self._hearing.tell(Order(self._epoch, None, self._asked_at_s))
            return
        self._hearing.tell(Order(self._epoch, prompt.rule, self._asked_at_s))
        if self._watch is not None:
            number = len(self.round.results) + 1
            again = " once more" if self.round.misses else ""
            self._watch(f"{number:2} of {len(self.round.prompts)}  say{again}: {prompt.words}")

    def _tell(self, text: str) -> None:
        self._notice = text
        if self._watch is not None:
            self._watch(f"    ! {text}")


def parsers_of(prompts: tuple[Prompt, ...], grammar: Grammar, sites: set[str]) -> dict[str, Parser]:
    """The parser of each rule that a prompt is said under."""
    return {rule: grammar.parser(rule, sites) for rule in {each.rule for each in prompts}}


def _about(prompt: Prompt) -> str:
    title = TITLES.get(prompt.rule.removeprefix(LISTENING), "")
    return title[:1].lower() + title[1:]


def _told(prompt: Prompt, answer: Answer, *, stays: bool) -> str:
    """What was heard and what a visit would make of it, in a line."""
    if not answer.words:
        again = "Say it again." if stays else f'So much for "{prompt.words}".'
        return f"heard: other speech, nothing taken. {again}"
    told = f'heard "{answer.words}" {answer.probability:.0%}: {answer.outcome.value}'
    return told if answer.right else f'{told}, not "{prompt.words}"'
