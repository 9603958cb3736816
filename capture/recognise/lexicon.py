"""How each word is spoken.

A pronunciation file has one pronunciation a line: the word, then its phones. A word that may be
spoken in several ways has several lines. Lines that begin with ``;`` are comments.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from capture.errors import CaptureError
from capture.recognise.phones import is_phone
from capture.recognise.port import UNKNOWN

Pronunciation = tuple[str, ...]


class LexiconError(CaptureError):
    """A pronunciation file is wrong, or words have no pronunciation."""


@dataclass(frozen=True, slots=True)
class Lexicon:
    """The pronunciations of every word, in the order of the file; `name` is the file's."""

    name: str
    entries: Mapping[str, tuple[Pronunciation, ...]]

    def missing(self, words: Iterable[str]) -> tuple[str, ...]:
        """Those of the words that have no pronunciation, sorted."""
        return tuple(sorted(set(words) - set(self.entries)))

    def require(self, words: Iterable[str]) -> None:
        """Raise LexiconError that names every word without a pronunciation."""
        if missing := self.missing(words):
            raise LexiconError(
                f"{self.name} has no pronunciation for: {', '.join(missing)}.",
                "Add a line for each: the word, two spaces, its phones.",
            )

    def pronunciations(self, word: str) -> tuple[Pronunciation, ...]:
        """All ways to speak a word; LexiconError if there is none."""
        self.require((word,))
        return self.entries[word]


def parse_lexicon(text: str, name: str = "pronunciations.dict") -> Lexicon:
    """Read a pronunciation file; LexiconError names the file and the line.

    >>> parse_lexicon("two  T UW").pronunciations("two")
    (('T', 'UW'),)
    """
    lexicon, faults = read_what_can(text, name)
    if faults:
        raise faults[0]
    return lexicon


def read_what_can(
    text: str, name: str = "pronunciations.dict"
) -> tuple[Lexicon, tuple[LexiconError, ...]]:
    """The lines of a pronunciation file that can be used, and the mistakes in all others."""
    entries: dict[str, list[Pronunciation]] = {}
    faults: list[LexiconError] = []
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip() or line.lstrip().startswith(";"):
            continue
        word, *phones = line.split()
        fault = _fault(word, phones, f"{name}, line {number}")
        if fault is not None:
            faults.append(fault)
            continue
        variants = entries.setdefault(word, [])
        if tuple(phones) not in variants:
            variants.append(tuple(phones))
    if not entries and not faults:
        faults.append(LexiconError(f"{name} holds no pronunciations.", "Is it the right file?"))
    found = {word: tuple(variants) for word, variants in entries.items()}
    return Lexicon(name, found), tuple(faults)


def _fault(word: str, phones: list[str], where: str) -> LexiconError | None:
    if word == UNKNOWN or word.startswith(("<", "#")):
        return LexiconError(f"{where}: {word} is a reserved word.", "Take another spelling.")
    if not phones:
        return LexiconError(f"{where}: {word} has no phones.", "Write its phones after the word.")
    if wrong := [phone for phone in phones if not is_phone(phone)]:
        return LexiconError(
            f"{where}: unknown phone {wrong[0]} in {word}.",
            "Phones are ARPAbet in capitals without stress digits, such as AH or TH.",
        )
    return None
