"""A live visit: one queue of inputs, and one consumer that walks the road.

Microphone, voice and keys only post. The thread that calls `drain` is the only one that touches
the visit and the store. The session owns the order of things: what was spoken or struck before
the present question was there is not taken for an answer to it.
"""

import queue
import time
from collections.abc import Callable, Sequence

from capture.dwell import Dwell, told
from capture.errors import CaptureError
from capture.events import Events
from capture.hearing import EarIs, MicrophoneIs, Order, Spoken, Unheard
from capture.inputs import (
    Ear,
    Input,
    KeyStruck,
    Line,
    NoEar,
    Trouble,
    Understand,
    Watcher,
    Wording,
)
from capture.keyboard import Keyboard
from capture.language.intents import JawsOn, NotUnderstood, Remark, Stop
from capture.preferences import USUAL, Preferences
from capture.road import Audience, Road
from capture.screen.keymap import Action, Bindings
from capture.screen.view import Standing
from capture.shown import Shown, cue_for
from capture.sound.cues import Cue
from capture.sound.kept import CallSound
from capture.sound.voice import Voice
from capture.sound_news import SoundNews
from capture.standstill import Standstill
from capture.switches import Switched, Switches, help_told
from capture.talking import Talk
from capture.turns import Turns
from capture.typed import typed
from capture.visit.course import question
from capture.visit.state import Visit


class Session:
    """Takes inputs one at a time, in their order.

    `clock_s` gives seconds that only rise, `wall_s` those of the wall's clock. With push to talk
    among the `preferences` nothing is listened to until the talk key. `keep` is given the number
    of a spoken entry that is on the disk with its sound. Whoever runs the session may put in place
    his own `wake`, called after each `post` from any thread, and an `ear`.
    """

    def __init__(
        self,
        road: Callable[[Audience], Road],
        wording: Wording,
        voice: Voice,
        bindings: Bindings,
        clock_s: Callable[[], float],
        *,
        understand: Understand,
        watcher: Watcher | None = None,
        preferences: Preferences = USUAL,
        wall_s: Callable[[], float] = time.time,
        keep: Callable[[int, CallSound], None] = lambda _number, _sound: None,
    ) -> None:
        self.shown = Shown()
        self.wake: Callable[[], None] = lambda: None
        self.voice = voice
        self.ear: Ear = NoEar()
        self.status: Callable[[], Sequence[str]] = tuple
        self.over = False
        self.preferences = preferences
        self.bindings = bindings
        self.turns = Turns()
        self.dwell = Dwell()
        self._inputs: queue.SimpleQueue[Input] = queue.SimpleQueue()
        self._events = Events(self.shown, wording, watcher)
        self._clock_s = clock_s
        self._wall_s = wall_s
        self._understand = understand
        self._keep = keep
        self._switches = Switches(
            self.shown, bindings, Talk(preferences.push_to_talk, preferences.talk_s)
        )
        self._keyboard = Keyboard(self.turns, self.shown)
        self._sound = SoundNews(self.shown)
        self._standstill = Standstill()
        self.road = road(self._events)

    @property
    def visit(self) -> Visit:
        """The visit as the journal has it."""
        return self.road.visit

    @property
    def talk(self) -> Talk:
        """Push to talk."""
        return self._switches.talk

    # What any thread may call.

    def post(self, given: Input) -> None:
        """Queue an input."""
        self._inputs.put(given)
        self.wake()

    def report(self, error: CaptureError) -> None:
        """Queue a trouble; the voice's `report`."""
        self.post(Trouble(error))

    # What only the session's thread calls.

    def strike(self, key: str) -> None:
        """Queue a key, marked with what its striker could have seen."""
        self.post(KeyStruck(key, self.turns.spoken))

    def type(self, text: str) -> None:
        """Queue a typed line. May be called from any thread."""
        self.post(Line(text, self.turns.spoken))

    def open(self) -> None:
        """Announce where the visit stands, and begin to listen."""
        self._standstill.look(self._wall_s())
        self._ask_anew()

    def drain(self) -> None:
        """Take all that waits."""
        while True:
            try:
                given = self._inputs.get_nowait()
            except queue.Empty:
                return
            self._take(given)

    @property
    def idle(self) -> bool:
        """Whether nothing waits."""
        return self._inputs.empty()

    def _look_at_the_clock(self) -> None:
        """After the machine slept or stood still the question is asked anew.

        What was said or heard before is then for an earlier question.
        """
        if self._standstill.look(self._wall_s()):
            self.dwell = Dwell()
            self._ask_anew()
            self.notice("The machine stood still. Look: nothing that was said before counts.")

    def _ask_anew(self) -> None:
        self._events.begin()
        self.road.open()
        self._stepped()

    def warn(self, text: str) -> None:
        """Show a warning until another takes its place; an empty one when all is well again."""
        if text != self.shown.warning:
            self.shown.warning = text
            self.notice(text or "The store can be written again: all calls are in it.")

    def wait(self, timeout_s: float) -> None:
        """Wait for one input and take it, or do what is due."""
        try:
            given = self._inputs.get(timeout=timeout_s)
        except queue.Empty:
            self.tick()
            return
        self._take(given)
        self.drain()

    def tick(self) -> None:
        """Do what the time asks for: the dwell tone, the end of push to talk."""
        self._look_at_the_clock()
        now_s = self._clock_s()
        if self.dwell.tone_due(now_s):
            self.dwell = self.dwell.sounded()
            self.voice.sound(Cue.DWELL)
        self.dwell = self.dwell.at(now_s)
        self._do(self._switches.tick(now_s))

    @property
    def listens(self) -> bool:
        """Whether speech is wanted now."""
        return self.talk.open and not self.shown.muted and self.road.listening is not None

    @property
    def now_s(self) -> float:
        """The session's clock."""
        return self._clock_s()

    @property
    def speaking(self) -> bool:
        """Whether the voice is speaking."""
        return self.voice.speaking

    # Inputs.

    def _take(self, given: Input) -> None:
        self._look_at_the_clock()
        try:
            match given:
                case KeyStruck():
                    self._take_key(given)
                case Spoken():
                    self._take_spoken(given)
                case Line():
                    self._take_line(given)
                case Unheard(seconds):
                    self.notice(f"{seconds:.0f} s of sound came before this question: not heard.")
                case Trouble(error):
                    self._tell(self._sound.trouble(error))
                case MicrophoneIs():
                    self._tell(self._sound.microphone(given))
                case EarIs():
                    self._tell(self._sound.ear(given))
        finally:
            if isinstance(given, Spoken):
                given.answered.set()

    def _take_spoken(self, spoken: Spoken) -> None:
        if self._withdraws(spoken):
            # A client's stop comes before everything: half typed values, an earlier question.
            self._keyboard.drop()
        elif spoken.epoch != self.turns.epoch or not self.listens:
            self.notice(f'Heard "{spoken.heard.text}" for an earlier question: not taken.')
            return
        elif self.shown.entry.is_open:
            self.notice(f'Heard "{spoken.heard.text}" while keys are being struck: not taken.')
            return
        waited_s = spoken.began_at_s - self.turns.asked_at_s
        dwell_s = self.dwell.took_s(spoken.began_at_s)
        entry = self.visit.sequence + 1
        self._walk(
            lambda: self.road.hear(spoken.heard, waited_s, dwell_s, begun_early=spoken.begun_early)
        )
        if spoken.sound is not None and self.visit.sequence >= entry:
            # The entry is on the disk and announced: nothing waits for its sound.
            self._keep(entry, spoken.sound)
        called = self._events.called
        if called is None:
            return
        if isinstance(called.intent, JawsOn):
            if called.is_clear and self.preferences.dwell:
                self.dwell = Dwell(spoken.began_at_s)
            return
        self.turns.took_spoken(self._clock_s())
        if isinstance(called.intent, Remark) and spoken.sound is None:
            key = "".join(self.bindings.keys(Action.NOTE)[:1])
            self.notice(f"The sound of the note is not kept: type it ({key}).")

    def _withdraws(self, spoken: Spoken) -> bool:
        """Whether a permission is withdrawn by what was said."""
        rule = None if self.shown.muted else self.road.listening
        return rule is not None and isinstance(self._understand(rule, spoken.heard.text), Stop)

    def _take_key(self, struck: KeyStruck) -> None:
        now_s = self._clock_s()
        stroke = self._keyboard.strike(struck, self.bindings, self.visit, now_s)
        self.shown.notice = ""
        self._tell(stroke.notice)
        intent = stroke.intent
        if stroke.action is not None:
            self._act(stroke.action)
        elif stroke.phrase is not None:
            self._take_phrase(stroke.phrase)
        elif isinstance(intent, JawsOn):
            self._jaws_on(now_s, lambda: self.road.key(JawsOn(), stroke.keys))
        elif intent is not None:
            self.voice.stop()
            dwell_s = self.dwell.took_s(stroke.began_at_s)
            self._walk(lambda: self.road.key(intent, stroke.keys, dwell_s))
        elif stroke.changed:
            # Hands are at the keys: the voice stops, and what is being said is not taken.
            self.voice.stop()
            self._listen()
        if stroke.changed:
            self._events.tell_list(self.visit)

    def _take_line(self, line: Line) -> None:
        found = typed(line.text, self.shown.entry, self.bindings, self.visit)
        if found.status:
            for each in self.status():
                self.notice(each)
        elif found.note is not None:
            self._take_note(found.note)
        elif found.phrase is not None:
            self._take_phrase(found.phrase)
        if found.entry is not None:
            self.shown.entry = found.entry
        for key in found.keys:
            self._take_key(KeyStruck(key, line.seen))

    def _take_note(self, text: str) -> None:
        self._keyboard.drop()
        if text:
            self.voice.stop()
            self._walk(lambda: self.road.key(Remark(text), "note"))

    def _take_phrase(self, text: str) -> None:
        rule = self.road.listening
        meant = None if rule is None else self._understand(rule, text)
        if meant is None or isinstance(meant, NotUnderstood):
            self.notice(f'"{text}" is no call here. F1 or ? shows the keys.')
            return
        self.voice.stop()
        now_s = self._clock_s()
        if isinstance(meant, JawsOn):
            self._jaws_on(now_s, lambda: self.road.key(meant, text))
            return
        dwell_s = self.dwell.took_s(now_s)
        self._walk(lambda: self.road.key(meant, text, dwell_s))

    def _act(self, action: Action) -> None:
        if action is Action.HELP and self._events.is_watched:
            self._events.tell(help_told(self.bindings, self.visit))
            return
        signed = self.visit.signed_at is not None
        self._do(self._switches.press(action, self._clock_s(), signed=signed))

    def _do(self, switched: Switched) -> None:
        self._tell(switched.notice)
        self.over = self.over or switched.over
        if switched.asks:
            self.turns.asked_at_s = self.ear.now_s()
        if switched.hush:
            self.voice.stop()
        if switched.listen:
            self._listen()

    def _jaws_on(self, at_s: float, step: Callable[[], None]) -> None:
        """The time to the call counts from here, if the cue is wanted and was heard clearly."""
        if not self.preferences.dwell:
            self.notice("The dwell cue is switched off in the settings.")
            return
        self._walk(step)
        called = self._events.called
        if called is not None and called.is_clear:
            self.dwell = Dwell(at_s)

    def _walk(self, step: Callable[[], None]) -> None:
        """Let the road take a call, and announce what comes of it."""
        self._events.begin()
        self.shown.notice = ""
        try:
            step()
        except CaptureError as error:
            # The road changes nothing that the journal does not hold.
            self.shown.standing, self.shown.about = Standing.FAILED, None
            self.notice(f"NOT SAVED: {error}")
            self.voice.sound(Cue.ERROR)
            self._listen()
            return
        called = self._events.called
        if called is None or isinstance(called.intent, JawsOn):
            # Nothing was taken that answers: what is being said belongs to the same question.
            return
        self._stepped()
        if called.dwell_s is not None:
            self.dwell = Dwell()
            self.notice(told(called.dwell_s))

    def _stepped(self) -> None:
        """After each step: what is heard from now on answers the new question."""
        said, words = self._events.announced, self._events.words
        self.shown.stepped(question(self.visit), said, words)
        self.turns.stepped(self._clock_s(), self.ear.now_s())
        self._switches.talk = self.talk.called()
        if said:
            opens = Cue.LISTENING if self.listens else None
            self.voice.say(" ".join(words), cue_for(said), opens)
        self._events.tell_list(self.visit)
        self._listen()

    def _listen(self) -> None:
        self.turns.epoch += 1
        rule = self.road.listening if self.listens else None
        self.ear.tell(Order(self.turns.epoch, rule, self.ear.now_s()))

    def _tell(self, text: str) -> None:
        if text:
            self.notice(text)

    def notice(self, text: str) -> None:
        """Show a line about something other than a call."""
        self._events.notice(text)
