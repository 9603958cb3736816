"""A visit survives being killed at any moment. The whole harness is `python tests/kills.py`."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.skipif(
    not hasattr(os, "fork"), reason="the harness parts processes by fork"
)


def harness(*arguments: str) -> str:
    """What the harness says; it must have found nothing."""
    ran = subprocess.run(
        [sys.executable, "tests/kills.py", *arguments],
        cwd=Path(__file__).parents[1],
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    return ran.stdout


def test_a_visit_outlives_kills_at_any_moment() -> None:
    """Killed at 40 moments, of keys and of speech: nothing is lost, doubled or counted unasked."""
    told = harness("--points", "16", "--random", "3", "--speech", "2")
    assert "kills, none harmed a visit" in told


def test_a_visit_is_signed_off_with_its_result_or_not_at_all() -> None:
    """Killed at every moment of the last call: before, between and after what it writes."""
    told = harness("--sign-off", "--random", "0")
    assert "keypad: SQL INSERT" in told
    assert "keypad: SQL COMMIT" in told
    assert "kills, none harmed a visit" in told
