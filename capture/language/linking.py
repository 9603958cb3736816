"""Puts the files of a grammar together: every rule gets a full name, every use its rule.

Nothing here stops at the first mistake: all are gathered, so that an author can mend them in one
go. Where a file could not be read, what may only follow from that is left out.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from capture.language.jsgf import read_what_can
from capture.language.tree import (
    Choice,
    GrammarError,
    GrammarFile,
    Node,
    Reference,
    Rule,
    Sequence,
)

_NAME_LINE = re.compile(r"^\s*grammar\s+([A-Za-z_][A-Za-z0-9_.]*)\s*;", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Linked:
    """The rules of all files by full name, such as `foldcall.numbers.number`, and all mistakes.

    `broken` names the grammars that could not be read whole; `unnamed`: there are others.
    """

    rules: Mapping[str, Rule]
    bodies: Mapping[str, Node]
    """The body of each rule whose references were all found, with full names in them."""
    faults: tuple[GrammarError, ...]
    broken: frozenset[str]
    unnamed: bool = False

    @property
    def public(self) -> tuple[str, ...]:
        """Full names of the public rules, in the order of the files."""
        return tuple(name for name, rule in self.rules.items() if rule.public)


@dataclass(slots=True)
class _Linker:
    files: dict[str, GrammarFile] = field(default_factory=dict)
    faults: list[GrammarError] = field(default_factory=list)
    broken: set[str] = field(default_factory=set)
    unnamed: bool = False
    """Whether a file could not be read so far as its name: any grammar may be in it."""
    rules: dict[str, Rule] = field(default_factory=dict)
    bodies: dict[str, Node] = field(default_factory=dict)

    def read(self, name: str, text: str) -> None:
        """Take one file."""
        read, faults = read_what_can(text, name)
        self.faults += faults
        if read is None:
            named = _NAME_LINE.findall(text)[:1]
            self.broken.update(named)
            self.unnamed = self.unnamed or not named
            return
        if faults:
            self.broken.add(read.name)
        if read.name in self.files:
            self.faults.append(
                GrammarError(
                    f"{name}:1:1: the grammar {read.name} is defined by two files.",
                    "Give one of them another name.",
                )
            )
            return
        self.files[read.name] = read

    def link(self, file: GrammarFile) -> None:
        """Give every rule of a file its full name, and every reference too."""
        scope = {rule.name: f"{file.name}.{rule.name}" for rule in file.rules}
        for name, full in self._imported(file).items():
            scope.setdefault(name, full)
        # A rule that cannot be found may stand where reading failed.
        excused = file.name in self.broken or any(
            wanted.grammar in self.broken for wanted in file.imports
        )
        for rule in file.rules:
            missing: list[Reference] = []
            body = _with_full_names(rule.body, scope, missing)
            if not excused:
                self.faults += (
                    GrammarError(
                        f"{each.at}: there is no rule <{each.name}> here.",
                        "Define it in this file or import it.",
                    )
                    for each in missing
                )
            self.rules[f"{file.name}.{rule.name}"] = rule
            if not missing:
                self.bodies[f"{file.name}.{rule.name}"] = body

    def _imported(self, file: GrammarFile) -> dict[str, str]:
        found: dict[str, str] = {}
        for wanted in file.imports:
            source = self.files.get(wanted.grammar)
            offered = () if source is None else [each.name for each in source.rules if each.public]
            names = offered if wanted.rule is None else [wanted.rule]
            if wanted.rule in {None, *offered} and source is not None:
                found |= {name: f"{wanted.grammar}.{name}" for name in names if name not in found}
            elif source is None and self.unnamed:
                self.broken.add(wanted.grammar)
            elif wanted.grammar not in self.broken:
                self.faults.append(
                    GrammarError(
                        f"{wanted.at}: there is no grammar {wanted.grammar}.",
                        "Correct the import, or add the file to the pack.",
                    )
                    if source is None
                    else GrammarError(
                        f"{wanted.at}: the grammar {wanted.grammar} has no public rule "
                        f"<{wanted.rule}>.",
                        "Correct the import, or mark the rule public in its file.",
                    )
                )
        return found


def link(texts: Mapping[str, str], *, unread: bool = False) -> Linked:
    """Read and put together the files of a pack; `texts` maps a file's name to its JSGF text.

    `unread`: there are files of which not even the text is known.
    """
    linker = _Linker(unnamed=unread)
    for name, text in texts.items():
        linker.read(name, text)
    for file in linker.files.values():
        linker.link(file)
    return Linked(
        linker.rules,
        linker.bodies,
        tuple(linker.faults),
        frozenset(linker.broken),
        linker.unnamed,
    )


def _with_full_names(node: Node, scope: Mapping[str, str], missing: list[Reference]) -> Node:
    match node:
        case Reference(name, at):
            if name not in scope:
                missing.append(node)
                return node
            return Reference(scope[name], at)
        case Sequence(parts):
            return Sequence(tuple(_with_full_names(each, scope, missing) for each in parts))
        case Choice(branches, shares):
            named = tuple(_with_full_names(each, scope, missing) for each in branches)
            return Choice(named, shares)
        case _:
            return node
