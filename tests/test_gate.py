"""The gate, the keeper of the gate, and the measured tail of the room."""

from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture.sound.duplex import Admission, HalfDuplex
from capture.sound.echo import Heard, echo_tail_s
from capture.sound.gate import Gate

seconds = st.floats(0, 100, allow_nan=False)
lengths = st.floats(0, 20, allow_nan=False)
tails = st.floats(0, 1, allow_nan=False)


@given(tail=tails, start=seconds, plays=lengths, block_at=seconds, block=st.floats(0, 0.5))
def test_no_block_that_touches_the_playback_or_its_tail_counts(
    tail: float, start: float, plays: float, block_at: float, block: float
) -> None:
    """Sound counts exactly when it lies wholly before the voice or wholly after its tail."""
    gate = Gate(tail_s=tail).began(1, start, plays).ended(1, start + plays)
    apart = block_at + block < start or block_at > start + plays + tail
    assert gate.counts(block_at, block_at + block) == apart


@given(
    plays=st.lists(st.tuples(seconds, lengths), min_size=1, max_size=6),
    at=seconds,
    told=st.data(),
)
def test_an_end_never_closes_what_was_open(
    plays: list[tuple[float, float]], at: float, told: st.DataObject
) -> None:
    """Being told that a playback is over can only let more sound through."""
    gate = Gate()
    for number, (start, length) in enumerate(sorted(plays), 1):
        gate = gate.began(number, start, length)
    number = told.draw(st.integers(1, len(plays)))
    start, length = sorted(plays)[number - 1]
    after = gate.ended(number, start + length)
    assert after.counts(at, at) or not gate.counts(at, at)


@given(start=seconds, length=lengths, late=st.floats(0, 50))
def test_the_gate_opens_even_if_no_end_is_ever_told(
    start: float, length: float, late: float
) -> None:
    """A driver that never answers cannot keep the program deaf."""
    gate = Gate(tail_s=0.25, limit_s=2.0).began(1, start, length)
    # A microsecond covers the rounding of the sums.
    after = start + length + 2.0 + 0.25 + 1e-6 + late
    assert gate.counts(after, after + 0.1)


@given(start=seconds, length=lengths, at=seconds)
def test_the_opening_time_that_is_shown_is_the_real_one(
    start: float, length: float, at: float
) -> None:
    """The gate is closed until the time it names, and open just after it."""
    gate = Gate().began(1, start, length).ended(1, start + length)
    opens = gate.opens_s(at)
    assert (opens == at) == gate.open_at(at) or opens == start + length + gate.tail_s
    assert gate.open_at(opens + 1e-6) or opens == at < start


def test_an_old_end_does_not_open_a_new_playback() -> None:
    """A read-back that replaces another keeps the gate closed when the first one reports."""
    gate = Gate().began(1, 0.0, 5.0).began(2, 1.0, 5.0).ended(1, 1.1)
    assert not gate.counts(2.0, 2.1)


def test_only_the_first_end_counts() -> None:
    """A second report about the same playback changes nothing."""
    gate = Gate(tail_s=0.25).began(1, 0.0, 1.0).ended(1, 1.0)
    assert gate.ended(1, 30.0) == gate


def test_playbacks_of_long_ago_are_forgotten() -> None:
    """A day of read-backs does not pile up."""
    gate = Gate()
    for number in range(500):
        gate = gate.began(number, number * 10.0, 1.0).ended(number, number * 10.0 + 1)
    assert len(gate.playbacks) < 10


@dataclass(frozen=True)
class Stretch:
    captured_at_s: float
    ends_at_s: float


def test_a_late_block_is_judged_by_its_capture() -> None:
    """A block that waited in the queue counts by when it was captured, whatever the time is now."""
    clock = [10.0]
    duplex = HalfDuplex(lambda: clock[0], echo_tail_s=0.25)
    number = duplex.begins(2.0)
    clock[0] = 12.0
    duplex.ends(number)
    clock[0] = 20.0
    assert duplex.admit(Stretch(9.8, 9.9)) is Admission.TAKE
    assert duplex.admit(Stretch(9.9, 10.0)) is Admission.DROP
    assert duplex.admit(Stretch(12.1, 12.2)) is Admission.DROP
    assert duplex.admit(Stretch(12.3, 12.4)) is Admission.FIRST
    assert duplex.admit(Stretch(12.4, 12.5)) is Admission.TAKE


def test_the_speakers_latency_lengthens_the_tail() -> None:
    """Sound that is still in the speaker's buffers when the program is done is kept out."""
    clock = [0.0]
    duplex = HalfDuplex(lambda: clock[0], echo_tail_s=0.25)
    duplex.ends(duplex.begins(0.0), latency_s=0.1)
    assert duplex.tail_s == pytest.approx(0.35)
    clock[0] = 0.3
    assert not duplex.open
    assert duplex.opens_in_s == pytest.approx(0.05)
    clock[0] = 0.36
    assert duplex.open


def levels(*, room: float, echo_s: float, slam_at: float | None = None) -> list[Heard]:
    """A tone from 1.0 to 1.5 s at -20 dBFS, its echo, and a room, every 50 ms."""
    found = []
    for step in range(1, 60):
        at = step * 0.05
        loud = 1.0 < at <= 1.5 + echo_s + 1e-9 or (slam_at is not None and abs(at - slam_at) < 0.02)
        found.append(Heard(at, -20.0 if loud else room))
    return found


@pytest.mark.parametrize("echo_s", [0.0, 0.1, 0.35])
@pytest.mark.parametrize("room", [-80.0, -45.0])
def test_the_tail_is_measured_from_what_the_microphone_hears(echo_s: float, room: float) -> None:
    """The time from the end of the voice to the last of its echo comes out."""
    tail = echo_tail_s(levels(room=room, echo_s=echo_s), 1.0, 1.5)
    assert tail == pytest.approx(echo_s, abs=1e-6)


def test_a_door_that_slams_later_is_no_echo() -> None:
    """Noise after the echo has died away does not lengthen the tail."""
    heard = levels(room=-60.0, echo_s=0.1, slam_at=2.5)
    assert echo_tail_s(heard, 1.0, 1.5) == pytest.approx(0.1)


def test_a_speaker_that_is_not_heard_gives_no_tail() -> None:
    """With a headset nothing can be measured, and nothing is claimed."""
    assert echo_tail_s([Heard(at * 0.05, -60.0) for at in range(60)], 1.0, 1.5) is None
    assert echo_tail_s([], 1.0, 1.5) is None
