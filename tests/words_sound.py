"""Speaks the calls with a word of one's own: `PYTHONPATH=demo_audio python tests/words_sound.py`.

One clip for each phrase into `words_audio`, by the demo's assessor (the Piper voice "joe", public
domain, CC0), with the noise of the demo's room. The extra `demo-sound` is needed. The same packages
give the same sound.
"""

from pathlib import Path

import numpy as np
import soundfile
from make_sound import EDGE_S, NOISE_RMS, RATE_HZ, Voices

FOLDER = Path(__file__).parent / "words_audio"
PHRASES = ("belly twenty two point six", "go to belly")


def main() -> None:
    """Speak every phrase once."""
    voices, noise = Voices(), np.random.default_rng(20)
    FOLDER.mkdir(exist_ok=True)
    edge = np.zeros(int(EDGE_S * RATE_HZ), np.float32)
    for phrase in PHRASES:
        sound = np.concatenate([edge, voices.speak("assessor", phrase), edge])
        sound += noise.normal(0, NOISE_RMS, len(sound)).astype(np.float32)
        place = FOLDER / f"{phrase.replace(' ', '_')}.ogg"
        soundfile.write(place, sound, RATE_HZ, format="OGG", subtype="VORBIS")


if __name__ == "__main__":
    main()
