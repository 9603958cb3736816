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
from capture.language.intents import JawsOn, NotUnderstood, Remark, Stop
from capture.preferences import USUAL, Preferences
from capture.protocol.pictures import text_lines
from capture.recognise.port import Heard
from capture.road import Road
from capture.screen.keymap import Action, Bindings, help_pages
from capture.screen.keypad import Entry, Pressed, press
from capture.screen.view import Standing
from capture.shown import Shown, cue_for, standing_of
from capture.sound.cues import Cue
from capture.sound.kept import CallSound
from capture.sound.source import MicState
from capture.sound.voice import Voice
from capture.talking import Talk
from capture.turns import Turns
from capture.typed import typed
from capture.visit.announcement import Announcement
from capture.visit.call import Call
from capture.visit.course import question
from capture.visit.entry import Source
from capture.visit.setups import site_at_hand
from capture.visit.state import Visit
from capture.wording.lists import menu_words

STOOD_STILL_S = 30.0
"""Nothing was looked at for so long: the machine slept, or had no time for this. Own choice, no
source; the usual wait between two looks is a tenth of a second."""

LEAVE_S = 4.0
"""The second stroke that leaves must come within this."""


class Session:
    """Takes inputs one at a time, in their order.

    `clock_s` gives seconds that only rise, `wall_s` those of the wall's clock. With push to talk
    among the `preferences` nothing is listened to until the talk key. `stepped` is told of each
    state that the visit comes to, `keep` is given the number of a spoken entry that is on the disk
    with its sound. Whoever runs the session may put in place his own `wake`, called after each
    `post` from any thread, and an `ear`.
    """

    def __init__(
        self,
        road: Callable[["Session"], Road],
        wording: Wording,
        voice: Voice,
        bindings: Bindings,
        clock_s: Callable[[], float],
        *,
        understand: Understand,
        watcher: Watcher | None = None,
        preferences: Preferences = USUAL,
        wall_s: Callable[[], float] = time.time,
        stepped: Callable[[Visit], None] = lambda _: None,
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
        self.talk = Talk(preferences.push_to_talk, preferences.talk_s)
        self.dwell = Dwell()
        self._inputs: queue.SimpleQueue[Input] = queue.SimpleQueue()
        self._wording = wording
        self._clock_s = clock_s
        self._wall_s = wall_s
        self._watcher = watcher
        self._understand = understand
        self._after_step = stepped
        self._keep = keep
        self._leave_before_s = 0.0
        self._seen_at_s: float | None = None
        self._lost_sound = False
        self._struck: list[str] = []
        self._struck_at_s = 0.0
        self._said: list[Announcement] = []
        self._called: Call | None = None
        self.road = road(self)

    @property
    def visit(self) -> Visit:
        """The visit as the journal has it."""
        return self.road.visit

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
        self._seen_at_s = self._wall_s()
        self._said = []
        self.road.open()
        self._stepped()

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

        The time is that of the wall: the clock that only rises may stand still as well. What was
        said or heard before is then for an earlier question.
        """
        now_s, before_s = self._wall_s(), self._seen_at_s
        self._seen_at_s = now_s
        if before_s is None or abs(now_s - before_s) < STOOD_STILL_S:
            return
        self.dwell = Dwell()
        self._said = []
        self.road.open()
        self._stepped()
        self.notice("The machine stood still. Look: nothing that was said before counts.")

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
        before, self.talk = self.talk, self.talk.at(now_s)
        if before.open and not self.talk.open:
            self.notice("The talk key listened long enough.")
            self._listen()
        if self.shown.leaving and now_s >= self._leave_before_s:
            self.shown.leaving = False

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

    # The road's audience.

    def heard(self, call: Call) -> None:
        """Show a call that came in."""
        self._called = call
        sure = "" if call.confidence is None else f" ({call.confidence:.0%})"
        came = "heard" if call.source is Source.VOICE else "keyed"
        self.shown.heard = f"{came}: {call.words}{sure}"
        self.shown.note(self.shown.heard)
        if self._watcher is not None:
            self._watcher.heard(call)

    def ignored(self, heard: Heard) -> None:
        """Other speech: nothing is taken."""
        self.shown.heard = "heard: other speech, nothing taken"
        if self._watcher is not None:
            self._watcher.ignored(heard)

    def said(self, announcement: Announcement, visit: Visit) -> None:
        """Collect what one step says; it is spoken as one."""
        self._said.append(announcement)
        self.shown.note(self._wording.say(announcement))
        if self._watcher is not None:
            self._watcher.said(announcement, visit)

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
                    self.notice(str(error))
                case MicrophoneIs():
                    self._take_microphone(given)
                case EarIs(name, trouble):
                    self.shown.recogniser, self.shown.ear_trouble = name, trouble
                    if trouble is not None:
                        self.notice(f"Keypad only: {trouble}")
        finally:
            if isinstance(given, Spoken):
                given.answered.set()

    def _take_microphone(self, given: MicrophoneIs) -> None:
        self.shown.microphone = given
        if given.trouble is not None:
            self._lost_sound = True
            self.notice(str(given.trouble))
        elif given.state is MicState.LISTENING and self._lost_sound:
            self._lost_sound = False
            self.notice(f"The microphone '{given.name}' is back.")
        elif given.state is MicState.ENDED:
            self.notice("The recording is over. The keypad goes on.")

    def _take_spoken(self, spoken: Spoken) -> None:
        if self._withdraws(spoken):
            # A client's stop comes before everything: half typed values, an earlier question.
            self.shown.entry = Entry()
            self._struck.clear()
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
        called = self._called
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
        before = self.shown.entry
        if self.bindings.action(struck.key) is Action.DWELL and not before.is_text:
            # It answers nothing, so that it can meet nothing.
            self._jaws_on(now_s, lambda: self.road.key(JawsOn(), struck.key))
            return
        if self.turns.meets_call(struck.seen, now_s):
            # The rest of a number that is half typed is not to begin another one.
            self.shown.entry = Entry()
            self._struck.clear()
            self.notice("A key met a spoken call: the key was not taken. Look, then strike again.")
            return
        pressed = press(before, struck.key, self.bindings, self.visit)
        single = pressed.intent is not None and not before.is_open
        if single and self.turns.bounces(now_s):
            self.notice("That key came twice: the second was not taken. Look, then strike again.")
            return
        if not self._struck:
            self._struck_at_s = now_s
        self._struck.append(struck.key)
        self.shown.entry = pressed.entry
        self.shown.notice = pressed.problem or ""
        if pressed.problem:
            self.notice(pressed.problem)
        if pressed.action is not None:
            self._act(pressed)
        elif pressed.phrase is not None:
            self._take_phrase(pressed.phrase)
        elif pressed.intent is not None:
            self.voice.stop()
            intent, keys = pressed.intent, " ".join(self._struck)
            if isinstance(intent, Remark):
                keys = "note"  # the text is in the intent
            dwell_s = self.dwell.took_s(self._struck_at_s)
            self._walk(lambda: self.road.key(intent, keys, dwell_s))
        elif pressed.entry != before:
            # Hands are at the keys: the voice stops, and what is being said is not taken.
            self.voice.stop()
            self._listen()
        if self._watcher is not None and pressed.entry != before:
            for line in menu_words(pressed.entry, self.visit):
                self._watcher.noticed(line)
        if not pressed.entry.is_open:
            self._struck.clear()

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
        self.shown.entry = Entry()
        self._struck.clear()
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

    def _act(self, pressed: Pressed) -> None:
        now_s = self._clock_s()
        match pressed.action:
            case Action.HELP:
                self._turn_help()
            case Action.CANCEL:
                self.shown.help = 0
            case Action.MUTE:
                self.shown.muted = not self.shown.muted
                self.notice("Keypad only." if self.shown.muted else "Listening again.")
                self._listen()
            case Action.TALK:
                self._press_talk(now_s)
            case Action.QUIT:
                if self.visit.signed_at is not None or self.shown.leaving:
                    self.over = True
                else:
                    self.shown.leaving = True
                    self._leave_before_s = now_s + LEAVE_S
                    self.notice("Strike it again to leave. The visit goes on at the next start.")
            case _:
                pass

    def _press_talk(self, now_s: float) -> None:
        if not self.talk.pushed:
            self.notice("It listens all the time. Start with --push-to-talk for this key.")
            return
        self.talk = self.talk.press(now_s)
        # The talk key says that what follows is meant for the present question.
        self.turns.asked_at_s = self.ear.now_s()
        self.voice.stop()
        self._listen()

    def _jaws_on(self, at_s: float, step: Callable[[], None]) -> None:
        """The time to the call counts from here, if the cue is wanted and was heard clearly."""
        if not self.preferences.dwell:
            self.notice("The dwell cue is switched off in the settings.")
            return
        self._walk(step)
        if self._called is not None and self._called.is_clear:
            self.dwell = Dwell(at_s)

    def _turn_help(self) -> None:
        """The next page of the help, after the last none; in lines all of it."""
        pages = help_pages(self.bindings)
        if self._watcher is None:
            self.shown.help = (self.shown.help + 1) % (len(pages) + 2)
            return
        for keys, does, spoken in (line for page in pages for line in page):
            self._watcher.noticed(f"{keys}: {does}" + (f' ("{spoken}")' if spoken else ""))
        for line in text_lines(site_at_hand(self.visit)):
            self._watcher.noticed(line)

    def _walk(self, step: Callable[[], None]) -> None:
        """Let the road take a call, and announce what comes of it."""
        self._said, self._called = [], None
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
        called = self._called
        if called is None or isinstance(called.intent, JawsOn):
            # Nothing was taken that answers: what is being said belongs to the same question.
            return
        self._stepped()
        if called.dwell_s is not None:
            self.dwell = Dwell()
            self.notice(told(called.dwell_s))

    def _stepped(self) -> None:
        """After each step: what is heard from now on answers the new question."""
        shown = self.shown
        shown.lines = [self._wording.say(each) for each in self._said]
        asked = question(self.visit)
        news = [each for each in self._said if each != asked] or [asked]
        shown.standing, shown.about = standing_of(asked, news[0])
        self.turns.stepped(self._clock_s(), self.ear.now_s())
        self.talk = self.talk.called()
        if self._said:
            self.voice.say(
                " ".join(shown.lines), cue_for(self._said), Cue.LISTENING if self.listens else None
            )
        if self._watcher is not None:
            # In lines a list that is open by itself has to be told.
            for line in menu_words(shown.entry, self.visit):
                self._watcher.noticed(line)
        self._listen()
        try:
            self._after_step(self.visit)
        except CaptureError as error:
            self.notice(str(error))

    def _listen(self) -> None:
        self.turns.epoch += 1
        rule = self.road.listening if self.listens else None
        self.ear.tell(Order(self.turns.epoch, rule, self.ear.now_s()))

    def notice(self, text: str) -> None:
        """Show a line about something other than a call."""
        self.shown.notice = text
        self.shown.note(text)
        if self._watcher is not None:
            self._watcher.noticed(text)
