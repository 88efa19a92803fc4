"""``python -m tests.benchmarks [--quick] [--wheel FILE]``: all figures in one table."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from tests.benchmarks.programs import start_rows
from tests.benchmarks.rooms import judge_rows, replay_rows, report_rows, search_rows
from tests.benchmarks.row import Row, table
from tests.benchmarks.scans import dropout_row, scan_rows


def all_rows(quick: bool, wheel: Path | None = None) -> list[Row]:
    """Every figure, in the order of the table. What is being measured is said on standard error."""
    groups: dict[str, Callable[[], list[Row]]] = {
        "scans": lambda: [row for channels in (64, 256) for row in scan_rows(channels, 2 if quick else 7)],
        "dropouts": lambda: [
            dropout_row(channels, 6 if quick else 30, 200 if quick else 50) for channels in (64, 128, 256)
        ],
        "starts": lambda: start_rows(2 if quick else 9, wheel),
        "verdict and diagnosis": lambda: judge_rows(5 if quick else 20),
        "replay": lambda: replay_rows(2 if quick else 7),
        "search": lambda: search_rows(500 if quick else 20_000),
        "reports": lambda: report_rows(50 if quick else 1000, 5 if quick else 20),
    }
    rows: list[Row] = []
    for name, measure in groups.items():
        start = time.monotonic()
        rows += measure()
        sys.stderr.write(f"{name}: {time.monotonic() - start:.0f} s\n")
    return rows


def main(words: Sequence[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("--quick", action="store_true", help="few repeats: shows that it runs, not what it comes to")
    parser.add_argument("--wheel", type=Path, help="measure start-up from a fresh environment that holds this wheel")
    options = parser.parse_args(words)
    print(table(all_rows(options.quick, options.wheel)))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
