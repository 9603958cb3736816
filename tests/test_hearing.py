"""The thread that hears, with scripted sound and a scripted recogniser."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import pytest

from capture.errors import CaptureError
from capture.hearing import EarIs, Hearing, MicrophoneIs, Order, Spoken, Told, Unheard
from capture.recognise.port import Heard
from capture.recognise.scripted import spoken
from capture.sound.duplex import HalfDuplex
from capture.sound.errors import DeviceError, MicrophoneError
from capture.sound.source import Block, MicState

RATE_HZ = 8_000
BLOCK = bytes(2 * RATE_HZ // 10)


@dataclass
class Sound:
    """Blocks of a tenth of a second, one after the other; `before` is called before each."""

    blocks: list[Block]
    before: Callable[[int], None] = lambda _: None
    name: str = "script"
    rate_hz: int = RATE_HZ
    overruns: int = 0
    state: MicState = MicState.STARTING
    trouble: DeviceError | None = None
    given: int = 0

    def get(self, timeout_s: float) -> Block | None:  # noqa: ARG002
        """The next block."""
        if self.given == len(self.blocks):
            self.state = MicState.ENDED
            return None
        self.before(self.given)
        self.state = MicState.LISTENING
        self.given += 1
        return self.blocks[self.given - 1]

    def now_s(self) -> float:
        """Time of the blocks given."""
        return self.given / 10

    def close(self) -> None:
        """The end."""
        self.state = MicState.CLOSED


@dataclass
class Recogniser:
    """Hears a phrase in every `each` blocks fed in a row, after the first `quiet` of them."""

    each: int = 4
    quiet: int = 0
    sample_rate_hz: int = RATE_HZ
    fed: int = 0
    in_a_row: int = 0
    resets: int = 0
    rules: list[str] = field(default_factory=list)

    def listener(self, rate_hz: int, rule: str) -> "Recogniser":  # noqa: ARG002
        """Itself."""
        self.rules.append(rule)
        return self

    def listen(self, context: str) -> None:
        """Itself."""
        self.rules.append(context)

    def feed(self, block: bytes) -> Heard | None:  # noqa: ARG002
        """Count the blocks in a row."""
        self.fed += 1
        self.in_a_row += 1
        if self.in_a_row < self.each:
            return None
        self.in_a_row = 0
        return spoken("yes", start_s=(self.fed - self.each + self.quiet) / 10)

    def finish(self) -> Heard | None:
        """Nothing is left."""
        return None

    def reset(self) -> None:
        """Forget the row."""
        self.resets += 1
        self.in_a_row = 0


def blocks(count: int, damaged: Sequence[int] = ()) -> list[Block]:
    """So many blocks from time 0 on."""
    return [Block(BLOCK, RATE_HZ, n / 10, n in damaged, -30.0, -40.0) for n in range(count)]


@dataclass
class Bench:
    """Hearing over scripted sound; runs in the test's own thread."""

    sound: Sound
    recogniser: Recogniser = field(default_factory=Recogniser)
    told: list[Told] = field(default_factory=list)
    then: Order | None = None
    duplex: HalfDuplex = field(default_factory=lambda: HalfDuplex(lambda: 0.0, 0.0))

    def __post_init__(self) -> None:
        self.hearing = Hearing(self.sound, self.duplex, self.load, self.post)

    def load(self) -> tuple[str, Recogniser]:
        """The recogniser."""
        return "scripted", self.recogniser

    def post(self, told: Told) -> None:
        """Keep what is told, and answer it."""
        self.told.append(told)
        if isinstance(told, Spoken):
            if self.then is not None:
                self.hearing.tell(self.then)
            told.answered.set()

    def run(self, order: Order) -> list[Spoken]:
        """Hear under this order to the end; the utterances."""
        self.hearing.tell(order)
        self.hearing.run()
        return [each for each in self.told if isinstance(each, Spoken)]


def test_an_utterance_carries_its_order_and_its_beginning() -> None:
    """Four blocks make one: it began with the first of them."""
    bench = Bench(Sound(blocks(4)))
    (heard,) = bench.run(Order(7, "rule", 0.0))
    assert (heard.epoch, heard.began_at_s) == (7, pytest.approx(0.0))
    assert bench.recogniser.rules[-1] == "rule"


def test_sound_from_before_the_order_is_not_used() -> None:
    """What was said before the question was there reaches no recogniser."""
    bench = Bench(Sound(blocks(10)))
    bench.run(Order(1, "rule", 0.65))
    assert bench.recogniser.fed == 3


def test_sound_that_is_not_listened_to_is_told() -> None:
    """A second and more from before the question: somebody may have said something in it."""
    bench = Bench(Sound(blocks(24)))
    bench.run(Order(1, "yes", 1.25))
    (unheard,) = [each for each in bench.told if isinstance(each, Unheard)]
    assert unheard.seconds == pytest.approx(1.3)
    usual = Bench(Sound(blocks(24)))
    usual.run(Order(1, "yes", 0.35))
    assert not any(isinstance(each, Unheard) for each in usual.told)


def test_a_new_order_forgets_what_was_half_heard() -> None:
    """Two blocks before and three after a key are not one utterance."""
    sound = Sound(blocks(5))
    bench = Bench(sound)
    sound.before = lambda n: bench.hearing.tell(Order(2, "other", 0.0)) if n == 2 else None
    assert bench.run(Order(1, "rule", 0.0)) == []
    assert bench.recogniser.rules[-1] == "other"


def test_the_sound_after_an_utterance_waits_for_its_answer() -> None:
    """The next blocks are already heard under the next question's rule."""
    bench = Bench(Sound(blocks(8)), then=Order(2, "next", 0.0))
    first, second = bench.run(Order(1, "rule", 0.0))
    assert (first.epoch, second.epoch) == (1, 2)


def test_a_hole_in_the_sound_breaks_the_utterance() -> None:
    """With sound lost in the middle nothing is heard, rather than something else."""
    assert Bench(Sound(blocks(5, damaged=[2]))).run(Order(1, "rule", 0.0)) == []


def test_nothing_is_heard_while_the_program_speaks() -> None:
    """Blocks inside a playback are dropped, and what was half heard before it is forgotten."""
    bench = Bench(Sound(blocks(6)))
    bench.duplex = HalfDuplex(lambda: 0.25, 0.0)
    bench.duplex.ends(bench.duplex.begins(0.0))
    bench.hearing = Hearing(bench.sound, bench.duplex, bench.load, bench.post)
    assert bench.run(Order(1, "rule", 0.0)) == []
    assert bench.recogniser.fed < 6


def test_no_rule_no_hearing() -> None:
    """An order without a rule listens to nothing."""
    bench = Bench(Sound(blocks(8)))
    assert bench.run(Order(1, None, 0.0)) == []
    assert bench.recogniser.fed == 0


def test_a_change_of_the_microphone_is_told_once() -> None:
    """Lost and back: one message each."""
    sound = Sound(blocks(6))
    bench = Bench(sound)

    def before(n: int) -> None:
        sound.trouble = MicrophoneError("Gone.") if n in {2, 3} else None

    sound.before = before
    bench.run(Order(1, None, 0.0))
    told = [
        None if each.trouble is None else each.trouble.message
        for each in bench.told
        if isinstance(each, MicrophoneIs)
    ]
    assert told == [None, "Gone.", None, None]
    assert bench.told[-1] == MicrophoneIs(MicState.ENDED, "script", None)


def test_a_model_that_cannot_be_used_is_told() -> None:
    """The session goes on by keypad, with one line."""
    bench = Bench(Sound(blocks(1)))
    error = CaptureError("There is no model.", "Install it.")

    def load() -> tuple[str, Recogniser]:
        """The recogniser."""
        raise error

    Hearing(bench.sound, bench.duplex, load, bench.post).run()
    assert bench.told == [EarIs("", error)]


def test_a_fault_is_told_and_not_silent() -> None:
    """A recogniser that fails must not look like a quiet room."""
    bench = Bench(Sound(blocks(4)))
    bench.recogniser.feed = {}.__getitem__
    bench.run(Order(1, "rule", 0.0))
    last = bench.told[-1]
    assert isinstance(last, EarIs)
    assert "KeyError" in str(last.trouble)


def loud(first: int, last: int, count: int, damaged: Sequence[int] = ()) -> list[Block]:
    """So many blocks; from the first to the last of these somebody speaks."""
    return [
        Block(BLOCK, RATE_HZ, n / 10, n in damaged, -20.0, -25.0 if first <= n <= last else -60.0)
        for n in range(count)
    ]


@pytest.mark.parametrize(("first", "early"), [(3, True), (6, False)], ids=["before", "at it"])
def test_speech_from_before_a_key_is_marked(first: int, early: bool) -> None:
    """A key changes the question at block six: who was speaking then has lost the beginning."""
    sound = Sound(loud(first, 7, 10))
    bench = Bench(sound)
    sound.before = lambda n: bench.hearing.tell(Order(2, "other", 0.0)) if n == 6 else None
    (heard,) = bench.run(Order(1, None, 0.0))
    assert (heard.epoch, heard.begun_early) == (2, early)


def test_speech_across_a_hole_is_marked() -> None:
    """Sound was lost while somebody spoke: what comes after it may be the end of another word."""
    bench = Bench(Sound(loud(3, 9, 13, damaged=[6])), Recogniser(each=7, quiet=2))
    (heard,) = bench.run(Order(1, "rule", 0.0))
    assert heard.begun_early


@pytest.mark.parametrize(
    ("first", "quiet", "early"), [(3, 2, True), (9, 4, False)], ids=["over it", "after it"]
)
def test_speech_over_the_programs_voice_is_marked(first: int, quiet: int, early: bool) -> None:
    """The gate opens at block five: an answer that sounds at once may lack its beginning."""
    bench = Bench(Sound(loud(first, 10, 13)), Recogniser(each=8, quiet=quiet))
    clock = [0.0]
    duplex = HalfDuplex(lambda: clock[0], 0.0)
    number = duplex.begins(0.45)
    clock[0] = 0.45
    duplex.ends(number)
    bench.hearing = Hearing(bench.sound, duplex, bench.load, bench.post)
    (heard,) = bench.run(Order(1, "rule", 0.0))
    assert heard.begun_early is early


def test_the_hiss_of_a_room_does_not_move_the_meter() -> None:
    """Only a level that changes by a step is shown, so that a quiet screen is not drawn anew."""
    levels = (-60.0, -58.5, -61.5, -59.0, -40.0, -41.0, -60.0)
    sound = Sound(
        [Block(BLOCK, RATE_HZ, n / 10, False, each, each) for n, each in enumerate(levels)]
    )
    bench, shown = Bench(sound), list[float]()
    sound.before = lambda _: shown.append(bench.hearing.meter.peak_dbfs)
    bench.run(Order(1, None, 0.0))
    assert shown[1:] == [-60.0, -60.0, -60.0, -60.0, -40.0, -40.0]
