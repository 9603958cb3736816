"""A visit survives being killed at any moment. The whole harness is `python tests/kills.py`."""

import os
import subprocess
import sys
from pathlib import Path

import pytest


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the harness parts processes by fork")
def test_a_visit_outlives_kills_at_any_moment() -> None:
    """Killed at 40 moments, of keys and of speech: nothing is lost, doubled or counted unasked."""
    ran = subprocess.run(
        [sys.executable, "tests/kills.py", "--points", "16", "--random", "3", "--speech", "2"],
        cwd=Path(__file__).parents[1],
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert "kills, none harmed a visit" in ran.stdout
