"""What the program is built from: the lowest versions, the lock, and the page of promises."""

import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]

pytestmark = pytest.mark.skipif(not (ROOT / ".ci").is_dir(), reason="no checkout")


def named(requirement: str) -> str:
    """The package of a requirement, as registries write it."""
    found = re.match(r"[A-Za-z0-9._-]+", requirement)
    assert found is not None
    return re.sub(r"[-_.]+", "-", found[0]).lower()


def lowest() -> dict[str, str]:
    """For each requirement with a lower bound what it is."""
    extras = PROJECT["optional-dependencies"]
    wanted = [*PROJECT["dependencies"], *extras["test"], *extras["encryption"]]
    found = {}
    for each in wanted:
        bound = re.search(r">=\s*([0-9.]+)", each)
        if bound is not None:
            found[named(each)] = bound[1]
    return found


def test_the_minimums_are_those_of_the_project() -> None:
    """`.ci/minimums.txt` names just the lower bounds that pyproject.toml allows."""
    lines = (ROOT / ".ci" / "minimums.txt").read_text(encoding="utf-8").splitlines()
    pinned = [line.split("==") for line in lines if line and not line.startswith("#")]
    assert {named(name): version for name, version in pinned} == lowest()


def test_the_lock_holds_every_requirement_with_hashes() -> None:
    """Nothing that CI installs is left to chance."""
    lock = (ROOT / ".ci" / "lock.txt").read_text(encoding="utf-8")
    line, hashes = r"^([a-z0-9-]+)==.*\\\n", r"((?:    --hash=sha256:[0-9a-f]{64}.*\n?)+)"
    blocks = re.findall(line + hashes, lock, re.MULTILINE)
    locked = {name for name, _ in blocks}
    assert len(blocks) == len(re.findall(r"^[a-z0-9-]+==", lock, re.MULTILINE))
    extras = PROJECT["optional-dependencies"]
    for each in [*PROJECT["dependencies"], *extras["test"], *extras["lint"], *extras["encryption"]]:
        assert named(each) in locked
    assert {"hatchling", "setuptools", "wheel"} <= locked


def test_every_promise_names_tests_that_exist() -> None:
    """The page of promises in the guide: each row has its test files, and they hold tests."""
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    page = guide.split("## What it promises, and to whom\n")[1].split("\n## ")[0]
    rows = [line for line in page.splitlines() if line.startswith("| ")][2:]
    assert len(rows) >= 10
    for row in rows:
        files = re.findall(r"`(tests/[a-z_0-9]+\.py)`", row.rsplit("|", 2)[1])
        assert files, row
        for file in files:
            assert "\ndef test_" in (ROOT / file).read_text(encoding="utf-8"), file
    assert "**Not promised.**" in page
