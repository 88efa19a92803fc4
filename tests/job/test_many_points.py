"""Parts between circuits of many points, through firmware and virtual board: every pull-up feeds the sunk end."""

from __future__ import annotations

import statistics

import pytest

from tester.board import ohms as converted
from tester.board.readings import IsolationFrame
from tester.harness.reading import PartReading
from tester.job.measure import take_scan
from tests.campaigns.rig import Rig

POINTS = 14


def _harness(points: int) -> tuple[list[str], list[dict[str, object]]]:
    """Cavities and wires of a splice A-1 to A-n and a pair B-1 to B-2."""
    splice = [f"A-{n + 1}" for n in range(points)]
    links: list[dict[str, object]] = [{"a": "~splice", "b": name, "ohms": 0.05} for name in splice]
    return [*splice, "B-1", "B-2"], [*links, {"a": "B-1", "b": "B-2", "ohms": 0.05}]


def _part(kind: str, row: dict[str, object], seed: int) -> PartReading:
    """One part from A-1, a splice of 14 points, to B-1, a pair."""
    names, links = _harness(POINTS)
    rig = Rig(dict(enumerate(names, 1)), seed=seed)
    measured, _ = rig.measure({"link": links, kind: [row]})
    rig.close()
    (part,) = measured.parts
    return part


@pytest.mark.parametrize("seed", [3, 400905])
def test_a_diode_to_a_splice_of_many_points_conducts_one_way_with_its_own_drop(seed):
    part = _part("diode", {"anode": "B-1", "cathode": "A-1", "drop_v": 0.6}, seed)
    assert {part.ohms_ab is None, part.ohms_ba is None} == {True, False}
    assert part.drop_v == pytest.approx(0.607, abs=0.008)  # 0.6 V at 1 mA, here at 1.2 mA


@pytest.mark.parametrize(("ohms", "within"), [(470.0, 0.003), (2200.0, 0.003), (22_000.0, 0.04), (100_000.0, 0.12)])
def test_a_resistor_to_a_splice_of_many_points_reads_alike_both_ways(ohms, within):
    part = _part("leak", {"a": "A-1", "b": "B-1", "ohms": ohms}, 3)
    assert part.ohms_ab == pytest.approx(ohms, rel=within)
    assert part.ohms_ba == pytest.approx(ohms, rel=within)


def test_a_leak_of_a_splice_is_read_right_on_average_and_too_high_were_its_points_not_counted():
    """2 Mohm from 24 points: their pull-ups take a share of the current, 1140 / 330,000 each: 8 %."""
    names, links = _harness(24)
    counted, uncounted = [], []
    for seed in range(12):
        rig = Rig(dict(enumerate(names, 1)), seed=seed)
        rig.bench.plug({"link": links, "leak": [{"a": "A-1", "b": "B-1", "ohms": 2e6}]})
        if not seed:
            run = take_scan(rig.board, [rig.leads])
            (frame,) = (one for one in run.rounds[0].frames if isinstance(one, IsolationFrame) and one.y == 1)
            assert run.isolation["A-1"] == converted.isolation(frame, 24).ohms, "a scan counts the points"
        frame = rig.board.isolation(1, (25, 26), samples=frame.samples)
        counted.append(converted.isolation(frame, 24).ohms)
        uncounted.append(converted.isolation(frame).ohms)
        rig.close()
    assert statistics.mean(counted) == pytest.approx(2e6, rel=0.03)
    assert statistics.mean(uncounted) > 2e6 * 1.05
