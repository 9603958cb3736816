"""How words are spoken: the phone set and the pronunciation lists.

Phones are the 39 ARPAbet phones without stress. A pronunciation file holds one pronunciation a
line,
``word  PHONE PHONE ...``; a word may repeat; lines that start with ``;`` are comments.
"""

import re
from collections.abc import Iterable, Mapping
from pathlib import Path

from capture.recognise.phones import PHONES

SILENCE_PDF = 0
"""Phone k (from 1) in the order of PHONES has pdf k."""

PDF_COUNT = len(PHONES) + 1
PDF_OF = {phone: index for index, phone in enumerate(PHONES, start=1)}

Pronunciation = tuple[str, ...]
Lexicon = Mapping[str, tuple[Pronunciation, ...]]


def read_pronunciations(lines: Iterable[str], source: str = "pronunciations") -> Lexicon:
    """Read a pronunciation list; ValueError names the line that has no phones or an unknown one."""
    found: dict[str, list[Pronunciation]] = {}
    for number, line in enumerate(lines, start=1):
        if line.startswith(";") or not line.strip():
            continue
        word, *phones = line.split()
        if not phones or any(phone not in PDF_OF for phone in phones):
            raise ValueError(
                f"{source}, line {number}: not a word and its phones: {line.strip()!r}"
            )
        spoken = found.setdefault(word, [])
        if tuple(phones) not in spoken:
            spoken.append(tuple(phones))
    return {word: tuple(spoken) for word, spoken in found.items()}


def read_pronunciation_file(path: Path) -> Lexicon:
    """Read the pronunciation list at *path*."""
    with path.open(encoding="utf-8") as lines:
        return read_pronunciations(lines, path.name)


def without_stress(entries: Mapping[str, list[list[str]]]) -> Lexicon:
    """Turn the CMU dictionary's own form (phones with stress digits) into ours."""
    lexicon = {}
    for word, spoken in entries.items():
        plain = dict.fromkeys(
            tuple(re.sub(r"\d", "", phone) for phone in phones) for phones in spoken
        )
        lexicon[word] = tuple(plain)
    return lexicon


def merged(ours: Lexicon, general: Lexicon) -> Lexicon:
    """Our pronunciations first; general English fills the words that we do not list."""
    return {**general, **ours}
