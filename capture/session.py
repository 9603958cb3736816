"""A live visit: one queue of inputs, and one consumer that walks the road.

Microphone, voice and keys only post. The thread that calls `drain` is the only one that touches
the visit and the store. The session owns the order of things: what was spoken or struck before
the present question was there is not taken for an answer to it.
"""

import queue
from collections.abc import Callable

from capture.dwell import Dwell
from capture.errors import CaptureError
from capture.hearing import EarIs, MicrophoneIs, Order, Spoken
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
from capture.language.intents import Correct, NotUnderstood, Reading, Stop
from capture.protocol.pictures import text_lines
from capture.recognise.port import Heard
from capture.road import Road
from capture.screen.keymap import Action, Bindings, help_pages
from capture.screen.keypad import Entry, Pressed, press
from capture.screen.menus import NUMBERS, direct_menu
from capture.screen.view import Standing
from capture.shown import Shown, cue_for, standing_of
from capture.sound.cues import Cue
from capture.sound.kept import CallSound
from capture.sound.source import MicState
from capture.sound.voice import Voice
from capture.visit.announcement import Announcement
from capture.visit.call import Call
from capture.visit.course import question
from capture.visit.entry import Source
from capture.visit.setups import site_at_hand
from capture.visit.state import Visit
from capture.wording.lists import menu_words

TOGETHER_S = 0.3
"""Nobody reads a new question and strikes a key for it so soon: such a key met a spoken call."""

BOUNCE_S = 0.15
"""A key so soon after a step is the same stroke: it is no yes to what has just been shown."""

TALK_S = 8.0
"""Push to talk listens for one call, at most so long. Terminals do not tell of a key let go."""

LEAVE_S = 4.0
"""The second stroke that leaves must come within this."""


class Session:
    """Takes inputs one at a time, in their order.

    `clock_s` gives seconds that only rise. With `push_to_talk` nothing is listened to until the
    talk key. `stepped` is told of each state that the visit comes to, `keep` is given the
    number of a spoken entry that is on the disk with its sound. Whoever runs the session may put
    his own `wake`, called after each `post` from any thread, and an `ear`, in place.
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
        push_to_talk: bool = False,
        stepped: Callable[[Visit], None] = lambda _: None,
        keep: Callable[[int, CallSound], None] = lambda _number, _sound: None,
    ) -> None:
        self.shown = Shown()
        self.wake: Callable[[], None] = lambda: None
        self.voice = voice
        self.ear: Ear = NoEar()
        self.over = False
        self.push_to_talk = push_to_talk
        self.bounce_s = BOUNCE_S
        self.bindings = bindings
        self._inputs: queue.SimpleQueue[Input] = queue.SimpleQueue()
        self._wording = wording
        self._clock_s = clock_s
        self._watcher = watcher
        self._understand = understand
        self._after_step = stepped
        self._keep = keep
        self._epoch = 0
        self._spoken_steps = 0
        self._no_key_before_s = 0.0
        self._stepped_at_s = -TALK_S
        self._asked_at_s = 0.0
        self._talk_until_s: float | None = None
        self._leave_before_s = 0.0
        self._dwell = Dwell()
        self._lost_sound = False
        self._struck: list[str] = []
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
        self.post(KeyStruck(key, self._spoken_steps))

    def type(self, text: str) -> None:
        """Queue a typed line. May be called from any thread."""
        self.post(Line(text, self._spoken_steps))

    def open(self) -> None:
        """Announce where the visit stands, and begin to listen."""
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

    def notice(self, text: str) -> None:
        """Show a line about something other than a call."""
        self._notice(text)

    def warn(self, text: str) -> None:
        """Show a warning until another takes its place; an empty one when all is well again."""
        if text != self.shown.warning:
            self.shown.warning = text
            self._notice(text or "The store can be written again: all calls are in it.")

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
        now_s = self._clock_s()
        if self._dwell.tone_due(now_s):
            self._dwell = self._dwell.sounded()
            self.voice.sound(Cue.DWELL)
        self._dwell = self._dwell.at(now_s)
        if self._talk_until_s is not None and now_s >= self._talk_until_s:
            self._talk_until_s = None
            self._listen()
        if self.shown.leaving and now_s >= self._leave_before_s:
            self.shown.leaving = False

    @property
    def listens(self) -> bool:
        """Whether speech is wanted now."""
        talk = not self.push_to_talk or self._talk_until_s is not None
        return talk and not self.shown.muted and self.road.listening is not None

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
        try:
            match given:
                case KeyStruck():
                    self._take_key(given)
                case Spoken():
                    self._take_spoken(given)
                case Line():
                    self._take_line(given)
                case Trouble(error):
                    self._notice(str(error))
                case MicrophoneIs():
                    self._take_microphone(given)
                case EarIs(name, trouble):
                    self.shown.recogniser, self.shown.ear_trouble = name, trouble
                    if trouble is not None:
                        self._notice(f"Keypad only: {trouble}")
        finally:
            if isinstance(given, Spoken):
                given.answered.set()

    def _take_microphone(self, given: MicrophoneIs) -> None:
        self.shown.microphone = given
        if given.trouble is not None:
            self._lost_sound = True
            self._notice(str(given.trouble))
        elif given.state is MicState.LISTENING and self._lost_sound:
            self._lost_sound = False
            self._notice(f"The microphone '{given.name}' is back.")
        elif given.state is MicState.ENDED:
            self._notice("The recording is over. The keypad goes on.")

    def _take_spoken(self, spoken: Spoken) -> None:
        if self._withdraws(spoken):
            # A client's stop comes before everything: half typed values, an earlier question.
            self.shown.entry = Entry()
            self._struck.clear()
        elif spoken.epoch != self._epoch or not self.listens:
            self._notice(f'Heard "{spoken.heard.text}" for an earlier question: not taken.')
            return
        elif self.shown.entry.is_open:
            self._notice(f'Heard "{spoken.heard.text}" while keys are being struck: not taken.')
            return
        waited_s = spoken.began_at_s - self._asked_at_s
        entry = self.visit.sequence + 1
        self._walk(lambda: self.road.hear(spoken.heard, waited_s), began_at_s=spoken.began_at_s)
        if spoken.sound is not None and self.visit.sequence >= entry:
            # The entry is on the disk and announced: nothing waits for its sound.
            self._keep(entry, spoken.sound)
        if self._called is not None:
            self._spoken_steps += 1
            self._no_key_before_s = self._clock_s() + TOGETHER_S

    def _withdraws(self, spoken: Spoken) -> bool:
        """Whether a permission is withdrawn by what was said."""
        rule = None if self.shown.muted else self.road.listening
        return rule is not None and isinstance(self._understand(rule, spoken.heard.text), Stop)

    def _take_key(self, struck: KeyStruck) -> None:
        now_s = self._clock_s()
        if struck.seen != self._spoken_steps or now_s < self._no_key_before_s:
            # A number may be half typed: the rest of it is not to begin another one.
            self._no_key_before_s = max(self._no_key_before_s, now_s + TOGETHER_S)
            self.shown.entry = Entry()
            self._struck.clear()
            self._notice("A key met a spoken call: the key was not taken. Look, then strike again.")
            return
        before = self.shown.entry
        pressed = press(before, struck.key, self.bindings, self.visit)
        single = pressed.intent is not None and not before.is_open
        if single and now_s - self._stepped_at_s < self.bounce_s:
            self._notice("That key came twice: the second was not taken. Look, then strike again.")
            return
        self._struck.append(struck.key)
        self.shown.entry = pressed.entry
        self.shown.notice = pressed.problem or ""
        if pressed.problem:
            self._notice(pressed.problem)
        if pressed.action is not None:
            self._act(pressed)
        elif pressed.phrase is not None:
            self._take_phrase(pressed.phrase)
        elif pressed.intent is not None:
            self.voice.stop()
            intent, keys = pressed.intent, " ".join(self._struck)
            self._walk(lambda: self.road.key(intent, keys))
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
        text = line.text.strip().lower()
        entry = self.shown.entry
        if not text:
            keys = ["enter"]
        elif entry.menu is not None or self.bindings.action(text) is not None:
            keys = [text]
        elif text in NUMBERS and not entry.is_open and direct_menu(self.visit) is not None:
            # The number of a list that is open by itself: no Enter after it.
            self._take_key(KeyStruck(text, line.seen))
            return
        elif text[0] in "0123456789.,":
            keys = [*("space" if sign == " " else sign for sign in text), "enter"]
            # A line is a whole value: what an earlier one left unfinished is gone.
            self.shown.entry = Entry(
                correcting=entry.correcting, field=entry.field, tape_site=entry.tape_site
            )
        else:
            self._take_phrase(text)
            return
        for key in keys:
            self._take_key(KeyStruck(key, line.seen))

    def _take_phrase(self, text: str) -> None:
        rule = self.road.listening
        meant = None if rule is None else self._understand(rule, text)
        if meant is None or isinstance(meant, NotUnderstood):
            self._notice(f'"{text}" is no call here. F1 or ? shows the keys.')
            return
        self.voice.stop()
        self._walk(lambda: self.road.key(meant, text))

    def _act(self, pressed: Pressed) -> None:
        now_s = self._clock_s()
        match pressed.action:
            case Action.HELP:
                self._turn_help()
            case Action.CANCEL:
                self.shown.help = 0
            case Action.MUTE:
                self.shown.muted = not self.shown.muted
                self._notice("Keypad only." if self.shown.muted else "Listening again.")
                self._listen()
            case Action.TALK:
                if self.push_to_talk:
                    self._talk_until_s = now_s + TALK_S
                    # The talk key says that what follows is meant for the present question.
                    self._asked_at_s = self.ear.now_s()
                    self.voice.stop()
                    self._listen()
                else:
                    self._notice("It listens all the time. Start with --push-to-talk for this key.")
            case Action.DWELL:
                self._dwell = Dwell(now_s)
            case Action.QUIT:
                if self.visit.signed_at is not None or self.shown.leaving:
                    self.over = True
                else:
                    self.shown.leaving = True
                    self._leave_before_s = now_s + LEAVE_S
                    self._notice("Strike it again to leave. The visit goes on at the next start.")
            case _:
                pass

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

    def _walk(self, step: Callable[[], None], began_at_s: float | None = None) -> None:
        """Let the road take a call, and announce what comes of it."""
        self._said, self._called = [], None
        self.shown.notice = ""
        try:
            step()
        except CaptureError as error:
            # The road changes nothing that the journal does not hold.
            self.shown.standing, self.shown.about = Standing.FAILED, None
            self._notice(f"NOT SAVED: {error}")
            self.voice.sound(Cue.ERROR)
            self._listen()
            return
        if self._called is not None:
            self._mark_dwell(self._called.intent, began_at_s)
            self._stepped()

    def _stepped(self) -> None:
        """After each step: what is heard from now on answers the new question."""
        shown = self.shown
        shown.lines = [self._wording.say(each) for each in self._said]
        asked = question(self.visit)
        news = [each for each in self._said if each != asked] or [asked]
        shown.standing, shown.about = standing_of(asked, news[0])
        self._stepped_at_s = self._clock_s()
        self._asked_at_s = self.ear.now_s()
        if self.push_to_talk:
            self._talk_until_s = None
        if self._said:
            self.voice.say(
                " ".join(shown.lines), cue_for(self._said), Cue.LISTENING if self.listens else None
            )
        self._listen()
        try:
            self._after_step(self.visit)
        except CaptureError as error:
            self._notice(str(error))

    def _listen(self) -> None:
        self._epoch += 1
        rule = self.road.listening if self.listens else None
        self.ear.tell(Order(self._epoch, rule, self.ear.now_s()))

    def _mark_dwell(self, intent: object, began_at_s: float | None) -> None:
        if not isinstance(intent, Reading | Correct):
            return
        told = self._dwell.told(self._clock_s() if began_at_s is None else began_at_s)
        self._dwell = Dwell()
        if told is not None:
            self._notice(told)

    def _notice(self, text: str) -> None:
        self.shown.notice = text
        self.shown.note(text)
        if self._watcher is not None:
            self._watcher.noticed(text)
