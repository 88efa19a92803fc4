"""Verdict, diagnosis, replay, search, reports: each against its reference in the same run, with its growth."""

from __future__ import annotations

import contextlib
import io
import statistics
import tempfile
from pathlib import Path

from tester.board.client import Board
from tester.board.recording import Recorder, ReplayWire, Wire
from tester.harness.leads import LeadMap
from tester.job.measure import decode, take_scan
from tester.reports.html import page_html
from tester.reports.pages import bench_page
from tester.reports.tables import record_json
from tests.benchmarks.row import Row, median_s
from tests.campaigns import judge_benchmark
from tests.campaigns.rig import QuietLink
from tests.campaigns.test_records_benchmark import measured as measure_log
from tests.support.jobs import good_job
from tests.support.virtual import VirtualBench


def judge_rows(repeats: int) -> list[Row]:
    """Verdict and diagnosis of two faults against networkx, at 256 cavities; growth of both to 1,024.

    Medians over harnesses: how long a diagnosis takes depends on which faults they are.
    """
    small, large = (judge_times(size, max(3, repeats)) for size in (256, 1024))
    against = "networkx.connected_components of the same graph; median of harnesses"
    goals = {"verdict": judge_benchmark.VERDICT_GOAL, "diagnosis": float(judge_benchmark.DIAGNOSIS_GOAL)}
    rows = []
    for name, goal in goals.items():
        rows.append(Row(f"{name}, 256 cavities, 2 faults", small[name] / small["networkx"], against, goal))
        grown = f"time at 1,024 over that at 256 cavities; networkx {large['networkx'] / small['networkx']:.1f}"
        rows.append(Row(f"{name}: growth", large[name] / small[name], grown))
    return rows


def judge_times(size: int, seeds: int) -> dict[str, float]:
    """Median seconds of networkx, verdict and diagnosis over that many harnesses with two faults each."""
    runs = [judge_benchmark.measure(size, 2, 3, seed) for seed in range(1, seeds + 1)]
    return {name: statistics.median(run[name] for run in runs) for name in ("networkx", "verdict", "diagnosis")}


def replay_rows(repeats: int) -> list[Row]:
    """A recorded scan played to the client again, requests checked, against decoding its stored frames alone."""
    taken = {}
    for channels in (16, 64):
        leads = {n: f"D-{n}" for n in range(1, channels + 1)}
        bench = VirtualBench({"link": [{"a": "D-1", "b": f"D-{channels}"}]}, leads, seed=3)
        link, recorder = QuietLink(bench), Recorder()
        maps = [LeadMap("bench", leads)]
        with Board(Wire(link, link.clock, recorder, lambda: 99)) as board:
            run = take_scan(board, maps)
        text = recorder.text()

        def replay(text: str = text, maps: list[LeadMap] = maps, then: object = run.measured) -> None:
            wire = ReplayWire(text)
            with Board(wire) as board:
                assert take_scan(board, maps).measured == then
            wire.finish()

        rounds = run.rounds
        taken[channels] = (median_s(replay, repeats), median_s(lambda rounds=rounds: decode(rounds), repeats))
    (small, _), (large, decoding) = taken[16], taken[64]
    return [
        Row("replay of a scan of 64 channels", large / decoding, "decoding its frames alone"),
        Row(
            "replay: growth", large / small, "time at 64 over that at 16 channels; 4 times the rows, 16 times the bits"
        ),
    ]


def search_rows(records: int) -> list[Row]:
    """Finding and counting against plain indexed SQL on the same data; growth over ten times the records."""
    with tempfile.TemporaryDirectory(prefix="loomwright-bench-") as place, contextlib.redirect_stdout(io.StringIO()):
        small, _, _ = measure_log(Path(place), records // 10)
        large, _, _ = measure_log(Path(place), records)
    rows = []
    for name, (ours, plain) in large.items():
        before, plain_before = small[name]
        rows.append(Row(f"{name}, {records:,} records", ours / plain, "plain indexed SQL on the same data", 2.0))
        grown = f"time at {records:,} over that at {records // 10:,}; plain SQL {plain / plain_before:.1f}"
        rows.append(Row(f"{name}: growth", ours / before, grown))
    return rows


def report_rows(many: int, repeats: int) -> list[Row]:
    """One report as a page, and many, against the same record as JSON."""
    record = good_job()
    one = median_s(lambda: page_html(bench_page(record)), repeats)
    bare = median_s(lambda: record_json(record), repeats)
    all_of_them = median_s(lambda: [page_html(bench_page(record)) for _ in range(many)], 1)
    return [
        Row("one report page", one / bare, "the same record as JSON"),
        Row(f"{many:,} report pages: each", all_of_them / many / one, "one page alone", 2.0),
    ]
