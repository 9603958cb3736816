"""The guides say what the program does."""

import importlib.util
import re
from pathlib import Path
from types import ModuleType

import pytest

from capture.cli import command_parser

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="module")
def renew() -> ModuleType:
    """The script that writes the generated parts."""
    spec = importlib.util.spec_from_file_location("renew_docs", ROOT / "tests" / "renew_docs.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("file", ["README.md", "DEVELOPERS.md"])
def test_the_generated_parts_are_fresh(renew: ModuleType, file: str) -> None:
    """Phrases and check values in the guides are those of the code: renew with renew_docs.py."""
    text = (ROOT / file).read_text(encoding="utf-8")
    assert renew.renewed(text, renew.generated()[file]) == text


def test_the_notebook_example_runs() -> None:
    """Line by line, with the results that its comments tell."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"```python\n(.*?)```", readme, re.DOTALL)
    known: dict[str, object] = {}
    exec(example, known)
    assert eval("predict(men, sum_mm=60, age_years=40).plain_range", known) in example
    assert eval("men.density_g_cm3(np.array([45, 60, 75]), 40).shape", known) == (3,)


def test_every_command_is_in_the_readme() -> None:
    """And no command that does not exist."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    (commands,) = (each.choices for each in command_parser()._subparsers._group_actions)
    for command in commands:
        assert f"`foldcall {command}" in readme


def test_the_readme_begins_with_the_job_and_two_commands() -> None:
    """The first paragraph states the job; each command is one line."""
    lines = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    assert lines[2].startswith("Whoever measures skinfolds has both hands full")
    begun = [line for line in lines if line.startswith("python3 -m venv .venv && ")]
    assert begun == [
        "python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/foldcall demo",
        "python3 -m venv .venv && .venv/bin/pip install '.[test]' && .venv/bin/pytest",
    ]
