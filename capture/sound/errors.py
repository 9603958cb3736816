"""What can go wrong with sound devices, told to a person."""

from capture.errors import CaptureError

KEYPAD_HINT = "The keypad does everything the voice does."


class DeviceError(CaptureError):
    """A sound device cannot be used."""


class MicrophoneError(DeviceError):
    """The microphone cannot be used."""


class SpeakerError(DeviceError):
    """The speaker cannot be used: what should be said is only on the screen."""


class NoSoundLibraryError(DeviceError):
    """PortAudio is not installed."""

    def __init__(self) -> None:
        super().__init__(
            "There is no PortAudio library, so no microphone and no speaker.",
            f"On Debian and Ubuntu install libportaudio2. {KEYPAD_HINT}",
        )
