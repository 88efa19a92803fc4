"""600 seeded damages to each kind of file that plans come from."""

from __future__ import annotations

import pytest

from tests.support.file_damage import readers, run_damage

SEED, ROUNDS = 20260101, 600


@pytest.mark.campaign
@pytest.mark.timeout(900)
def test_damaged_files_are_read_or_refused_and_never_crash() -> None:
    counts = run_damage(SEED, ROUNDS)
    print(f"\ndamaged files, {ROUNDS} of each kind (seed {SEED})")
    for name in readers():
        print(f"  {name:<14}read {counts[name, 'read']:>6}   refused {counts[name, 'refused']:>6}")
    assert sum(counts.values()) == ROUNDS * len(readers())
