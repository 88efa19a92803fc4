"""Files with damage are read or refused with a message; nothing else happens."""

from __future__ import annotations

from tests.support.file_damage import readers, run_damage


def test_damaged_plans_lead_maps_spreadsheets_and_harness_files_are_read_or_refused() -> None:
    counts = run_damage(seed=1, rounds=40)
    assert sum(counts.values()) == 40 * len(readers())
    assert all(counts[name, "refused"] for name in readers())
