"""The operating system's own voice, as a child process that writes a sound file.

The text goes in through the child's input: it is never part of a command line, and no shell sees
it.
"""

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from capture.sound.errors import SpeakerError
from capture.sound.samples import Samples

LIMIT_S = 8.0
"""A child that has not made its sound by then is ended."""

WORDS_PER_MINUTE = 165
_FILE = "FOLDCALL_SPEECH_FILE"
_RATE = "FOLDCALL_SPEECH_RATE"
_POWERSHELL = (
    "Add-Type -AssemblyName System.Speech; "
    "$voice = New-Object System.Speech.Synthesis.SpeechSynthesizer; "
    f"$voice.Rate = [int]$env:{_RATE}; "
    f"$voice.SetOutputToWaveFile($env:{_FILE}); "
    "$voice.Speak([Console]::In.ReadToEnd()); $voice.Dispose()"
)


@dataclass(frozen=True, slots=True)
class SystemSpeech:
    """A speech program and how it is called: `arguments(file, words per minute)`."""

    name: str
    arguments: Callable[[Path, int], list[str]]
    limit_s: float = LIMIT_S

    def speak(self, text: str, pace: float = 1.0) -> tuple[Samples, int]:
        """The samples of a text and their rate in Hz.

        Blocks until the child has ended, at most `limit_s`. SpeakerError when it fails or makes
        no sound.
        """
        rate = round(WORDS_PER_MINUTE * pace)
        with tempfile.TemporaryDirectory(prefix="foldcall-", ignore_cleanup_errors=True) as folder:
            file = Path(folder) / "speech.wav"
            # Windows speech counts from -10 to 10, each step about 10 percent.
            steps = str(max(-10, min(10, round((pace - 1) * 10))))
            try:
                subprocess.run(
                    self.arguments(file, rate),
                    input=text.encode(),
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.DEVNULL,
                    env=os.environ | {_FILE: str(file), _RATE: steps},
                    timeout=self.limit_s,
                    check=True,
                )
                samples, rate_hz = soundfile.read(file, dtype="float32", always_2d=True)
            except subprocess.TimeoutExpired as error:
                raise self._failed(f"made no sound within {self.limit_s:.0f} s") from error
            except subprocess.CalledProcessError as error:
                raise self._failed(f"ended with code {error.returncode}") from error
            except (OSError, soundfile.SoundFileError, RuntimeError) as error:
                raise self._failed("made no sound file") from error
        mono = samples.mean(axis=1, dtype=np.float32)
        if not len(mono) or not np.abs(mono).max() > 0:
            raise self._failed("made only silence")
        return mono, int(rate_hz)

    def _failed(self, how: str) -> SpeakerError:
        return SpeakerError(
            f"The system's voice ({self.name}) {how}.",
            "Read the screen; choose the voice 'bank' or 'beep' in the settings.",
        )


def find_system_speech(platform: str = sys.platform) -> SystemSpeech:
    """The speech program of this machine. SpeakerError if there is none."""
    if platform == "darwin" and (program := shutil.which("say")):
        return SystemSpeech("say", _say(program))
    if platform == "win32" and (program := shutil.which("powershell")):
        return SystemSpeech("Windows speech", _windows(program))
    for name in ("espeak-ng", "espeak"):
        if program := shutil.which(name):
            return SystemSpeech(name, _espeak(program))
    raise SpeakerError(
        "This machine has no speech program.",
        "On Debian and Ubuntu install espeak-ng, or choose the voice 'bank'.",
    )


def _say(program: str) -> Callable[[Path, int], list[str]]:
    return lambda file, rate: [
        *(program, "-r", str(rate), "-o", str(file)),
        *("--file-format=WAVE", "--data-format=LEI16@22050", "-f", "-"),
    ]


def _windows(program: str) -> Callable[[Path, int], list[str]]:
    # File and rate go through the environment: nothing is pasted into a script.
    return lambda _file, _rate: [
        *(program, "-NoProfile", "-NonInteractive", "-Command", _POWERSHELL)
    ]


def _espeak(program: str) -> Callable[[Path, int], list[str]]:
    return lambda file, rate: [
        *(program, "-v", "en-us", "-s", str(rate), "-w", str(file), "--stdin")
    ]
