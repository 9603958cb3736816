"""The bank's sound: fragments joined into what is said, to the sample."""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import soundfile

from capture.sound.bank import BankError, BankIndex, Clip, read_index
from capture.sound.samples import Samples, paced

INDEX_FILE = "prompts.toml"
_HINT = "Install the language pack again, or choose another voice in the settings."


@dataclass(frozen=True, slots=True)
class ClipBank:
    """A loaded bank. One thread uses it."""

    index: BankIndex
    samples: Samples
    _made: dict[tuple[int, float], Samples] = field(default_factory=dict, repr=False)

    @property
    def rate_hz(self) -> int:
        """Rate of the samples that `say` gives."""
        return self.index.rate_hz

    def say(self, text: str, pace: float = 1.0) -> Samples:
        """The samples of a text. BankError if any word of it is not in the bank.

        `pace` is for the clips. The pauses stay: they are what tells one digit from the next.
        """
        parts: list[Samples] = [np.zeros(0, np.float32)]
        steps = self.index.steps(text)
        for number, step in enumerate(steps, 1):
            parts.append(self._clip(step.clip, pace))
            if number < len(steps):
                parts.append(np.zeros(round(step.pause_s * self.rate_hz), np.float32))
        return np.concatenate(parts)

    def _clip(self, clip: Clip, pace: float) -> Samples:
        key = (clip.start, pace)
        if key not in self._made:
            cut = self.samples[clip.start : clip.start + clip.length]
            self._made[key] = paced(cut, self.rate_hz, pace)
        return self._made[key]


def open_bank(folder: Path) -> ClipBank:
    """Load a bank. Raises BankError for one that is missing, damaged or cut short."""
    file = folder / INDEX_FILE
    try:
        index = read_index(file.read_text(encoding="utf-8"), file.name)
        samples, rate_hz = soundfile.read(folder / index.file, dtype="float32")
    except (OSError, UnicodeDecodeError, soundfile.SoundFileError, RuntimeError) as error:
        raise BankError(f"The spoken prompts in {folder} cannot be read.", _HINT) from error
    needed = max(clip.start + clip.length for clip in index.clips.values())
    if rate_hz != index.rate_hz or samples.ndim != 1 or len(samples) < needed:
        raise BankError(f"The spoken prompts in {folder} do not match their index.", _HINT)
    return ClipBank(index, samples)
