"""GnuSpeech: a voice without a speaker, computed from the shape of a throat and a mouth."""

import json
import random
import subprocess
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from capture.training.voices import CMU_RESPELLING, Spoken, read_wave, respelled

_SCRIPT = Path(__file__).with_name("gnuspeech.mjs")


@dataclass(frozen=True, slots=True)
class Body:
    """How long the vocal tract of some people is, and how high they speak by themselves."""

    name: str
    shortest_cm: float
    longest_cm: float
    pitch: float
    weight: int


BODIES = (
    Body("man", 15.5, 19.0, -12.0, 4),
    Body("woman", 13.2, 16.0, 0.0, 4),
    Body("large child", 12.0, 14.0, 2.5, 2),
    Body("small child", 10.0, 12.0, 5.0, 1),
)
"""Pitch in semitones from middle C; the synthesiser's own four kinds, made wider."""


def speaker(body: Body, rng: random.Random) -> dict[str, dict[str, float]]:
    """Draw one speaker: values of the synthesiser's files by file and name."""

    def between(low: float, high: float) -> float:
        return round(rng.uniform(low, high), 3)

    closing = between(15, 32)
    return {
        "voice_male": {
            "vocal_tract_length": between(body.shortest_cm, body.longest_cm),
            "glottal_pulse_tp": between(30, 46),
            "glottal_pulse_tn_min": closing,
            "glottal_pulse_tn_max": closing,
            "reference_glottal_pitch": body.pitch + between(-4, 4),
            "breathiness": between(0.2, 4),
            "global_radius_coef": between(0.92, 1.1),
            "global_nose_radius_coef": between(0.85, 1.15),
            **{f"radius_{section}_coef": between(0.88, 1.15) for section in range(1, 9)},
        },
        "trm": {
            "mouth_coefficient": between(3000, 6000),
            "nose_coefficient": between(3000, 6000),
            "throat_cutoff": between(800, 2500),
            "throat_volume": between(0, 12),
            "loss_factor": between(0.4, 2.5),
            "mix_offset": between(44, 54),
        },
        "trm_control_model": {
            "tempo": between(0.8, 1.35),
            "pitch_offset": between(-6, -1),
            "drift_deviation": between(0.2, 1.5),
            "notional_pitch": between(0, 4),
            "pretonic_lift": between(1, 6),
            "tonic_range": between(-12, -2),
            "tonic_movement": between(-6, 8),
        },
    }


@dataclass(frozen=True, slots=True)
class Gnuspeech:
    """npm's @echogarden/gnuspeech-wasm 0.3.0 (GPL-3), run by node: every phrase another speaker.

    *folder* is where the package was unpacked. Eight times faster than it is heard on one core.
    """

    folder: Path

    def speak(self, texts: Sequence[str], rng: random.Random) -> Iterator[Spoken]:
        """Speak each phrase with a throat, a melody and a pace of its own."""
        command = ["node", str(_SCRIPT), str(self.folder.resolve())]
        with (
            tempfile.TemporaryDirectory() as folder,
            subprocess.Popen(
                command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
            ) as node,
        ):
            assert node.stdin is not None
            assert node.stdout is not None
            path = Path(folder) / "spoken.wav"
            for text in texts:
                (body,) = rng.choices(BODIES, [body.weight for body in BODIES])
                job = {"text": respelled(text, CMU_RESPELLING), "out": str(path)}
                print(json.dumps({**job, **speaker(body, rng)}), file=node.stdin, flush=True)
                if not node.stdout.readline():
                    raise RuntimeError(f"GnuSpeech ended at {text!r}")
                yield Spoken(f"gnuspeech/{body.name}", text, *read_wave(path))
            node.stdin.close()
