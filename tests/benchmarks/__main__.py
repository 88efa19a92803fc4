"""``python -m tests.benchmarks [--quick] [--wheel FILE]``: all figures in one table."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

from tests.benchmarks.programs import start_rows
from tests.benchmarks.rooms import judge_rows, replay_rows, report_rows, search_rows
from tests.benchmarks.row import Row, table
from tests.benchmarks.scans import dropout_row, scan_rows


def all_rows(quick: bool, wheel: Path | None = None) -> list[Row]:
    """Every figure, in the order of the table."""
    rows = [row for channels in (64, 256) for row in scan_rows(channels, 2 if quick else 7)]
    rows += [dropout_row(channels, 6 if quick else 16, 200 if quick else 100) for channels in (64, 128, 256)]
    rows += start_rows(2 if quick else 9, wheel)
    rows += judge_rows(5 if quick else 20)
    rows += replay_rows(2 if quick else 7)
    rows += search_rows(500 if quick else 20_000)
    return rows + report_rows(50 if quick else 1000, 5 if quick else 20)


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
