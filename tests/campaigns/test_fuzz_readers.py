"""Long fuzzing of every reader of files and of the firmware's parser. Replies: test_reply_fuzz_campaign.py."""

import time
from collections import Counter
from pathlib import Path

import pytest

from tests.hostile.fuzz import MOST_BYTES, attack, heaviest, readers

SECONDS, LEAST_SEEDS, MOST_SEEDS, MEMORY_SEEDS = 6.0, 20, 20_000, 20


@pytest.mark.campaign
@pytest.mark.timeout(600)
def test_every_reader_against_changed_files(tmp_path: Path) -> None:
    print(f"\n{'reader':<20}{'seeds':>8}{'s':>6}{'largest MB':>12}  outcomes")
    for name, reader in readers(tmp_path).items():
        counts: Counter[str] = Counter()
        start, seed = time.monotonic(), 0
        while seed < LEAST_SEEDS or (time.monotonic() - start < SECONDS and seed < MOST_SEEDS):
            attack(name, reader, seed, tmp_path, counts)
            seed += 1
        took = time.monotonic() - start
        memory = heaviest(name, reader, range(MEMORY_SEEDS), tmp_path)
        print(f"{name:<20}{seed:>8}{took:>6.1f}{memory / 1e6:>12.1f}  {dict(sorted(counts.items()))}")
        assert memory < MOST_BYTES
