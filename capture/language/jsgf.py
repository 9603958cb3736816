"""Reads JSGF (W3C note "JSpeech Grammar Format", 2000) into a syntax tree.

One file is one grammar. Supported: the self-identifying header, `grammar` and `import`, public
and private rules, sequences, alternatives with weights, optional and grouped parts, quoted
tokens, tags, `<NULL>` and both comment styles. Repetition (`*`, `+`) is refused: every sentence
must be finite, or the list of all sentences could not be checked.

A tag carries meaning in one of three forms, `value` being a whole number or a name:

    {slot = value}    the slot gets the value
    {slot += value}   the slot grows by the value, from 0
    {slot << value}   the value is appended to the slot as a decimal digit
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from capture.language.tree import (
    Choice,
    GrammarError,
    GrammarFile,
    Import,
    Node,
    Operation,
    Position,
    Reference,
    Rule,
    Sequence,
    Tag,
    Token,
)

_HEADER = re.compile(r"\ufeff?#JSGF\s+V1\.0(\s+[A-Za-z0-9-]+(\s+[A-Za-z-]+)?)?\s*;")
_SCANNER = re.compile(
    r"""
    (?P<space>\s+|//[^\n]*|/\*.*?\*/)
  | (?P<rule><[^<>\s]+>)
  | (?P<tag>\{[^{}]*\})
  | (?P<weight>/\s*[0-9]+(?:\.[0-9]+)?\s*/)
  | (?P<quoted>"[^"\n]*")
  | (?P<mark>[=|()\[\];*+])
  | (?P<word>[^\s<>{}/"=|()\[\];*+]+)
    """,
    re.VERBOSE | re.DOTALL,
)
_TAG = re.compile(r"\{\s*([a-z_]+)\s*(=|\+=|<<)\s*([a-z_][a-z0-9_]*|[0-9]+)\s*\}")
_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_.]*")


@dataclass(frozen=True, slots=True)
class _Lexeme:
    kind: str
    text: str
    at: Position


def _scan(text: str, file: str, start: int) -> Iterator[_Lexeme]:
    offset = start
    line = text.count("\n", 0, start) + 1
    line_start = text.rfind("\n", 0, start) + 1
    while offset < len(text):
        at = Position(file, line, offset - line_start + 1)
        found = _SCANNER.match(text, offset)
        if found is None:
            raise GrammarError(
                f"{at}: a character that has no meaning here: {text[offset]!r}.",
                "Close the comment, tag, quote or weight that begins here, or remove it.",
            )
        kind = found.lastgroup or ""
        if kind != "space":
            yield _Lexeme(kind, found.group(), at)
        breaks = found.group().count("\n")
        if breaks:
            line += breaks
            line_start = offset + found.group().rfind("\n") + 1
        offset = found.end()
    yield _Lexeme("end", "the end of the file", Position(file, line, offset - line_start + 1))


class _Reader:
    """A recursive-descent reader over the lexemes of one file."""

    def __init__(self, text: str, file: str) -> None:
        header = _HEADER.match(text)
        if header is None:
            raise GrammarError(
                f"{Position(file, 1, 1)}: not a JSGF file.",
                "Its first line must be '#JSGF V1.0 UTF-8 en;'.",
            )
        self._lexemes = list(_scan(text, file, header.end()))
        self._next = 0
        self.faults: list[GrammarError] = []

    @property
    def _here(self) -> _Lexeme:
        return self._lexemes[self._next]

    def _advance(self) -> _Lexeme:
        lexeme = self._here
        self._next += 1
        return lexeme

    def _sees(self, text: str) -> bool:
        return self._here.kind in {"mark", "word"} and self._here.text == text

    def _fail(self, expected: str, hint: str) -> GrammarError:
        return GrammarError(f"{self._here.at}: {expected} expected, found {self._here.text}.", hint)

    def _expect(self, text: str, hint: str) -> None:
        if not self._sees(text):
            raise self._fail(f"'{text}'", hint)
        self._advance()

    def file(self) -> GrammarFile:
        self._expect("grammar", "After the header comes 'grammar NAME;'.")
        if self._here.kind != "word" or not _NAME.fullmatch(self._here.text):
            raise self._fail("a grammar name", "Write 'grammar foldcall.numbers;', for example.")
        name = self._advance().text
        self._expect(";", "End the grammar line with ';'.")
        imports: list[Import] = []
        rules: list[Rule] = []
        while self._here.kind != "end":
            try:
                if self._sees("import") and not rules:
                    imports.append(self._import())
                else:
                    rules.append(self._new_rule(rules))
            except GrammarError as error:
                self.faults.append(error)
                self._go_on()
        return GrammarFile(name, tuple(imports), tuple(rules))

    def _go_on(self) -> None:
        """Skip to what follows the next ';', so that later mistakes are found as well."""
        while self._here.kind != "end" and not self._sees(";"):
            self._advance()
        if self._here.kind != "end":
            self._advance()

    def _new_rule(self, rules: list[Rule]) -> Rule:
        rule = self._rule()
        if any(known.name == rule.name for known in rules):
            # The rule has been read whole: reading goes on behind it.
            self.faults.append(
                GrammarError(
                    f"{rule.at}: the rule <{rule.name}> is defined twice.",
                    "Give one of the two another name.",
                )
            )
        return rule

    def _import(self) -> Import:
        at = self._advance().at
        if self._here.kind == "rule":
            dotted = self._advance().text[1:-1]
        elif self._here.kind in {"word", "mark"}:
            raise self._fail("<grammar.rule>", "Write 'import <foldcall.numbers.number>;'.")
        else:
            raise self._fail("<grammar.rule>", "Name what is imported, between < and >.")
        grammar, _, rule = dotted.rpartition(".")
        if not grammar or not rule:
            raise GrammarError(
                f"{at}: the import <{dotted}> names no grammar.",
                "Write <grammar.rule>, or <grammar.*> for all public rules.",
            )
        self._expect(";", "End the import with ';'.")
        return Import(grammar, None if rule == "*" else rule, at)

    def _rule(self) -> Rule:
        public = self._sees("public")
        if public:
            self._advance()
        if self._here.kind != "rule":
            raise self._fail("a rule such as <number>", "A rule reads '<name> = what is said;'.")
        lexeme = self._advance()
        if not _NAME.fullmatch(lexeme.text[1:-1]) or "." in lexeme.text:
            raise GrammarError(
                f"{lexeme.at}: {lexeme.text} cannot name a rule.",
                "Use letters, digits and underscores.",
            )
        self._expect("=", "A rule reads '<name> = what is said;'.")
        body = self._choice()
        self._expect(";", "End the rule with ';', and close every bracket before it.")
        return Rule(lexeme.text[1:-1], public, body, lexeme.at)

    def _choice(self) -> Node:
        branches: list[Node] = []
        weights: list[float | None] = []
        while True:
            at = self._here.at
            weight = None
            if self._here.kind == "weight":
                weight = float(self._advance().text.strip("/ \t\n"))
                if weight <= 0:
                    raise GrammarError(f"{at}: a weight must be above 0.", "Remove the branch.")
            weights.append(weight)
            branches.append(self._sequence())
            if not self._sees("|"):
                break
            self._advance()
        if any(weight is None for weight in weights) and any(weights):
            raise GrammarError(
                f"{at}: some alternatives have a weight and some have none.",
                "Give every alternative a weight, or none.",
            )
        if len(branches) == 1:
            return branches[0]
        sizes = [1.0 if weight is None else weight for weight in weights]
        total = sum(sizes)
        return Choice(tuple(branches), tuple(size / total for size in sizes))

    def _sequence(self) -> Node:
        parts: list[Node] = []
        while (part := self._part()) is not None:
            parts.append(part)
        if not parts:
            raise self._fail(
                "a word, a rule or a bracket", "An empty alternative is written <NULL>."
            )
        return parts[0] if len(parts) == 1 else Sequence(tuple(parts))

    def _part(self) -> Node | None:
        lexeme = self._here
        if lexeme.kind == "word":
            self._advance()
            return Token(lexeme.text.lower(), lexeme.at)
        if lexeme.kind == "quoted":
            self._advance()
            words = lexeme.text[1:-1].lower().split()
            return Sequence(tuple(Token(word, lexeme.at) for word in words))
        if lexeme.kind == "rule":
            self._advance()
            name = lexeme.text[1:-1]
            return Sequence(()) if name == "NULL" else Reference(name, lexeme.at)
        if lexeme.kind == "tag":
            self._advance()
            return _tag(lexeme)
        if self._sees("(") or self._sees("["):
            return self._bracket()
        if self._sees("*") or self._sees("+"):
            raise GrammarError(
                f"{lexeme.at}: repetition is not supported.",
                "Write the longest form with optional parts in [ ].",
            )
        return None

    def _bracket(self) -> Node:
        opening = self._advance()
        inside = self._choice()
        closing = ")" if opening.text == "(" else "]"
        self._expect(closing, f"Close the '{opening.text}' of {opening.at}.")
        if opening.text == "(":
            return inside
        return Choice((inside, Sequence(())), (0.5, 0.5))


def _tag(lexeme: _Lexeme) -> Tag:
    found = _TAG.fullmatch(lexeme.text)
    if found is None:
        raise GrammarError(
            f"{lexeme.at}: the tag {' '.join(lexeme.text.split())} has no meaning.",
            "Write {slot = value}, {slot += number} or {slot << digit}.",
        )
    slot, operation, raw = found.groups()
    value: int | str = int(raw) if raw.isdigit() else raw
    if operation != Operation.SET.value and not isinstance(value, int):
        raise GrammarError(f"{lexeme.at}: {operation} needs a number.", "Use '=' for a name.")
    if operation == Operation.APPEND.value and len(raw) > 1:
        raise GrammarError(f"{lexeme.at}: << appends one digit.", "Use '+=' for more than 9.")
    return Tag(slot, Operation(operation), value, lexeme.at)


def read_grammar(text: str, file: str) -> GrammarFile:
    """Parse the text of one JSGF file; `file` is its name for messages.

    Raises GrammarError with file, line and column.
    """
    read, faults = read_what_can(text, file)
    if read is None or faults:
        raise faults[0]
    return read


def read_what_can(text: str, file: str) -> tuple[GrammarFile | None, tuple[GrammarError, ...]]:
    """What can be read of one JSGF file, and all its mistakes, rule by rule.

    None for a file of which nothing can be read.
    """
    try:
        reader = _Reader(text, file)
        read = reader.file()
    except GrammarError as error:
        return None, (error,)
    except RecursionError:
        return None, (too_deep(file),)
    return read, tuple(reader.faults)


def too_deep(where: str) -> GrammarError:
    """The error for brackets within brackets without end."""
    return GrammarError(f"{where}: brackets or optional parts without end.", "Make it simpler.")
