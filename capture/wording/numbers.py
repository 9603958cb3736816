"""Numbers and lengths in words, taken from the same grammar that hears them.

The first of the shortest sentences that the grammar makes for a value is the one the program
says, so that what is read back can always be said, and a pack in another language needs no code.
"""

from collections.abc import Iterable, Mapping
from functools import lru_cache

from capture.language.grammar import Grammar
from capture.language.intents import Tape
from capture.language.meaning import intent_from, value_tenths
from capture.units import Inches, TapeLength

PLAIN = "foldcall.numbers.plain_number"
DIGITS = "foldcall.numbers.digit_number"
TAPE = "foldcall.tape.tape"


class NumberWords:
    """Says the values of one language pack."""

    def __init__(self, grammar: Grammar) -> None:
        self._grammar = grammar

    @property
    def _plain(self) -> Mapping[int, str]:
        return _spoken(self._grammar, PLAIN)

    @property
    def _digits(self) -> Mapping[int, str]:
        return _spoken(self._grammar, DIGITS)

    @property
    def _lengths(self) -> Mapping[TapeLength, str]:
        return _lengths(self._grammar)

    def unsayable(self, values_tenths_mm: Iterable[int]) -> tuple[int, ...]:
        """Those of the values that have no words, plain or digit by digit where that is needed."""
        return tuple(
            value
            for value in values_tenths_mm
            if value not in self._plain
            or (is_easily_misheard(value // 10) and value not in self._digits)
        )

    def plain(self, value_tenths_mm: int) -> str:
        """The value as it is usually said: "fifteen point two"."""
        return self._plain.get(value_tenths_mm, f"{value_tenths_mm / 10:g}")

    def digits(self, value_tenths_mm: int) -> str:
        """The value digit by digit, "one two point five"; as it is usually said from 100 on."""
        return self._digits.get(value_tenths_mm) or self.plain(value_tenths_mm)

    def read_back(self, value_tenths_mm: int) -> str:
        """The value in a form that cannot be misheard.

        Where one word could be taken for another (the teens, and whole tens, twenty for twelve
        among them) the digits follow: "fifteen: one five".
        """
        plain = self.plain(value_tenths_mm)
        if is_easily_misheard(value_tenths_mm // 10):
            return f"{plain}: {self.digits(value_tenths_mm)}"
        return plain

    def length(self, length: TapeLength) -> str:
        """A tape length as it is called."""
        return self._lengths.get(length, str(length))

    def length_read_back(self, length: TapeLength) -> str:
        """A tape length in a form that cannot be misheard: "fourteen and a half: one four"."""
        said = self.length(length)
        whole = length.sixteenths // 16 if isinstance(length, Inches) else length.millimetres // 10
        digits = self._digits.get(whole * 10)
        return f"{said}: {digits}" if is_easily_misheard(whole) and digits else said


def is_easily_misheard(whole: int) -> bool:
    """Whether a number's words are easily taken for another's: teens, whole tens, twelve."""
    return 12 <= whole <= 20 or (whole >= 30 and whole % 10 == 0)


@lru_cache(maxsize=8)
def _spoken(grammar: Grammar, rule: str) -> Mapping[int, str]:
    """The words of each value; kept with the grammar, which never changes."""
    said: dict[int, str] = {}
    sentences = grammar.automaton(rule).sentences()
    # "twelve" and "twelve point zero" are one value: the shorter one is said.
    for words, slots in sorted(sentences, key=lambda sentence: len(sentence[0])):
        said.setdefault(value_tenths(slots), " ".join(words))
    return said


@lru_cache(maxsize=4)
def _lengths(grammar: Grammar) -> Mapping[TapeLength, str]:
    """The words of each tape length."""
    said: dict[TapeLength, str] = {}
    for words, slots in grammar.automaton(TAPE).restricted("site", ()).sentences():
        intent = intent_from(slots)
        if isinstance(intent, Tape):
            said.setdefault(intent.length, " ".join(words))
    return said
