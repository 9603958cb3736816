"""What the screen is told of microphone and recogniser: each change once, in one line."""

from capture.errors import CaptureError
from capture.hearing import EarIs, MicrophoneIs
from capture.shown import Shown
from capture.sound.source import MicState


class SoundNews:
    """Puts the state of the sound into `shown`, and says what is worth a line."""

    def __init__(self, shown: Shown) -> None:
        self._shown = shown
        self._lost = False
        self._trouble = ""

    def trouble(self, error: CaptureError) -> str:
        """The line about a device that fails; empty while it goes on failing in the same way.

        A speaker that is not there fails with each read-back, and would cover all other lines.
        """
        before, self._trouble = self._trouble, str(error)
        return "" if self._trouble == before else self._trouble

    def microphone(self, told: MicrophoneIs) -> str:
        """The line about a change of the microphone; empty for none."""
        self._shown.microphone = told
        if told.trouble is not None:
            self._lost = True
            return str(told.trouble)
        if told.state is MicState.LISTENING and self._lost:
            self._lost = False
            return f"The microphone '{told.name}' is back."
        return "The recording is over. The keypad goes on." if told.state is MicState.ENDED else ""

    def ear(self, told: EarIs) -> str:
        """The line about the recogniser; empty for none."""
        self._shown.recogniser, self._shown.ear_trouble = told.name, told.trouble
        return "" if told.trouble is None else f"Keypad only: {told.trouble}"
