"""The program does not hear itself: its own read-back, played into the microphone, is dropped.

The read-back comes from the bank and goes through a virtual room into the real recogniser.
"""

from dataclasses import dataclass

import numpy as np
import pytest

from capture.language.grammar import LISTENING
from capture.pack import Pack
from capture.recognise.port import UNKNOWN, Heard
from capture.sound.clips import ClipBank, open_bank
from capture.sound.cues import OPEN_FOR, Cue, tone
from capture.sound.duplex import Admission, HalfDuplex
from capture.sound.samples import Samples, resampled, to_bytes
from capture.sound.source import BLOCK_S, Block
from capture.wiring import open_ear

RATE_HZ = 16_000
RULES = ("reading_wanted", "readback")
SITES = {"chest", "triceps", "thigh"}
READ_BACK = "fifteen point two"


@pytest.fixture(scope="module")
def bank(pack: Pack) -> ClipBank:
    """The bank of the English pack."""
    return open_bank(pack.folder / "prompts")


@dataclass
class Listener:
    """The listening half of a session: blocks, gate, recogniser."""

    pack: Pack

    def __post_init__(self) -> None:
        rules = [LISTENING + rule for rule in RULES]
        self.recogniser = open_ear(self.pack, rules, SITES).listener(RATE_HZ, rules[0])

    def hears(self, sound: Samples, duplex: HalfDuplex | None) -> list[Heard]:
        """All utterances of a sound that begins at 0 s; without a gate if `duplex` is None."""
        found: list[Heard | None] = []
        size = round(BLOCK_S * RATE_HZ)
        for at in range(0, len(sound), size):
            block = Block(to_bytes(sound[at : at + size]), RATE_HZ, at / RATE_HZ, False, 0.0, 0.0)
            admission = Admission.TAKE if duplex is None else duplex.admit(block)
            if admission is Admission.FIRST:
                self.recogniser.reset()
            if admission is not Admission.DROP:
                found.append(self.recogniser.feed(block.sound))
        found.append(self.recogniser.finish())
        return [heard for heard in found if heard is not None]


@pytest.fixture(scope="module")
def loaded(pack: Pack) -> Listener:
    """The real recogniser behind the gate, loaded once."""
    return Listener(pack)


@pytest.fixture
def listener(loaded: Listener) -> Listener:
    """The recogniser, waiting for a reading, with nothing heard."""
    loaded.recogniser.listen(LISTENING + RULES[0])
    loaded.recogniser.reset()
    return loaded


def room_tone(seconds: float) -> Samples:
    """A quiet room, at -70 dBFS."""
    noise = np.random.default_rng(7).normal(0, 10 ** (-70 / 20), round(seconds * RATE_HZ))
    return noise.astype(np.float32)


def echoing(said: Samples) -> Samples:
    """What a microphone hears of a loudspeaker: softer, and with an echo of 0.15 s."""
    heard = np.concatenate([said, np.zeros(round(0.15 * RATE_HZ), np.float32)]) * 0.4
    heard[round(0.15 * RATE_HZ) :] += said * 0.1
    return heard


def spoken(bank: ClipBank, text: str) -> Samples:
    """The bank's voice at the recogniser's rate."""
    return resampled(bank.say(text), bank.rate_hz, RATE_HZ)


def closed_for(start_s: float, length_s: float) -> HalfDuplex:
    """A gate that was closed for a playback."""
    clock = [start_s]
    duplex = HalfDuplex(lambda: clock[0])
    number = duplex.begins(length_s)
    clock[0] = start_s + length_s
    duplex.ends(number, latency_s=0.03)
    return duplex


def texts(found: list[Heard]) -> list[str]:
    """The calls among what was heard."""
    return [heard.text for heard in found if UNKNOWN not in heard.text]


def test_the_read_back_is_not_captured(listener: Listener, bank: ClipBank) -> None:
    """With the gate nothing at all comes of the program's own voice and its echo."""
    said = spoken(bank, READ_BACK)
    heard = np.concatenate([room_tone(1.0), echoing(said), room_tone(1.5)])
    duplex = closed_for(1.0, len(said) / RATE_HZ)
    assert listener.hears(heard, duplex) == []


def test_without_the_gate_it_would_have_been(listener: Listener, bank: ClipBank) -> None:
    """The same sound without the gate is a reading: the test above keeps something out."""
    heard = np.concatenate([room_tone(1.0), echoing(spoken(bank, READ_BACK)), room_tone(1.5)])
    assert texts(listener.hears(heard, None)) == [READ_BACK]


def test_a_call_after_the_read_back_is_heard_alone(listener: Listener, bank: ClipBank) -> None:
    """The assessor's call half a second later comes out whole, with nothing of the voice in it."""
    said, call = spoken(bank, READ_BACK), spoken(bank, "thirty")
    heard = np.concatenate([room_tone(0.5), said, room_tone(0.5), call, room_tone(1.5)])
    assert texts(listener.hears(heard, closed_for(0.5, len(said) / RATE_HZ))) == ["thirty"]


def test_a_call_that_began_before_the_voice_leads_to_nothing(
    listener: Listener, bank: ClipBank
) -> None:
    """Half a call, cut off by the program's own voice, is forgotten, not glued to the next."""
    half = spoken(bank, "fifty")
    said, call = spoken(bank, READ_BACK), spoken(bank, "thigh twelve")
    heard = np.concatenate([room_tone(0.3), half, said, room_tone(0.6), call, room_tone(1.5)])
    start_s = 0.3 + len(half) / RATE_HZ
    found = texts(listener.hears(heard, closed_for(start_s, len(said) / RATE_HZ)))
    assert found == ["thigh twelve"]


@pytest.mark.parametrize("level", [0.05, 0.2, 1.0, 4.0])
@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("cue", sorted(OPEN_FOR))
def test_a_tone_for_which_the_gate_stays_open_is_heard_as_nothing(
    listener: Listener, cue: Cue, rule: str, level: float
) -> None:
    """Faint or loud, it is no call: neither a number nor a yes."""
    listener.recogniser.listen(LISTENING + rule)
    heard = np.concatenate([room_tone(0.5), level * tone(cue, RATE_HZ), room_tone(1.2)])
    assert texts(listener.hears(heard, None)) == []


@pytest.mark.parametrize("cue", sorted(set(Cue) - OPEN_FOR))
def test_every_other_tone_is_kept_out(listener: Listener, cue: Cue) -> None:
    """With the gate nothing comes of a tone, whatever the recogniser would make of it."""
    sound = tone(cue, RATE_HZ)
    for rule in RULES:
        listener.recogniser.listen(LISTENING + rule)
        duplex = closed_for(0.5, len(sound) / RATE_HZ)
        heard = np.concatenate([room_tone(0.5), echoing(sound), room_tone(1.2)])
        assert listener.hears(heard, duplex) == []


@pytest.mark.parametrize("cue", sorted(OPEN_FOR))
@pytest.mark.parametrize("pause_s", [0.03, 0.15])
@pytest.mark.parametrize(
    "call", ["fifteen", "fifty point two", "triceps nine", "eight point four", "thirty one"]
)
def test_a_call_right_after_a_tone_is_heard_whole(
    listener: Listener, bank: ClipBank, cue: Cue, pause_s: float, call: str
) -> None:
    """The tone that says "read the dial" does not spoil the reading that follows it."""
    heard = np.concatenate(
        [room_tone(0.5), tone(cue, RATE_HZ), room_tone(pause_s), spoken(bank, call), room_tone(1.5)]
    )
    assert texts(listener.hears(heard, None)) == [call]


@pytest.mark.parametrize("value", [*range(120, 210, 10), *range(300, 1000, 100), 55, 95, 505, 999])
def test_the_prompts_say_their_numbers_clearly(
    listener: Listener, bank: ClipBank, pack: Pack, value: int
) -> None:
    """A listener that knows the grammar takes each number of the bank for itself."""
    from capture.wording.numbers import NumberWords

    text = NumberWords(pack.grammar).plain(value)
    heard = np.concatenate([room_tone(0.3), spoken(bank, text), room_tone(1.2)])
    assert texts(listener.hears(heard, None)) == [text]
