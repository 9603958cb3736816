"""Short tones that are not speech: soft, and told apart by how they rise and fall."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from capture.sound.samples import Samples
from capture.visit.announcement import (
    Announcement,
    AskPermission,
    AskReading,
    AskTape,
    ReadBack,
    ReadBackTape,
    Refused,
    Saved,
    SavedTape,
    SayAgain,
    Stopped,
)


class Cue(StrEnum):
    """What a tone tells."""

    DWELL = "dwell"
    """The jaws have been on for as long as they should: read the dial."""
    LISTENING = "listening"
    """The program has stopped speaking: it listens."""
    NEXT = "next"
    """The next site or question is on the screen."""
    CONFIRM = "confirm"
    """Something waits for its yes."""
    DOUBT = "doubt"
    """A doubtful reading waits for its yes."""
    SAVED = "saved"
    """It counts."""
    ERROR = "error"
    """Nothing was taken."""
    TELL = "tell"
    """Anything else."""


@dataclass(frozen=True, slots=True)
class _Note:
    hz: float
    seconds: float
    rest_s: float = 0.0


OPEN_FOR = frozenset({Cue.DWELL})
"""Tones that leave the gate open, because the call follows at once. All others close it: a tone is
no speech, but the recogniser hears words in some. With the English model one of 587 Hz was a
"yes", several in a row were a "no", and one of 1 319 Hz made "thigh fifty" of "fifty"; a single
short one from 1 760 to 3 136 Hz was nothing, alone and right before a call."""

_NOTES: Mapping[Cue, tuple[_Note, ...]] = {
    Cue.DWELL: (_Note(2_349, 0.08),),
    Cue.LISTENING: (_Note(2_794, 0.05),),
    Cue.NEXT: (_Note(1_760, 0.10),),
    Cue.CONFIRM: (_Note(1_760, 0.10, 0.03), _Note(2_349, 0.12)),
    Cue.DOUBT: (_Note(2_349, 0.08, 0.05), _Note(2_349, 0.08, 0.05), _Note(2_960, 0.12)),
    Cue.SAVED: (_Note(2_349, 0.08, 0.02), _Note(1_760, 0.12)),
    Cue.ERROR: (_Note(1_760, 0.12, 0.08), _Note(1_760, 0.12, 0.08), _Note(1_760, 0.12)),
    Cue.TELL: (_Note(1_976, 0.10),),
}

_PEAK = 0.12
"""-18 dBFS: softer than speech, above the noise of a gym floor. Common practice, no source."""

_FADE_S = 0.012


def cue_of(announcement: Announcement) -> Cue:
    """The tone that stands for an announcement where nothing is spoken."""
    match announcement:
        case ReadBack(doubts=doubts) if doubts:
            return Cue.DOUBT
        case ReadBack() | ReadBackTape():
            return Cue.CONFIRM
        case Saved() | SavedTape():
            return Cue.SAVED
        case Refused() | SayAgain() | Stopped():
            return Cue.ERROR
        case AskReading() | AskTape() | AskPermission():
            return Cue.NEXT
        case _:
            return Cue.TELL


def tone(cue: Cue, rate_hz: int) -> Samples:
    """The samples of a cue."""
    parts: list[Samples] = []
    for note in _NOTES[cue]:
        time = np.arange(round(note.seconds * rate_hz)) / rate_hz
        ends = np.minimum(time, note.seconds - time)
        shape = np.sin(0.5 * np.pi * np.clip(ends / _FADE_S, 0, 1)) ** 2
        parts.append((_PEAK * shape * np.sin(2 * np.pi * note.hz * time)).astype(np.float32))
        parts.append(np.zeros(round(note.rest_s * rate_hz), np.float32))
    return np.concatenate(parts)
