"""The phones of the acoustic model and the numbers that stand for them.

Phones are ARPAbet without stress. Each has four forms by its place in the word, so that the
decoder can tell where words begin and end. Every form has one state of 30 ms steps; the four
forms of a phone share one output of the network.
"""

from enum import StrEnum

PHONES = (
    *("AA", "AE", "AH", "AO", "AW", "AY", "B", "CH", "D", "DH", "EH", "ER", "EY", "F", "G", "HH"),
    *("IH", "IY", "JH", "K", "L", "M", "N", "NG", "OW", "OY", "P", "R", "S", "SH", "T", "TH"),
    *("UH", "UW", "V", "W", "Y", "Z", "ZH"),
)
SILENCE = "SIL"
SILENCE_ID = 1


class Position(StrEnum):
    """Place of a phone in its word; the value is the name that the decoder's file uses."""

    BEGIN = "begin"
    END = "end"
    INTERNAL = "internal"
    SINGLETON = "singleton"


_POSITIONS = tuple(Position)
_INDEX = {phone: index for index, phone in enumerate(PHONES)}
PHONE_COUNT = 1 + len(PHONES) * len(_POSITIONS)
PDF_COUNT = 1 + len(PHONES)


def is_phone(name: str) -> bool:
    """Whether this is one of the 39 phones (silence is not: no word is made of it)."""
    return name in _INDEX


def phone_id(phone: str, position: Position) -> int:
    """Number of a phone at a place in a word.

    >>> phone_id("AA", Position.BEGIN), phone_id("ZH", Position.SINGLETON)
    (2, 157)
    """
    return 2 + len(_POSITIONS) * _INDEX[phone] + _POSITIONS.index(position)


def word_phone_ids(phones: tuple[str, ...]) -> tuple[int, ...]:
    """Numbers of the phones of one whole word.

    >>> word_phone_ids(("AA",)), word_phone_ids(("AA", "AA", "AA"))
    ((5,), (2, 4, 3))
    """
    if len(phones) == 1:
        return (phone_id(phones[0], Position.SINGLETON),)
    places = [Position.BEGIN, *[Position.INTERNAL] * (len(phones) - 2), Position.END]
    return tuple(phone_id(phone, place) for phone, place in zip(phones, places, strict=True))


def pdf_id(number: int) -> int:
    """Network output of a phone number: 0 for silence, k for the k-th phone."""
    return 0 if number == SILENCE_ID else 1 + (number - 2) // len(_POSITIONS)


def forward_id(number: int) -> int:
    """Transition that enters a phone and consumes its first frame."""
    return 2 * number


def self_loop_id(number: int) -> int:
    """Transition that stays in a phone for one frame more."""
    return 2 * number - 1


def phone_names() -> tuple[str, ...]:
    """Names of the phone numbers from 1 on, such as ``AA_B``."""
    forms = (f"{phone}_{place.name[0]}" for phone in PHONES for place in _POSITIONS)
    return (SILENCE, *forms)


def phones_text() -> str:
    """The table of phones (phones.txt): a name and its number a line."""
    names = ("<eps>", *phone_names())
    return "".join(f"{name} {number}\n" for number, name in enumerate(names))


def word_boundary_text() -> str:
    """The table of places in a word (word_boundary.int), as Kaldi's word alignment reads it."""
    places = ["nonword", *[place.value for _ in PHONES for place in _POSITIONS]]
    return "".join(f"{number} {place}\n" for number, place in enumerate(places, start=1))
