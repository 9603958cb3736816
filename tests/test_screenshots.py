"""The pictures of the screen in the guide are those that the program would draw now."""

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def shots() -> ModuleType:
    """The script that makes them."""
    spec = importlib.util.spec_from_file_location("screenshots", HERE / "screenshots.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_pictures_are_fresh(shots: ModuleType) -> None:
    """As text and as drawing, at 80 by 24 and at 120 by 40: renew with screenshots.py."""
    drawn = shots.screens()
    kept = {file.name: file.read_text(encoding="utf-8") for file in shots.FOLDER.iterdir()}
    assert sorted(drawn) == sorted(kept)
    assert [name for name in drawn if drawn[name] != kept[name]] == []
