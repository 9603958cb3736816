"""When a call is over: the quiet after it, told from the level, and how long it must be."""

import pytest

from capture.recognise.automaton import PlainAutomaton, WordArc, WordAutomaton, determined, simplify
from capture.recognise.ending import CLOSED_S, FRAME_S, OPEN_S, Quiet, needed_quiet_s

ROOM_DB, SPEECH_DB = 20.0, 60.0


def grammar() -> PlainAutomaton:
    """The calls "twelve", "twelve point five" and "undo"."""
    arcs = (
        WordArc(0, "twelve", 0.0, 1),
        WordArc(1, "point", 0.0, 2),
        WordArc(2, "five", 0.0, 3),
        WordArc(0, "undo", 0.0, 3),
    )
    return determined(simplify(WordAutomaton(0, {1: 0.0, 3: 0.0}, arcs)))


@pytest.mark.parametrize(
    ("said", "needed_s"),
    [
        ("", None),
        ("twelve", OPEN_S),
        ("twelve point", None),
        ("twelve point five", CLOSED_S),
        ("undo", CLOSED_S),
        ("undo five", None),
        ("[unk]", None),
    ],
)
def test_a_call_that_may_go_on_is_waited_for_longer(said: str, needed_s: float | None) -> None:
    """Words that are no whole call are never ended by the quiet alone."""
    assert needed_quiet_s(grammar(), said.split()) == needed_s


def quiet_after(*levels: tuple[float, float]) -> Quiet:
    """Levels in dB with how long each lasts in seconds."""
    quiet = Quiet()
    for level_db, seconds in levels:
        for _ in range(round(seconds / FRAME_S)):
            quiet.take(level_db)
    return quiet


def test_the_quiet_after_speech_is_counted() -> None:
    """From the end of the speech on."""
    quiet = quiet_after((ROOM_DB, 1.0), (SPEECH_DB, 0.6), (ROOM_DB + 3, 0.4))
    assert quiet.seconds == pytest.approx(0.4)


def test_a_room_in_which_nobody_spoke_is_no_quiet_after_speech() -> None:
    """Else the decoder would be asked for words all day."""
    assert quiet_after((ROOM_DB, 3.0)).seconds == 0.0
    assert quiet_after((ROOM_DB, 1.0), (ROOM_DB + 12, 2.0)).seconds == 0.0


def test_speech_in_noise_is_left_to_the_decoder() -> None:
    """Ten decibel over the noise, a faint end of a word cannot be told from the noise."""
    assert quiet_after((50.0, 1.0), (SPEECH_DB, 0.6), (50.0, 1.0)).seconds == 0.0


def test_a_rest_is_over_when_speech_goes_on() -> None:
    """Two frames are enough, one is a click."""
    rest = ((ROOM_DB, 1.0), (SPEECH_DB, 0.6), (ROOM_DB, 0.4))
    assert quiet_after(*rest, (SPEECH_DB, 0.04)).seconds == 0.0
    assert quiet_after(*rest, (SPEECH_DB, 0.02)).seconds > 0.4


def test_a_faint_end_is_still_speech() -> None:
    """The last sound of "six" lies some 25 dB below its vowel."""
    assert quiet_after((ROOM_DB, 1.0), (SPEECH_DB, 0.3), (SPEECH_DB - 25, 0.2)).seconds == 0.0


def test_the_next_call_begins_with_the_room_as_it_is() -> None:
    """The floor stays; what was loud before does not count any more."""
    quiet = quiet_after((ROOM_DB, 1.0), (SPEECH_DB, 0.6), (ROOM_DB, 0.4))
    quiet.begin()
    quiet.take(ROOM_DB)
    assert quiet.seconds == 0.0
    for _ in range(20):
        quiet.take(SPEECH_DB)
    for _ in range(20):
        quiet.take(ROOM_DB)
    assert quiet.seconds == pytest.approx(20 * FRAME_S)


def test_a_room_that_grows_louder_becomes_the_new_quiet() -> None:
    """A fan that is switched on does not keep a call open for ever."""
    quiet = quiet_after((ROOM_DB, 1.0), (ROOM_DB + 12, 8.0), (SPEECH_DB, 0.5), (ROOM_DB + 12, 0.5))
    assert quiet.seconds == pytest.approx(0.5)
