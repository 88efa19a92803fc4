"""Every reader against changed files, quick form: one documented error or none. The long form is a campaign."""

import random
from collections import Counter
from pathlib import Path

import pytest

from tester.errors import InputError
from tester.job.scanfile import load_rounds
from tests.hostile.fuzz import MOST_BYTES, attack, changed, heaviest, readers

NAMES = ("plan", "lead map", "virtual harness", "CSV plan", "KBL plan", "saved scan", "archive, lines",
         "archive, packed", "firmware's parser", "board")  # fmt: skip
SEEDS = {"plan": 40, "archive, lines": 60, "archive, packed": 60, "board": 10}


def test_no_reader_is_left_out(tmp_path: Path) -> None:
    assert tuple(readers(tmp_path)) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_a_changed_file_is_read_or_refused_with_the_readers_own_error(name: str, tmp_path: Path) -> None:
    reader = readers(tmp_path)[name]
    reader.read(reader.sample, tmp_path)
    counts: Counter[str] = Counter()
    for seed in range(SEEDS.get(name, 150)):
        attack(name, reader, seed, tmp_path, counts)
    assert sum(counts.values()) == SEEDS.get(name, 150)


@pytest.mark.parametrize("name", ["plan", "saved scan", "archive, packed"])
def test_reading_a_changed_file_takes_bounded_memory(name: str, tmp_path: Path) -> None:
    assert heaviest(name, readers(tmp_path)[name], range(5), tmp_path) < MOST_BYTES


def test_changes_are_changes() -> None:
    sample = b"one two\nthree four\n" * 20
    assert sum(changed(random.Random(seed), sample) != sample for seed in range(100)) > 90


@pytest.mark.parametrize(
    "rounds",
    [{"frames": []}, [{"frames": []}], [{"leads": 7, "frames": []}], [7], [{"leads": "", "frames": 3}],
     [{"leads": "format = 1\nid = 'a'\n[channels]\n1 = 'D-1'\n", "frames": [{"payloads": [], "requests": [5]}]}]],
)  # fmt: skip
def test_damaged_rounds_of_a_saved_scan_are_named(rounds: object) -> None:
    """Saved scan, seed 29: a round without its lead map ended in a KeyError."""
    with pytest.raises(InputError, match="damaged"):
        load_rounds(rounds, "s.json")  # type: ignore[arg-type]
