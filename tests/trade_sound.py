"""Speaks the calls of the whole visit: `PYTHONPATH=demo_audio python tests/trade_sound.py`.

One clip for each phrase, by the demo's assessor, with the noise of the demo's room. The extra
`demo-sound` is needed. The same packages give the same sound.
"""

from pathlib import Path

import numpy as np
import soundfile
from make_sound import EDGE_S, NOISE_RMS, RATE_HZ, Voices
from test_whole_visit import CALLS, clip_of

FOLDER = Path(__file__).parent / "trade_audio"


def main() -> None:
    """Speak every phrase once."""
    voices, noise = Voices(), np.random.default_rng(20)
    FOLDER.mkdir(exist_ok=True)
    for old in FOLDER.glob("*.ogg"):
        old.unlink()
    edge = np.zeros(int(EDGE_S * RATE_HZ), np.float32)
    for phrase, _ in dict(CALLS).items():
        sound = np.concatenate([edge, voices.speak("assessor", phrase), edge])
        sound += noise.normal(0, NOISE_RMS, len(sound)).astype(np.float32)
        soundfile.write(clip_of(phrase), sound, RATE_HZ, format="OGG", subtype="VORBIS")


if __name__ == "__main__":
    main()
