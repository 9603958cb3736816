"""The session: one queue, and what is not taken for an answer."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import pytest

from capture.dwell import TONE_AFTER_S
from capture.errors import CaptureError
from capture.hearing import EarIs, Meter, MicrophoneIs, Order, Spoken
from capture.language.grammar import LISTENING, Grammar, understand
from capture.language.intents import Caution, Option
from capture.preferences import TALK_S, Preferences
from capture.preferences import USUAL as LIKED
from capture.recognise.port import UNKNOWN
from capture.recognise.scripted import spoken
from capture.road import LATEST_YES_S, Road
from capture.screen.keymap import USUAL, bindings_from, help_pages
from capture.screen.keypad import Entry as KeypadEntry
from capture.screen.render import Size, plain, render
from capture.screen.view import Standing
from capture.session import Session
from capture.showing import view_of
from capture.sound.cues import Cue
from capture.sound.errors import MicrophoneError
from capture.sound.source import MicState
from capture.store.errors import StoreError
from capture.turns import BOUNCE_S, TOGETHER_S
from capture.visit.announcement import Stopped
from capture.visit.course import phase, question
from capture.visit.entry import Entry, ReadingState, Source
from capture.visit.state import NotedRemark, Phase, Plan, Visit
from capture.wording.english import English


@dataclass
class Voice:
    """Remembers what it was to say."""

    said: list[str] = field(default_factory=list)
    cues: list[Cue] = field(default_factory=list)
    tones: list[Cue] = field(default_factory=list)
    stops: int = 0
    speaking: bool = False

    def say(self, text: str, cue: Cue = Cue.TELL, then: Cue | None = None) -> float:  # noqa: ARG002
        """Remember a text."""
        self.said.append(text)
        self.cues.append(cue)
        return 0.0

    def sound(self, cue: Cue) -> float:
        """Remember a tone."""
        self.tones.append(cue)
        return 0.0

    def stop(self) -> None:
        """Count it."""
        self.stops += 1

    def close(self) -> None:
        """Nothing to let go of."""


@dataclass
class Ear:
    """Remembers the orders; `time_s` is the clock of its sound."""

    time_s: float = 0.0
    orders: list[Order] = field(default_factory=list)

    def tell(self, order: Order) -> None:
        """Remember an order."""
        self.orders.append(order)

    def now_s(self) -> float:
        """Time of the blocks given."""
        return self.time_s


@dataclass
class Room:
    """A session with a fake clock, voice and ear; the journal is a list."""

    grammar: Grammar
    english: English
    plan: Plan
    preferences: Preferences = LIKED
    now_s: float = 100.0
    wall_s: float = 1_000.0
    journal: list[Entry] = field(default_factory=list)
    broken: CaptureError | None = None
    voice: Voice = field(default_factory=Voice)
    ear: Ear = field(default_factory=Ear)

    def __post_init__(self) -> None:
        sites = {site.id for site in self.plan.protocol.sites}
        self.session = Session(
            lambda audience: Road(
                Visit(self.plan), self.grammar, self, audience, lambda: "2026-03-02T12:00:00+01:00"
            ),
            self.english,
            self.voice,
            USUAL,
            lambda: self.now_s,
            understand=lambda rule, text: understand(
                self.grammar.parser(rule, sites), text.split()
            ),
            preferences=self.preferences,
            wall_s=lambda: self.wall_s,
        )
        self.ear.time_s = self.now_s
        self.session.ear = self.ear
        self.session.open()

    def append(self, entry: Entry) -> None:
        """Keep an entry, or fail as the test wants."""
        if self.broken is not None:
            raise self.broken
        self.journal.append(entry)

    @property
    def visit(self) -> Visit:
        """The present state."""
        return self.session.visit

    @property
    def values(self) -> list[int]:
        """The readings that count."""
        return [each.value_tenths_mm for each in self.visit.confirmed]

    def keys(self, *keys: str) -> "Room":
        """Strike keys, each a second after the other."""
        for key in keys:
            self.now_s += 1.0
            self.ear.time_s = self.now_s
            self.session.strike(key)
            self.session.drain()
        return self

    def utterance(self, phrase: str, began_at_s: float = 0.0) -> Spoken:
        """Speech under the present order."""
        return Spoken(spoken(phrase), self.ear.orders[-1].epoch, began_at_s)

    def say(self, *phrases: str) -> "Room":
        """Speak phrases, each a second after the other."""
        for phrase in phrases:
            self.now_s += 1.0
            self.ear.time_s = self.now_s
            self.session.post(self.utterance(phrase, self.now_s))
            self.session.drain()
        return self

    def measuring(self) -> "Room":
        """At the first fold."""
        self.keys("enter", "enter", "enter")
        for _ in self.plan.protocol.tape_sites:
            self.keys("6", "space", "3", "/", "4", "enter", "enter")
        return self


@pytest.fixture
def room(grammar: Grammar, english: English, plan: Plan) -> Room:
    """A new session."""
    return Room(grammar, english, plan)


def test_a_reading_is_keyed_and_confirmed(room: Room) -> None:
    """Digits and Enter read a value back; another Enter makes it count."""
    room.measuring().keys("8", ".", "4", "enter")
    assert room.session.shown.standing is Standing.CONFIRM
    assert room.values == []
    room.keys("enter")
    assert room.values == [84]
    assert room.session.shown.standing is Standing.SAVED
    assert room.journal[-2].words == "8 . 4 enter"
    assert room.journal[-1].source is Source.KEYPAD


def test_voice_and_keys_take_turns(room: Room) -> None:
    """A value that was spoken is confirmed by a key, and the reverse."""
    room.measuring().say("eight point four").keys("enter")
    room.keys("1", "1", "enter").say("yes")
    assert room.values == [84, 110]


def test_a_yes_that_was_spoken_before_the_read_back_is_not_taken(room: Room) -> None:
    """Its speaker cannot have heard what it would confirm."""
    room.measuring()
    early = room.utterance("yes")
    room.keys("5", "0", "enter")
    room.session.post(early)
    room.session.drain()
    assert room.values == []
    assert room.visit.pending is not None
    assert "not taken" in room.session.shown.notice
    assert early.answered.is_set()


def test_somebody_elses_yes_a_minute_later_is_not_taken(room: Room) -> None:
    """The read-back is said once more; a yes to that one counts."""
    room.measuring().say("eight point four")
    said = len(room.voice.said)
    room.ear.time_s += LATEST_YES_S + 1
    room.session.post(room.utterance("yes", began_at_s=room.ear.time_s))
    room.session.drain()
    assert room.values == []
    assert len(room.voice.said) == said + 1
    room.session.post(room.utterance("yes", began_at_s=room.ear.time_s + 2))
    room.session.drain()
    assert room.values == [84]


def test_a_key_that_met_a_call_is_not_taken(room: Room) -> None:
    """A spoken yes and an Enter together confirm one reading, and nothing after it."""
    room.keys("enter")
    room.now_s += 1.0
    room.session.post(room.utterance("granted"))
    room.session.strike("enter")
    room.session.drain()
    assert len(room.visit.answers) == 2
    assert "was not taken" in room.session.shown.notice


def test_a_key_struck_before_anyone_could_read_is_not_taken(room: Room) -> None:
    """Within a moment of a spoken call a key was meant for what stood there before."""
    room.measuring().say("eight point four")
    room.now_s += TOGETHER_S / 2
    room.session.strike("enter")
    room.session.drain()
    assert room.values == []
    room.keys("enter")
    assert room.values == [84]


def test_a_call_that_met_a_key_is_not_taken(room: Room) -> None:
    """The key came first: the reading that was spoken at the same time does not replace it."""
    room.measuring()
    call = room.utterance("fifty")
    for key in ("1", "5", "enter"):
        room.session.strike(key)
    room.session.post(call)
    room.session.drain()
    assert [each.value_tenths_mm for each in room.visit.readings] == [150]
    assert [each.state for each in room.visit.readings] == [ReadingState.HEARD]


def test_speech_waits_while_a_number_is_typed(room: Room) -> None:
    """What is said into a half typed number is not taken; the number goes on."""
    room.measuring().keys("1").say("fifty").keys("2", "enter")
    assert [each.value_tenths_mm for each in room.visit.readings] == [120]


def test_an_enter_that_bounces_confirms_nothing(room: Room) -> None:
    """The second stroke of the same Enter cannot be a yes to what it has just brought up."""
    room.measuring().keys("5", "0", "enter")
    room.now_s += BOUNCE_S / 2
    room.session.strike("enter")
    room.session.drain()
    assert room.values == []


def test_an_undo_that_bounces_takes_back_one_thing(room: Room) -> None:
    """The same holds for every key that acts at once."""
    room.measuring().keys("8", "enter", "enter").keys("9", "enter", "enter").keys("u")
    room.now_s += BOUNCE_S / 2
    room.session.strike("u")
    room.session.drain()
    assert room.values == [80]


def test_a_key_cuts_the_voice_off(room: Room) -> None:
    """Hands at the keys win over the read-back."""
    stops = room.measuring().voice.stops
    room.keys("1")
    assert room.voice.stops == stops + 1


def test_each_step_is_spoken_as_one(room: Room) -> None:
    """A new sentence would cut the one before off, so saved and next come together."""
    room.measuring().keys("8", "enter", "enter")
    assert room.voice.said[-1] == "Saved: chest 8.0. midaxillary, first circuit."
    assert room.voice.cues[-1] is Cue.SAVED


def test_only_the_present_state_is_listened_for(room: Room) -> None:
    """Each step tells the ear its rule, under a higher number than before."""
    room.measuring().keys("8", "enter")
    assert room.ear.orders[-1].rule == LISTENING + "readback"
    room.keys("enter")
    assert room.ear.orders[-1].rule == LISTENING + "reading_wanted"
    numbers = [order.epoch for order in room.ear.orders]
    assert numbers == sorted(set(numbers))


def test_what_cannot_be_saved_does_not_count(room: Room) -> None:
    """A full disk at the yes: the reading still waits, and the screen says so."""
    room.measuring().keys("8", "enter")
    room.broken = StoreError("The disk is full.", "Make room.")
    room.keys("enter")
    assert room.values == []
    assert room.visit.pending is not None
    assert room.session.shown.standing is Standing.FAILED
    assert "NOT SAVED: The disk is full. Make room." in room.session.shown.notice
    room.broken = None
    room.keys("enter")
    assert room.values == [80]


def test_a_lost_microphone_is_said_and_the_keypad_goes_on(room: Room) -> None:
    """One line when it goes, one when it is back; nothing of the visit changes."""
    room.measuring()
    gone = MicrophoneError("The microphone 'Desk' gives no sound any more.", "Plug it in.")
    room.session.post(MicrophoneIs(MicState.DEAF, "Desk", gone))
    room.session.drain()
    assert room.session.shown.notice == str(gone)
    room.keys("8", "enter", "enter")
    assert room.values == [80]
    room.session.post(MicrophoneIs(MicState.LISTENING, "Desk", None))
    room.session.drain()
    assert room.session.shown.notice == "The microphone 'Desk' is back."


def test_without_a_recogniser_the_keypad_is_enough(room: Room) -> None:
    """A missing model is one line; the visit can be measured to its end."""
    room.session.post(EarIs("", CaptureError("There is no model.", "Install it.")))
    room.session.drain()
    assert room.session.shown.notice == "Keypad only: There is no model. Install it."
    room.measuring().keys("8", "enter", "enter")
    assert room.values == [80]


@pytest.mark.parametrize(
    ("waited_s", "mark"),
    [(0.5, "too soon"), (2.5, ""), (5.0, "late")],
    ids=["too soon", "in time", "late"],
)
def test_the_dwell_cue_marks_a_call_out_of_time(room: Room, waited_s: float, mark: str) -> None:
    """A tone after two seconds; a call sooner than one or later than four is marked."""
    room.measuring().keys("d")
    began_s = room.now_s
    room.now_s += TONE_AFTER_S
    room.session.tick()
    room.session.tick()
    assert room.voice.tones == [Cue.DWELL]
    room.session.post(room.utterance("eight", began_s + waited_s))
    room.session.drain()
    told = f"Called {waited_s:.1f} s after the jaws were on{mark and ', '}{mark}."
    assert room.session.shown.notice == told


def test_push_to_talk(grammar: Grammar, english: English, plan: Plan) -> None:
    """Nothing is listened to before the key, and after it for one call."""
    room = Room(grammar, english, plan, preferences=Preferences(push_to_talk=True))
    assert room.ear.orders[-1].rule is None
    room.keys("t")
    assert room.ear.orders[-1].rule == LISTENING + "permission"
    room.say("granted")
    assert len(room.visit.answers) == 1
    assert room.ear.orders[-1].rule is None
    room.keys("t")
    room.now_s += TALK_S
    room.session.tick()
    assert room.ear.orders[-1].rule is None


@pytest.mark.parametrize("press_again", [True, False], ids=["by key", "by time"])
def test_the_talk_key_closes_too(
    grammar: Grammar, english: English, plan: Plan, press_again: bool
) -> None:
    """No terminal tells of a key let go: a second press ends the listening, or the time set."""
    room = Room(grammar, english, plan, Preferences(push_to_talk=True, talk_s=3.0))
    room.keys("t")
    assert room.session.listens
    if press_again:
        room.keys("t")
    else:
        room.now_s += 3.0
        room.session.tick()
    assert not room.session.listens
    assert room.ear.orders[-1].rule is None
    spoken_late = room.utterance("granted", room.now_s)
    room.session.post(spoken_late)
    room.session.drain()
    assert room.visit.answers == ()


def test_a_pedal_can_be_the_talk_key(grammar: Grammar, english: English, plan: Plan) -> None:
    """It sends a key, and the settings say which."""
    room = Room(grammar, english, plan, Preferences(push_to_talk=True))
    room.session.bindings = bindings_from({"talk": ["f13"]}, "settings.toml")
    room.keys("t")
    assert not room.session.listens
    room.keys("f13").say("granted")
    assert len(room.visit.answers) == 1


def test_the_mode_of_push_to_talk_is_shown(grammar: Grammar, english: English, plan: Plan) -> None:
    """Closed, the key; open, how long it still listens, and what ends it."""
    room = Room(grammar, english, plan, Preferences(push_to_talk=True, talk_s=8.0))
    room.session.post(EarIs("scripted"))
    room.session.post(MicrophoneIs(MicState.LISTENING, "desk", None))
    room.session.drain()
    meter = Meter(open=True)
    assert view_of(room.session, "A", "B", {}, meter).sound.state == "PUSH TO TALK: t"
    room.keys("t")
    assert view_of(room.session, "A", "B", {}, meter).sound.state == "LISTENING 8 s, t ends"


def test_an_hour_of_sleep_confirms_nothing(room: Room) -> None:
    """What was said before the machine slept is not taken; the question is asked once more.

    The clock that only rises may have stood still meanwhile, as it does on some systems.
    """
    room.measuring().say("eight point four")
    before_sleep = room.utterance("yes", room.now_s)
    said = len(room.voice.said)
    room.wall_s += 3_600.0
    room.session.post(before_sleep)
    room.session.drain()
    assert room.values == []
    assert room.visit.pending is not None
    assert "eight point four" in room.voice.said[said]
    room.say("yes")
    assert room.values == [84]


def test_after_a_sleep_it_is_said_without_any_input(room: Room) -> None:
    """The next look at the clock is enough."""
    room.measuring().say("eight point four")
    orders = len(room.ear.orders)
    room.wall_s += 3_600.0
    room.session.tick()
    assert len(room.ear.orders) == orders + 1
    assert "stood still" in room.session.shown.notice
    room.session.tick()
    assert len(room.ear.orders) == orders + 1


def test_the_cue_in_a_word_counts_from_the_word(room: Room) -> None:
    """Nothing is said in between, and the same question goes on."""
    room.measuring()
    said, order = len(room.voice.said), room.ear.orders[-1]
    room.say("holding")
    assert (len(room.voice.said), room.ear.orders[-1]) == (said, order)
    view = view_of(room.session, "A", "B", {}, None)
    assert view.standing is Standing.HOLD
    assert view.standing_about == ""
    room.now_s += 2.0
    assert view_of(room.session, "A", "B", {}, None).standing is Standing.READ
    room.say("eight point four", "yes")
    assert [each.dwell_s for each in room.visit.confirmed] == [3.0]


def test_a_keyed_value_counts_from_its_first_digit(room: Room) -> None:
    """The helper types while it is called; the cue may come while something is typed."""
    room.measuring().keys("d")
    room.now_s += 1.0
    room.keys("8", ".", "4", "enter", "enter")
    assert [each.dwell_s for each in room.visit.confirmed] == [2.0]


def test_the_cue_can_be_switched_off(grammar: Grammar, english: English, plan: Plan) -> None:
    """Neither key nor word begins it then."""
    room = Room(grammar, english, plan, Preferences(dwell=False)).measuring()
    room.keys("d")
    assert "switched off" in room.session.shown.notice
    room.say("holding", "eight point four", "yes")
    assert [each.dwell_s for each in room.visit.confirmed] == [None]
    assert room.voice.tones == []


def test_a_value_out_of_time_is_marked_in_the_table(room: Room) -> None:
    """Where it is read back, and for as long as the table is shown."""
    room.measuring().keys("d", "8", ".", "4", "enter")
    room.keys("enter", "d")
    room.now_s -= 0.6
    room.keys("1", "1", "enter")
    view = view_of(room.session, "A", "B", {}, None)
    assert view.about == "first circuit: 0.4 s, TOO SOON"
    room.keys("enter")
    view = view_of(room.session, "A", "B", {}, None)
    assert [row.readings[0] for row in view.table[:2]] == ["8.4", "11.0!"]


def test_a_note_is_typed(room: Room) -> None:
    """Any characters up to Enter; the number in it is no reading."""
    room.measuring().keys("k", "r", "e", "d", "space", "1", "2", "!", "enter")
    assert [each.text for each in room.visit.done if isinstance(each, NotedRemark)] == ["red 12!"]
    assert room.visit.pending is None


def test_a_spoken_note_without_its_sound_is_to_be_typed(room: Room) -> None:
    """The program knows none of its words, and says so."""
    room.measuring().say("make a note", UNKNOWN)
    assert "not kept: type it (k)" in room.session.shown.notice
    assert [each.text for each in room.visit.done if isinstance(each, NotedRemark)] == [""]


def test_listening_can_be_switched_off(room: Room) -> None:
    """The key for it makes a keypad session, and listens again."""
    room.keys("m").say("granted")
    assert room.visit.answers == ()
    room.keys("m").say("granted")
    assert len(room.visit.answers) == 1


def test_leaving_takes_two_strokes(room: Room) -> None:
    """One stroke too many by a sleeve does not end the session."""
    room.keys("q")
    assert not room.session.over
    room.now_s += 10
    room.session.tick()
    room.keys("q")
    assert not room.session.over
    room.keys("q")
    assert room.session.over


@pytest.mark.parametrize("line", ["granted", "", "yes"])
def test_lines_can_be_typed_instead(room: Room, line: str) -> None:
    """In line mode an empty line is Enter, and a phrase is what it would be if spoken."""
    room.now_s += 1
    room.session.type(line)
    room.session.drain()
    assert len(room.visit.answers) == 1
    assert room.journal[-1].source is Source.KEYPAD


def test_any_call_can_be_typed_in_words(room: Room) -> None:
    """The key for words opens a line; Enter takes it as if it had been said."""
    room.keys(":", *"granted", "enter")
    assert len(room.visit.answers) == 1
    assert room.journal[-1].words == "granted"
    room.keys(":", *"grnted", "enter")
    assert len(room.visit.answers) == 1
    assert "is no call here" in room.session.shown.notice


def test_a_typed_line_is_a_whole_value(room: Room) -> None:
    """A line with a number is read back at once; words that are no call lead to nothing."""
    room.measuring()
    lines: tuple[tuple[str, Callable[[], bool]], ...] = (
        ("12.4", lambda: room.visit.pending is not None),
        ("nonsense", lambda: "is no call here" in room.session.shown.notice),
        ("", lambda: room.values == [124]),
        ("s", lambda: room.session.shown.entry.is_open),
        ("4", lambda: len(room.visit.skips) == 1),
    )
    for line, holds in lines:
        room.now_s += 1
        room.session.type(line)
        room.session.drain()
        assert holds(), line


# What a number means where nothing is typed, and the client's stop.


def test_a_stop_is_heard_while_keys_are_being_struck(room: Room) -> None:
    """The client's word comes before a half typed value, which is gone; other speech waits."""
    room.measuring().keys("1", "2").say("yes")
    assert room.session.shown.entry.typed == "12"
    room.say("stop")
    assert isinstance(question(room.visit), Stopped)
    assert room.session.shown.entry == KeypadEntry()
    assert room.values == []


def test_a_stop_that_met_a_key_holds(room: Room) -> None:
    """Said before a key was struck or had its effect, and heard after it."""
    room.measuring()
    early = room.utterance("stop", room.now_s)
    room.keys("1", "2", "enter")
    room.session.post(early)
    room.session.drain()
    assert isinstance(question(room.visit), Stopped)


def test_a_refusal_is_answered_by_a_number(room: Room) -> None:
    """Refused, then 4: a chaperone; the permission is asked once more, and the day goes on."""
    room.keys("-", "4")
    assert [each.option for each in room.visit.choices] == [Option.CHAPERONE]
    assert room.keys("enter", "enter", "enter").visit.marks == ()
    assert phase(room.visit) is Phase.TAPES


def test_a_number_in_a_line_is_taken_once(grammar: Grammar, english: English, plan: Plan) -> None:
    """A line "4" before touching notes a caution, and its end is no "ready"."""
    room = Room(grammar, english, replace(plan, screening=True))
    room.now_s += 1.0
    room.session.type("4")
    room.session.drain()
    assert room.visit.cautions == (Caution.LOTION,)
    assert phase(room.visit) is Phase.PREPARATION


def test_a_value_through_cloth_is_marked_as_an_estimate(room: Room) -> None:
    """The table has the dial's values, what is left of them with its sign, and what it means."""
    room.measuring().keys("g", "7", *"h71.5", "enter", "enter", "1", "8", "enter", "enter")
    view = view_of(room.session, "Ada", "Bo", {}, None)
    thigh, chest = view.table[6], view.table[0]
    assert (thigh.readings[0], thigh.value) == ("18.0", "~15.0")
    assert "~" not in chest.value
    assert "~ estimate, through cloth" in plain(render(view, Size(80, 24)))


def test_the_help_has_pages_and_the_drawing(room: Room) -> None:
    """Keys, more keys, the site at hand, and back to the visit."""
    room.measuring()
    pages = help_pages()
    for page in range(1, len(pages) + 1):
        room.keys("f1")
        assert view_of(room.session, "Ada", "Bo", {}, None).help == pages[page - 1]
    room.keys("?")
    view = view_of(room.session, "Ada", "Bo", {}, None)
    assert view.help == ()
    assert view.picture is not None
    assert "chest" in view.picture.words[0]
    shown = plain(render(view, Size(80, 24)))
    assert "X" in shown
    assert "nipple" in shown
    room.keys("f1")
    assert view_of(room.session, "Ada", "Bo", {}, None).picture is None
    assert room.keys("?", "escape").session.shown.help == 0


def test_a_speaker_that_goes_on_failing_is_told_once(room: Room) -> None:
    """Each read-back fails in the same way: the line does not cover what else is to be told."""
    gone = CaptureError("There is no speaker.", "Plug one in.")
    for _ in range(3):
        room.session.report(gone)
    room.session.drain()
    assert room.session.shown.events.count(str(gone)) == 1
    room.session.report(CaptureError("The speaker is busy.", "Close what holds it."))
    room.session.report(gone)
    room.session.drain()
    assert room.session.shown.events.count(str(gone)) == 2
