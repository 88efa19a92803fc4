"""A short form of the kill campaign: nothing acknowledged is lost, nothing half done is shown."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.killing import run_kills


@pytest.mark.campaign
def test_twenty_kills_lose_nothing_acknowledged(tmp_path: Path) -> None:
    tally = run_kills(tmp_path / "r.db", 20, seed=5)
    assert tally.acknowledged > 50 and tally.stored >= tally.acknowledged
    assert tally.taken_up > 5
