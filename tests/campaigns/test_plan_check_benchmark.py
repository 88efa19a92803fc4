"""`plan check` on 300 cavities, 60 wires and up to 10 conditions: time, and growth against the number of conditions.

Times are told as ratios to `networkx.connected_components` on the graph of the same harness, taken in the same run.
"""

from __future__ import annotations

import time
from typing import Any

import networkx as nx
import pytest

from tester.plan.combos import MOST
from tester.plan.models import Plan
from tester.plan.variants import check_plan

CAVITIES, WIRES = 300, 60


def big_plan(conditions: int) -> Plan:
    """Ten connectors of 30; 60 kit wires; each condition leaves out one wire whose circuit is there already."""
    connectors = [{"id": letter, "cavities": 30} for letter in "ABCDEFGHJK"]
    kit: list[dict[str, Any]] = []
    steps: list[dict[str, Any]] = []
    for n in range(WIRES):
        one, two = ("A", "B") if n < 30 else ("C", "D")
        a, b = f"{one}-{n % 30 + 1}", f"{two}-{n % 30 + 1}"
        kit.append({"id": f"W{n}", "colour": "RD", "size_mm2": 0.5, "a": {"cavity": a}, "b": {"cavity": b}})
        there = {"joined": [a, b]}
        when = {"when": {"not": there}} if n < conditions else {}
        steps += [{"do": "insert", "wire": f"W{n}", "end": end, **when} for end in ("a", "b")]
        steps += [{"do": "seal-off", "wire": f"W{n}", "when": there}] if n < conditions else []
    tables = {"format": 1, "id": "big", "revision": "1", "connector": connectors, "wire": kit, "step": steps}
    return Plan.model_validate(tables)


def reference_seconds() -> float:
    graph: nx.Graph[str] = nx.Graph((f"A-{n}", f"B-{n}") for n in range(CAVITIES // 2))
    start = time.perf_counter()
    for _ in range(50):
        list(nx.connected_components(graph))
    return (time.perf_counter() - start) / 50


@pytest.mark.campaign
@pytest.mark.timeout(600)
def test_checking_a_big_plan_grows_with_the_combinations_and_not_faster() -> None:
    print(f"\nplan check, {CAVITIES} cavities, {WIRES} wires (x = times connected_components of its graph)")
    print(f"  {'conditions':>10}{'combinations':>14}{'seconds':>10}{'x':>9}{'x each':>9}")
    each = {}
    for conditions in (0, 2, 4, 6, 8, 10):
        plan, unit = big_plan(conditions), reference_seconds()
        start = time.perf_counter()
        report = check_plan(plan)
        seconds = time.perf_counter() - start
        each[conditions] = seconds / unit / report.possible
        print(f"  {conditions:>10}{report.possible:>14}{seconds:>10.2f}{seconds / unit:>9.0f}{each[conditions]:>9.1f}")
        assert report.fits and report.possible == 2**conditions and not report.not_tried
    print(f"  cost of a combination, 10 conditions over 4: {each[10] / each[4]:.2f}")
    start = time.perf_counter()
    report = check_plan(big_plan(14))
    print(f"  {14:>10}{report.possible:>14}{time.perf_counter() - start:>10.2f}   pairs only: more than {MOST}")
    assert report.not_tried and report.possible < 4 * 14 * 13
