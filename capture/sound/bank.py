"""The bank of spoken fragments: which of them, in which order, say a text.

Pure: the index tells what is in the bank, and a text becomes a list of clips and pauses. Nothing
here touches sound.
"""

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from capture.errors import CaptureError

COMMA_S = 0.12
SENTENCE_S = 0.28
"""A pause where a sentence ends. Common practice in prompt systems, no source."""

COLON_S = 0.35
"""Longer than the rest: what follows is the same number again, digit by digit."""

APART_S = 0.16
"""Between two digits that are spoken one by one, so that none runs into the next."""

JOINT_S = 0.03
"""Between two fragments of one phrase. The clips are cut close."""

_TOKEN = re.compile(r"\d+/\d+|\d+|\.\d+|[^\W\d_]+(?:['’-][^\W\d_]+)*|[.,:;?!]")
_PAUSES = {",": COMMA_S, ";": COMMA_S, ":": COLON_S, ".": SENTENCE_S, "?": SENTENCE_S, "!": 0.28}
_HUNDRED = 100
_FORMAT = 1


class BankError(CaptureError):
    """The index of a bank cannot be used, or a text holds what no fragment says."""


@dataclass(frozen=True, slots=True)
class Clip:
    """Where one fragment lies in the bank's sound, in samples.

    `apart`: a single digit, which keeps its distance from other digits.
    """

    fragment: str
    start: int
    length: int
    apart: bool = False


@dataclass(frozen=True, slots=True)
class Spoken:
    """One step of saying a text: a clip, then a pause in seconds."""

    clip: Clip
    pause_s: float


@dataclass(frozen=True)
class BankIndex:
    """What a bank can say; `clips` maps the words of a fragment to its clip.

    Several spellings may share a clip, such as "fifteen" and "15". `voice` is for people: whose
    voice it is and under which licence.
    """

    file: str
    rate_hz: int
    voice: str
    clips: Mapping[tuple[str, ...], Clip]

    @cached_property
    def longest(self) -> int:
        """Most words of a fragment."""
        return max(len(words) for words in self.clips)

    def steps(self, text: str) -> tuple[Spoken, ...]:
        """The clips that say a text, and the pauses between them.

        Fewest fragments win: longer ones sound better. Raises BankError that names the words
        which no fragment says; nothing is ever left out.
        """
        steps: list[Spoken] = []
        for words, pauses in _sentences(text):
            clips = self._clips(words)
            at = 0
            for clip, following in zip(clips, [*clips[1:], None], strict=True):
                at += len(clip.words)
                pause_s = pauses[at - 1]
                if pause_s == JOINT_S and clip.clip.apart and following and following.clip.apart:
                    pause_s = APART_S
                steps.append(Spoken(clip.clip, pause_s))
        return tuple(steps)

    def _clips(self, words: Sequence[str]) -> "list[_Piece]":
        """The fewest fragments that make these words; of equal ways the one that begins longest."""
        best: list[list[_Piece] | None] = [None] * len(words) + [[]]
        for start in range(len(words) - 1, -1, -1):
            for end in range(min(len(words), start + self.longest), start, -1):
                rest = best[end]
                clip = self.clips.get(tuple(words[start:end]))
                if clip is None or rest is None:
                    continue
                found = best[start]
                if found is None or len(rest) + 1 < len(found):
                    best[start] = [_Piece(tuple(words[start:end]), clip), *rest]
        if best[0] is None:
            raise BankError(
                f"The spoken prompts lack words for '{' '.join(self._stuck(words))}'.",
                "The screen shows what would be said. Make the prompts again.",
            )
        return best[0]

    def _stuck(self, words: Sequence[str]) -> Sequence[str]:
        """The words from the farthest place that fragments can reach from the beginning."""
        reached = {0}
        for start in range(len(words)):
            if start in reached:
                reached |= {
                    end
                    for end in range(start + 1, min(len(words), start + self.longest) + 1)
                    if tuple(words[start:end]) in self.clips
                }
        return words[max(reached) :] or words


@dataclass(frozen=True, slots=True)
class _Piece:
    words: tuple[str, ...]
    clip: Clip


def words_of(text: str) -> tuple[str, ...]:
    """The words of a text as the index has them: small letters, no marks.

    Figures are taken apart so that few clips say them all.

    >>> words_of("Saved: chest 15.2.")
    ('saved', 'chest', '15', '.2')
    >>> words_of("153.0 millimetres")
    ('100', '53', '.0', 'millimetres')
    """
    return tuple(word for words, _ in _sentences(text) for word in words)


def _sentences(text: str) -> list[tuple[list[str], list[float]]]:
    """The words up to each stop, colon or question mark, with the pause after each word."""
    sentences: list[tuple[list[str], list[float]]] = [([], [])]
    for token in _TOKEN.findall(text.lower()):
        words, pauses = sentences[-1]
        if token in _PAUSES:
            if pauses:
                pauses[-1] = max(pauses[-1], _PAUSES[token])
            if token not in ",;" and words:
                sentences.append(([], []))
            continue
        # In "1/2 in" it is the sign for inches, not the word.
        is_sign = token == "in" and bool(words) and words[-1][-1].isdigit()
        for word in _figures("inch" if is_sign else token):
            words.append(word)
            pauses.append(JOINT_S)
    return [each for each in sentences if each[0]]


def _figures(token: str) -> list[str]:
    if not token.isdecimal() or int(token) <= _HUNDRED or len(token) != len(str(_HUNDRED)):
        return [token]
    hundreds, rest = divmod(int(token), _HUNDRED)
    return [str(hundreds * _HUNDRED), *([str(rest)] if rest else [])]


def read_index(text: str, name: str) -> BankIndex:
    """The index of a bank from its TOML text.

    Raises BankError, with the file's name, for one that does not add up.
    """
    try:
        told = tomllib.loads(text)
        if told["format"] != _FORMAT:
            raise ValueError(f"its format is {told['format']}, not {_FORMAT}")
        clips: dict[tuple[str, ...], Clip] = {}
        for entry in told["clip"]:
            apart = bool(entry.get("apart", False))
            clip = Clip(entry["says"][0], entry["start"], entry["length"], apart)
            if not (clip.start >= 0 and clip.length > 0):
                raise ValueError(f"'{clip.fragment}' has no sound")
            for spelling in entry["says"]:
                key = words_of(spelling)
                if not key or key in clips:
                    raise ValueError(f"'{spelling}' is empty or there twice")
                clips[key] = clip
        if not clips:
            raise ValueError("it has no clips")
        return BankIndex(told["file"], int(told["rate_hz"]), told["voice"], clips)
    except (tomllib.TOMLDecodeError, KeyError, ValueError, TypeError, IndexError) as error:
        raise BankError(
            f"{name} is no index of spoken prompts: {error}.", "Install the language pack again."
        ) from error
