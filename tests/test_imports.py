"""Which module may import which: read from the sources, without running them."""

import ast
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

import capture

ROOT = Path(capture.__file__).parent

PURE = (
    "errors",
    "dwell",
    "drawn",
    "standstill",
    "talking",
    "turns",
    "typed",
    "findings",
    "units",
    "road",
    "judgement",
    "voice_prompts",
    "voice_check",
    "voice_verdict",
    "voice_kept",
    "signing",
    "mishap",
    "showable",
    "settings_table",
    "preferences",
    "pack_audit",
    "pack_words",
    "language",
    "protocol",
    "visit",
    "composition",
    "wording",
    "recognise.port",
    "recognise.alike",
    "recognise.automaton",
    "recognise.graph",
    "recognise.fst",
    "recognise.lexicon",
    "recognise.phones",
    "recognise.contexts",
    "recognise.nbest",
    "recognise.ending",
    "recognise.loudness",
    "recognise.near",
    "recognise.certainty",
    "recognise.scripted",
    "report.amendments",
    "report.attention",
    "report.body",
    "report.day",
    "report.details",
    "report.deviations",
    "report.file_page",
    "report.markup",
    "report.names",
    "report.record",
    "report.remarks",
    "report.results",
    "report.setups",
    "report.site_pictures",
    "report.story",
    "report.summary",
    "report.trend",
    "screen.blocks",
    "screen.keymap",
    "screen.keypad",
    "screen.menus",
    "screen.numerals",
    "screen.plain",
    "screen.prompt_view",
    "screen.render",
    "screen.view",
    "sound.bank",
    "sound.devices",
    "sound.echo",
    "sound.errors",
    "sound.gate",
    "sound.onset",
    "sound.source",
)
"""Modules and packages without input, output, clock or chance."""

WITH_A_WORLD = {
    "ctypes", "io", "multiprocessing", "os", "pathlib", "random", "secrets", "shutil",
    "socket", "sqlite3", "subprocess", "tempfile", "threading", "time", "uuid",
}  # fmt: skip
"""Modules of the standard library that reach outside, or give another answer each time."""

COMPOSERS = (
    "wiring", "check", "demo", "listen", "hearing", "inputs", "shown",
    "session", "events", "keyboard", "switches", "sound_news", "showing",
    "begin", "company", "measure", "cli",
    "__main__", "compute", "compute_store", "transfer", "reporting", "clients", "merge",
    "review", "reviewing", "review_screen", "unlock", "calipers", "protocols", "backing_up",
    "keeping", "encrypting", "rescue", "rescued", "voice_trial", "voice_checking",
    "pack_check", "packs", "phrases",
)  # fmt: skip
"""The modules that put edges together. Only they may import more than one."""


def names() -> list[str]:
    """All modules, without the leading "capture."."""
    found = []
    for file in sorted(ROOT.rglob("*.py")):
        parts = file.relative_to(ROOT).with_suffix("").parts
        if "_data" not in parts:
            found.append(".".join(parts[:-1] if parts[-1] == "__init__" else parts))
    return [name for name in found if name]


def within(name: str, group: tuple[str, ...]) -> bool:
    """Whether a module is one of these or lies in one of these packages."""
    return any(name == each or name.startswith(f"{each}.") for each in group)


def is_pure(name: str) -> bool:
    """Whether a module belongs to the pure core; a package's own file counts as its modules do."""
    return within(name, PURE) or name in {"", "recognise", "report", "screen", "sound"}


def file_of(name: str) -> Path:
    """The source of a module."""
    path = ROOT.joinpath(*name.split("."))
    return path / "__init__.py" if path.is_dir() else path.with_suffix(".py")


@cache
def tree(name: str) -> ast.Module:
    """The syntax tree of a module."""
    return ast.parse(file_of(name).read_text(encoding="utf-8"))


@cache
def imports(name: str) -> tuple[str, ...]:
    """Full names of what a module imports, at its top or inside a function."""
    return tuple(_imports(name))


def _imports(name: str) -> Iterator[str]:
    package = f"capture.{name}" if file_of(name).name == "__init__.py" else "capture"
    for node in ast.walk(tree(name)):
        if isinstance(node, ast.Import):
            yield from (each.name for each in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name}: relative import"
            module = node.module or package
            yield module
            inside = [f"{module}.{each.name}" for each in node.names]
            yield from (each for each in inside if each.removeprefix("capture.") in ALL)


ALL = names()


def own(name: str) -> list[str]:
    """The modules of the package that a module imports, without the leading "capture."."""
    found = [each for each in imports(name) if each.split(".")[0] == "capture"]
    return [each.removeprefix("capture").removeprefix(".") for each in found]


def foreign(name: str) -> set[str]:
    """The top-level modules of others that a module imports."""
    return {each.split(".")[0] for each in imports(name)} - {"capture"}


def test_the_reader_sees_imports() -> None:
    """The check below looks at real imports, inside functions too."""
    assert "recognise.port" in own("road")
    assert "listen" in own("cli")
    assert "re" in foreign("language.jsgf")
    assert set(PURE) <= {*ALL, *(name.rpartition(".")[0] for name in ALL)}
    assert set(COMPOSERS) <= set(ALL)


@pytest.mark.parametrize("name", [name for name in ALL if is_pure(name)])
def test_pure_modules_stay_pure(name: str) -> None:
    """The core imports only itself and harmless parts of the standard library."""
    assert [each for each in own(name) if not is_pure(each)] == []
    assert foreign(name) <= set(sys.stdlib_module_names) - WITH_A_WORLD


@pytest.mark.parametrize("name", [name for name in ALL if is_pure(name)])
def test_pure_modules_do_nothing_but_compute(name: str) -> None:
    """The core neither prints, asks, opens nor looks at a clock."""
    for node in ast.walk(tree(name)):
        if isinstance(node, ast.Call):
            called = node.func
            if isinstance(called, ast.Name):
                assert called.id not in {"print", "input", "open", "exec", "eval"}
            elif isinstance(called, ast.Attribute):
                assert called.attr not in {"now", "today", "utcnow"}


@pytest.mark.parametrize(
    "name",
    [name for name in ALL if not is_pure(name) and not within(name, (*COMPOSERS, "training"))],
)
def test_an_edge_imports_no_other_edge(name: str) -> None:
    """Store, sound, screen and recogniser know nothing of each other (training is a workshop)."""
    package = name.split(".", maxsplit=1)[0]
    others = {each for each in own(name) if not is_pure(each) and each.split(".")[0] != package}
    assert others <= {"terminal"}  # the one way to write a line


@pytest.mark.parametrize("name", ALL)
def test_heavy_libraries_have_their_place(name: str) -> None:
    """Arrays stay with sound and network, and vosk behind its one door."""
    libraries = foreign(name)
    training = within(name, ("training",))
    if not training:
        assert "torch" not in libraries
    if not (training or within(name, ("sound", "recognise.acoustic", "recognise.vosk_"))):
        assert "numpy" not in libraries
    if name != "recognise.vosk_":
        assert "vosk" not in libraries


@pytest.mark.parametrize("name", [name for name in ALL if not within(name, ("training",))])
def test_the_program_runs_without_its_training(name: str) -> None:
    """Training a model is another matter: nothing that runs needs it."""
    assert not any(within(each, ("training",)) for each in own(name))
