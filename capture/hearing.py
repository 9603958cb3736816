"""The thread that hears: sound through the gate into the recogniser, utterances out.

It knows nothing of the visit. Before each utterance counts, the session's order says from which
moment on sound may be used; older sound is forgotten, so that no word reaches a question that
its speaker had not heard.
"""

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

from capture.errors import CaptureError
from capture.recognise.port import Heard, Recogniser
from capture.sound.duplex import Admission, HalfDuplex
from capture.sound.kept import CallSound, Trail
from capture.sound.onset import Onset
from capture.sound.samples import QUIETEST_DBFS
from capture.sound.source import Block, MicState, Source

WAIT_S = 0.25
"""How long the thread waits for a block before it looks whether it shall stop."""

ANSWER_S = 5.0
"""How long it holds the next sound back until the session has taken an utterance."""


UNHEARD_S = 1.0
"""From so much sound on it is told that it was not listened to: a word may have been in it. A
machine that keeps up is never so far behind."""

STEADY_DB = 3.0
"""A level that changes by less is shown as it was: the hiss of a room is not worth drawing."""


@dataclass(frozen=True, slots=True)
class Order:
    """What to listen for. `epoch` rises with each change; `rule` is None to listen for nothing.

    Sound captured before `since_s`, on the clock of the source, is not used.
    """

    epoch: int
    rule: str | None
    since_s: float


@dataclass(frozen=True, slots=True)
class Spoken:
    """An utterance, all of it heard under the order of `epoch`. `answered`: the session took it.

    `sound` is None unless the sound of calls is kept. `begun_early`: it may have begun before
    anybody listened, so that its first words may be missing.
    """

    heard: Heard
    epoch: int
    began_at_s: float
    sound: CallSound | None = None
    begun_early: bool = False
    answered: threading.Event = field(default_factory=threading.Event, compare=False)


@dataclass(frozen=True, slots=True)
class Unheard:
    """So much sound was not listened to, because it is older than the present question."""

    seconds: float


@dataclass(frozen=True, slots=True)
class MicrophoneIs:
    """The microphone came, went or fell silent; `trouble` says why, with a hint."""

    state: MicState
    name: str
    trouble: CaptureError | None


@dataclass(frozen=True, slots=True)
class EarIs:
    """The recogniser is ready, or cannot be used: then the keypad is all there is."""

    name: str
    trouble: CaptureError | None = None


Told = Spoken | Unheard | MicrophoneIs | EarIs


@dataclass(slots=True)
class Meter:
    """Figures for the screen. One thread writes, another reads; each is one value."""

    peak_dbfs: float = QUIETEST_DBFS
    overruns: int = 0
    open: bool = False
    """Whether what is said now would be heard."""


class Listeners(Protocol):
    """Makes recognisers for a rate and a rule."""

    def listener(self, rate_hz: int, rule: str) -> Recogniser:
        """A recogniser that begins by listening for a rule."""
        ...


class Hearing:
    """Sound in, utterances out, in a thread of its own.

    `load` gives the recognisers; it runs in the thread, because a model takes a second. `post`
    hands over what was found; it must only queue. With `hand_over_sound` each utterance has its
    sound with it.
    """

    def __init__(
        self,
        source: Source,
        duplex: HalfDuplex,
        load: Callable[[], tuple[str, Listeners]],
        post: Callable[[Told], None],
        *,
        hand_over_sound: bool = False,
    ) -> None:
        self.meter = Meter()
        self._trail = Trail() if hand_over_sound else None
        self._onset = Onset()
        self._source = source
        self._duplex = duplex
        self._load = load
        self._post = post
        self._order = Order(0, None, 0.0)
        self._epoch = -1
        self._recogniser: Recogniser | None = None
        self._fed_s = 0.0
        self._fed_until_s = 0.0
        self._opened_at_fed_s = 0.0
        self._unheard_s = 0.0
        self._told: tuple[MicState, str] | None = None
        self._stopped = threading.Event()
        self._thread: threading.Thread | None = None

    @property
    def name(self) -> str:
        """The microphone."""
        return self._source.name

    def now_s(self) -> float:
        """The clock that orders go by."""
        return self._source.now_s()

    def tell(self, order: Order) -> None:
        """Listen for this from now on. Called from the session's thread."""
        self._order = order

    def start(self) -> None:
        """Begin to hear."""
        self._thread = threading.Thread(target=self.run, name="hearing", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Hear no more, and let go of the microphone."""
        self._stopped.set()
        if self._thread is not None:
            self._thread.join(2.0)
        self._source.close()

    def run(self) -> None:
        """Hear until stopped or until the recording is over."""
        try:
            name, listeners = self._load()
        except CaptureError as error:
            self._post(EarIs("", error))
            return
        self._post(EarIs(name))
        try:
            self._hear(listeners)
        except CaptureError as error:
            self._post(EarIs("", error))
        except Exception as error:
            # A thread that dies in silence would look like a quiet room.
            fault = CaptureError(
                f"Listening has ended by a fault ({type(error).__name__}).",
                "Go on by keypad; start again to listen again.",
            )
            self._post(EarIs("", fault))

    def _hear(self, listeners: Listeners) -> None:
        while not self._stopped.is_set():
            block = self._source.get(WAIT_S)
            self._watch()
            if block is not None:
                self._take(block, listeners)
            elif self._source.state is MicState.ENDED:
                self._tell_unheard()
                self._hand_over(self._recogniser.finish() if self._recogniser else None)
                self._tell_state()
                return

    def _watch(self) -> None:
        self.meter.overruns = self._source.overruns
        if self._source.state is not MicState.ENDED:
            self._tell_state()

    def _tell_state(self) -> None:
        """Tell once when the microphone changes; the end of a recording last of all."""
        trouble = self._source.trouble
        told = (self._source.state, "" if trouble is None else trouble.message)
        if told != self._told:
            self._told = told
            self._post(MicrophoneIs(self._source.state, self._source.name, trouble))
        if self._source.state is MicState.DEAF:
            self.meter.peak_dbfs, self.meter.open = QUIETEST_DBFS, False

    def _tell_unheard(self) -> None:
        """No sound is left out in silence: whoever spoke meanwhile must know."""
        if self._unheard_s >= UNHEARD_S:
            self._post(Unheard(self._unheard_s))
        self._unheard_s = 0.0

    def _take(self, block: Block, listeners: Listeners) -> None:
        if abs(block.peak_dbfs - self.meter.peak_dbfs) >= STEADY_DB:
            self.meter.peak_dbfs = block.peak_dbfs
        order = self._order
        admitted = self._duplex.admit(block)
        usable = order.rule is not None and block.captured_at_s >= order.since_s
        if order.rule is not None and not usable and admitted is not Admission.DROP:
            self._unheard_s += block.duration_s
        elif usable:
            self._tell_unheard()
        self.meter.open = usable and admitted is not Admission.DROP
        if admitted is Admission.DROP:
            self._onset.blind(block.duration_s)
            return
        if block.damaged:
            self._onset.blind(0.0)
        if order.rule is not None and usable:
            self._feed(block, order.rule, listeners, anew=self._opens(order, admitted, block))
        else:
            self._onset.watch(block.duration_s, block.level_dbfs)

    def _opens(self, order: Order, admitted: Admission, block: Block) -> bool:
        """Whether nothing from before this block may be used with it."""
        before, self._epoch = self._epoch, order.epoch
        return order.epoch != before or admitted is Admission.FIRST or block.damaged

    def _feed(self, block: Block, rule: str, listeners: Listeners, *, anew: bool) -> None:
        recogniser = self._recogniser
        if recogniser is None or recogniser.sample_rate_hz != block.rate_hz:
            recogniser = self._recogniser = listeners.listener(block.rate_hz, rule)
            self._fed_s, anew = 0.0, True
        if anew:
            # What was half heard belongs to another question, to the program's own voice, or
            # has a hole in it. Nobody may be taken at half a word.
            recogniser.listen(rule)
            recogniser.reset()
            self._onset.opened()
            self._opened_at_fed_s = self._fed_s
            if self._trail is not None:
                self._trail.clear()
        self._onset.watch(block.duration_s, block.level_dbfs)
        self._fed_s += block.duration_s
        self._fed_until_s = block.ends_at_s
        if self._trail is not None:
            self._trail.add(block.sound, block.rate_hz)
        self._hand_over(recogniser.feed(block.sound))

    def _hand_over(self, heard: Heard | None) -> None:
        if heard is None:
            return
        # An utterance is fed without a gap, so its place in the fed sound gives its time.
        before_end_s = self._fed_s - heard.start_s
        began_at_s = self._fed_until_s - before_end_s
        sound = None
        if self._trail is not None:
            sound = self._trail.cut(before_end_s, heard.end_s - heard.start_s)
        begun_early = self._onset.begun_early(heard.start_s - self._opened_at_fed_s)
        self._onset.taken()
        spoken = Spoken(heard, self._epoch, began_at_s, sound, begun_early)
        self._post(spoken)
        # The next sound waits for the answer: it may belong to the next question.
        for _ in range(round(ANSWER_S / WAIT_S)):
            if spoken.answered.wait(WAIT_S) or self._stopped.is_set():
                return
