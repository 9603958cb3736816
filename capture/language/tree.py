"""The syntax tree of a grammar: what stands in one JSGF file, and where.

Nodes that say the same are equal wherever they stand: their positions are for messages only.
"""

from dataclasses import dataclass, field
from enum import StrEnum

from capture.errors import CaptureError


class GrammarError(CaptureError):
    """A grammar file that cannot be used; the message names file, line and column."""


@dataclass(frozen=True, slots=True)
class Position:
    """Where something stands: file name, line and column, both counted from 1."""

    file: str
    line: int
    column: int

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


class Operation(StrEnum):
    """What a tag does to its slot."""

    SET = "="
    ADD = "+="
    APPEND = "<<"


@dataclass(frozen=True, slots=True)
class Tag:
    """One piece of meaning: an operation on a named slot."""

    slot: str
    operation: Operation
    value: int | str
    at: Position | None = field(default=None, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Token:
    """One spoken word, in lower case."""

    word: str
    at: Position | None = field(default=None, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Reference:
    """A use of another rule."""

    name: str
    at: Position


@dataclass(frozen=True, slots=True)
class Sequence:
    """Parts said one after the other."""

    parts: tuple["Node", ...]


@dataclass(frozen=True, slots=True)
class Choice:
    """Alternatives, each with its share of the probability (they add up to 1)."""

    branches: tuple["Node", ...]
    shares: tuple[float, ...]


Node = Token | Tag | Reference | Sequence | Choice


@dataclass(frozen=True, slots=True)
class Rule:
    """A named rule of one grammar file."""

    name: str
    public: bool
    body: Node
    at: Position


@dataclass(frozen=True, slots=True)
class Import:
    """An import of one rule of another grammar, or of all its public rules (`rule` is None)."""

    grammar: str
    rule: str | None
    at: Position


@dataclass(frozen=True, slots=True)
class GrammarFile:
    """One parsed file."""

    name: str
    imports: tuple[Import, ...]
    rules: tuple[Rule, ...]
