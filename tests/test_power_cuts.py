"""The store after a power cut. The whole harness is `python tests/power_cuts.py`."""

import random
import shutil
from pathlib import Path
from types import MappingProxyType

import power_cuts
import pytest

from capture.store import connection

pytestmark = pytest.mark.skipif(
    not power_cuts.can_be_noted(), reason="this Python does not share its SQLite library"
)


def test_a_power_cut_loses_nothing_that_was_shown() -> None:
    """Whatever the disk holds of what was written since the last sync, the store is whole."""
    told: list[str] = []
    assert power_cuts.main(["--states", "150", "--calls", "14"], told.append) == 0, told
    assert "nothing lost" in told[-1]


def test_with_a_sync_less_a_power_cut_is_seen_to_lose(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The harness finds the loss that SQLite's documentation names for synchronous = NORMAL."""
    weaker = MappingProxyType({**connection.SETTINGS, "synchronous": 1})
    monkeypatch.setattr(connection, "SETTINGS", weaker)
    walked = tmp_path / "walked"
    walked.mkdir()
    log, entries = power_cuts.walk(walked, 14)
    lost = 0
    for what, files, erased, shown in power_cuts.states(log, random.Random(1)):
        if shown and what == "nothing since the last sync":
            cut = tmp_path / "cut"
            cut.mkdir()
            for name, held in files.items():
                (cut / name).write_bytes(held)
            try:
                power_cuts.judged(cut / "visits.db", erased, shown, entries)
            except AssertionError as error:
                lost += "were shown" in str(error)
            shutil.rmtree(cut)
    assert lost
