"""The voice that reads back: from the bank, from the system, as tones, or not at all."""

from enum import StrEnum
from typing import Protocol

import numpy as np

from capture.sound.bank import BankError
from capture.sound.clips import ClipBank
from capture.sound.cues import OPEN_FOR, Cue, tone
from capture.sound.player import Player, Report
from capture.sound.samples import Samples, resampled
from capture.sound.system_speech import LIMIT_S as SYSTEM_LIMIT_S
from capture.sound.system_speech import SystemSpeech

SLOWEST, FASTEST = 0.8, 1.15
"""Paces at which the recogniser still takes every number of the bank for itself; 1 is the bank's
own. At 1.25 it took "eighteen" for "thirteen"."""

S_PER_WORD = 0.4
"""A guess for voices whose length is not known ahead."""

_TONE_RATE_HZ = 8_000


class VoiceKind(StrEnum):
    """The voices that can be chosen in the settings."""

    BANK = "bank"
    SYSTEM = "system"
    BEEP = "beep"
    SILENT = "silent"


class Voice(Protocol):
    """Makes the program heard. Every call returns at once.

    What could not be played is told to the `report` of its player. Nothing here stands for a
    yes: a read-back that nobody heard waits like any other.
    """

    def say(self, text: str, cue: Cue = Cue.TELL, then: Cue | None = None) -> float:
        """Say a text, cutting off what is being said; the seconds that it should take.

        `cue` is the tone that stands for the text where it is not, or cannot be, spoken. `then`
        is a tone right after the text, such as the one that says that the program listens.
        """
        ...

    def sound(self, cue: Cue) -> float:
        """Sound a tone; its seconds, 0 when it is left out because speech goes on."""
        ...

    def stop(self) -> None:
        """Be silent at once: a key cuts a read-back off."""
        ...

    @property
    def speaking(self) -> bool:
        """Whether speech is being played now."""
        ...

    def close(self) -> None:
        """Let go of the speaker."""
        ...


class SilentVoice:
    """Says nothing, and takes no time for it."""

    def say(self, text: str, cue: Cue = Cue.TELL, then: Cue | None = None) -> float:  # noqa: ARG002
        """Nothing."""
        return 0.0

    def sound(self, cue: Cue) -> float:  # noqa: ARG002
        """Nothing."""
        return 0.0

    def stop(self) -> None:
        """Nothing."""

    @property
    def speaking(self) -> bool:
        """Never."""
        return False

    def close(self) -> None:
        """Nothing."""


class BeepVoice:
    """Tones only. The dwell tone leaves the gate open: the call follows it at once."""

    def __init__(self, player: Player) -> None:
        self._player = player

    def say(self, text: str, cue: Cue = Cue.TELL, then: Cue | None = None) -> float:  # noqa: ARG002
        """The tone that stands for the text."""
        return self.sound(cue)

    def sound(self, cue: Cue) -> float:
        """Sound a tone."""
        return self._player.play(
            lambda rate_hz: tone(cue, rate_hz),
            _length_s(cue),
            is_speech=False,
            closes_gate=cue not in OPEN_FOR,
        )

    def stop(self) -> None:
        """Be silent at once."""
        self._player.stop()

    @property
    def speaking(self) -> bool:
        """Whether speech is being played now."""
        return self._player.speaking

    def close(self) -> None:
        """Let go of the speaker."""
        self._player.close()


class BankVoice(BeepVoice):
    """Speaks with the clips of a bank; every length is known to the sample.

    A text with a word that the bank lacks is reported and sounded as its tone, never said in
    part. `pace` is how fast, 0.8 to 1.15.
    """

    def __init__(self, player: Player, bank: ClipBank, report: Report, pace: float = 1.0) -> None:
        super().__init__(player)
        self._bank = bank
        self._report = report
        self._pace = min(FASTEST, max(SLOWEST, pace))

    def say(self, text: str, cue: Cue = Cue.TELL, then: Cue | None = None) -> float:
        """Say a text."""
        try:
            samples = self._bank.say(text, self._pace)
        except BankError as error:
            self._report(error)
            self._player.stop()
            return self.sound(cue)
        bank_hz = self._bank.rate_hz
        return self._player.play(
            lambda rate_hz: _followed(resampled(samples, bank_hz, rate_hz), then, rate_hz),
            len(samples) / bank_hz + _length_s(then),
        )


class SystemVoice(BeepVoice):
    """Speaks with the voice of the operating system, which makes the sound in a child process.

    The sound is then played like any other, so that a failure is seen. `say` gives a guess of
    the length.
    """

    def __init__(self, player: Player, speech: SystemSpeech, pace: float = 1.0) -> None:
        super().__init__(player)
        self._speech = speech
        self._pace = min(FASTEST, max(SLOWEST, pace))

    def say(self, text: str, cue: Cue = Cue.TELL, then: Cue | None = None) -> float:  # noqa: ARG002
        """Say a text."""
        pace = self._pace

        def at_rate(rate_hz: int) -> Samples:
            samples, made_hz = self._speech.speak(text, pace)
            return _followed(resampled(samples, made_hz, rate_hz), then, rate_hz)

        guess_s = S_PER_WORD * len(text.split()) / pace + _length_s(then)
        return self._player.play(at_rate, guess_s, limit_s=SYSTEM_LIMIT_S + guess_s)


def _length_s(cue: Cue | None) -> float:
    if cue is None:
        return 0.0
    return len(tone(cue, _TONE_RATE_HZ)) / _TONE_RATE_HZ


def _followed(samples: Samples, cue: Cue | None, rate_hz: int) -> Samples:
    if cue is None:
        return samples
    return np.concatenate([samples, tone(cue, rate_hz)])
