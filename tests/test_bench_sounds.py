"""How the benchmark's calls are put together from what voices say."""

import random
from collections.abc import Iterator, Sequence

import numpy as np
import pytest

from capture.training.corpus import RATE_HZ, word_alone
from capture.training.texts import spoken_whole
from capture.training.voices import Spoken
from tests.bench.sounds import REST_S, Resting, recorded_numbers


def tone(lasts_s: float, level: float = 0.5) -> np.ndarray:
    """A steady sound."""
    return (level * np.sin(np.arange(round(lasts_s * RATE_HZ)) / 7)).astype(np.float32)


def room(lasts_s: float) -> np.ndarray:
    """Noise 40 dB below the tone."""
    count = round(lasts_s * RATE_HZ)
    return np.random.default_rng(count).normal(0, 0.0035, count).astype(np.float32)


def test_a_recorded_word_ends_with_its_first_long_quiet() -> None:
    """A second of room and the click of a key after it do not belong to the word."""
    sound = np.concatenate([room(0.3), tone(0.4), room(1.0), tone(0.01), room(0.1)])
    assert len(word_alone(sound)) / RATE_HZ == pytest.approx(0.48, abs=0.03)


def test_the_stop_within_a_word_is_no_end() -> None:
    """Before the t of "eight" it is quiet for a tenth of a second."""
    sound = np.concatenate([room(0.3), tone(0.3), room(0.12), tone(0.05, 0.2), room(0.8)])
    assert len(word_alone(sound)) / RATE_HZ == pytest.approx(0.55, abs=0.03)


def test_silence_has_no_word() -> None:
    """Nothing, or less than a hundredth of a second, comes back as nothing."""
    assert len(word_alone(np.zeros(0, np.float32))) == 0
    assert len(word_alone(np.zeros(100, np.float32))) == 0


class Voice:
    """Says each phrase as a tone of 0.3 s a word; which of two speakers, the draw tells."""

    def speak(self, texts: Sequence[str], rng: random.Random) -> Iterator[Spoken]:
        """Speak the phrases in turn."""
        for text in texts:
            level = rng.choice([0.2, 0.5])
            yield Spoken(f"voice/{level}", text, tone(0.3 * len(text.split()), level), RATE_HZ)


def test_a_call_with_a_rest_has_one_rest_and_one_speaker() -> None:
    """The parts come from one speaker and are as far apart as was drawn."""
    texts = ["triceps twelve point five", "twelve and a half"] * 10
    for spoken in Resting(Voice()).speak(texts, random.Random(1)):
        level = float(spoken.voice.removeprefix("voice/"))
        quiet = np.abs(spoken.samples) < 1e-6
        rest_s = (quiet.sum() - 4) / RATE_HZ
        assert REST_S[0] - 0.01 <= rest_s <= REST_S[1] + 0.01
        assert len(spoken.samples) / RATE_HZ == pytest.approx(1.2 + rest_s, abs=0.02)
        halves = np.split(spoken.samples, [int(np.flatnonzero(quiet)[len(quiet[quiet]) // 2])])
        assert [np.abs(half).max() for half in halves] == pytest.approx([level] * 2, abs=0.01)


def test_the_same_draws_give_the_same_rests() -> None:
    """The benchmark's sounds are the same each time they are made."""
    made = [
        [each.samples for each in Resting(Voice()).speak(["one point two"] * 3, random.Random(7))]
        for _ in range(2)
    ]
    assert all(np.array_equal(one, other) for one, other in zip(*made, strict=True))


def test_each_joined_number_of_a_person_is_as_long_as_its_words() -> None:
    """1 to 19, the tens, and 21 to 99: once each, with a short gap where two words meet."""
    spoken = {each.text: len(each.samples) for each in recorded_numbers(random.Random(1))}
    assert set(spoken) == {spoken_whole(number) for number in range(1, 100)}
    tens, ones = spoken["forty"], spoken["seven"]
    assert 0.02 <= (spoken["forty seven"] - tens - ones) / RATE_HZ <= 0.12
