"""As found + steps against a harness rebuilt wire by wire (tests/support/rough_harness.py)."""

from __future__ import annotations

from collections import Counter
from itertools import combinations, product
from random import Random

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tester.harness.netlist import Netlist
from tester.harness.reading import Measured
from tester.plan.expect import expectation
from tester.plan.models import Plan
from tests.support.plan_opinion import compare_once


@settings(max_examples=300, deadline=None)
@given(st.randoms(use_true_random=False))
def test_the_expectation_holds_the_netlist_of_the_harness_rebuilt_from_scratch(random: Random) -> None:
    compare_once(random, 12, Counter())


def all_trees(names: list[str]) -> list[nx.Graph[str]]:
    if len(names) == 2:
        return [nx.Graph([tuple(names)])]
    codes = product(range(len(names)), repeat=len(names) - 2)
    plain = [nx.from_prufer_sequence(list(code)) for code in codes]
    return [nx.relabel_nodes(tree, dict(enumerate(names))) for tree in plain]


def netlist_of(graph: nx.Graph[str], names: list[str]) -> Netlist:
    return Netlist.of(nx.connected_components(graph), names)


@pytest.mark.parametrize("size", [2, 3, 4, 5])
def test_removing_keeps_exactly_the_outcomes_of_every_way_to_wire_the_circuit(size: int) -> None:
    names = [f"D-{n}" for n in range(1, size + 1)]
    truth = set()
    for tree in all_trees(names):
        if tree.degree["D-1"] <= 2:  # at most two wires in one terminal
            rest = tree.copy()
            rest.remove_node("D-1")
            truth.add(netlist_of(rest, names))
    truth.add(Netlist.of([names[1:]], names))  # a buried joint
    tables = {"connector": [{"id": "D", "cavities": size}], "step": [{"do": "remove", "cavity": "D-1"}]}
    plan = Plan.model_validate({"format": 1, "id": "x", "revision": "1"} | tables)
    expected = expectation(plan, Measured(Netlist.of([names])))
    assert {outcome.netlist for outcome in expected.outcomes} == truth
    assert len(expected.outcomes) == 2 ** (size - 2)


@pytest.mark.parametrize("size", [2, 3, 4, 5])
def test_cutting_keeps_exactly_the_outcomes_of_every_way_to_wire_the_circuit(size: int) -> None:
    names = [f"D-{n}" for n in range(1, size + 1)]
    truth = set()
    for tree in all_trees(names):
        if tree.degree["D-1"] <= 2:
            for wire in list(tree.edges("D-1")):
                rest = tree.copy()
                rest.remove_edge(*wire)
                truth.add(netlist_of(rest, names))
    tables = {"connector": [{"id": "D", "cavities": size}], "step": [{"do": "cut", "cavity": "D-1"}]}
    plan = Plan.model_validate({"format": 1, "id": "x", "revision": "1"} | tables)
    expected = expectation(plan, Measured(Netlist.of([names])))
    assert {outcome.netlist for outcome in expected.outcomes} == truth


def test_two_removals_keep_every_outcome_of_every_way_to_wire_five_cavities() -> None:
    names = [f"D-{n}" for n in range(1, 6)]
    truth = set()
    for tree in all_trees(names):
        if max(tree.degree["D-1"], tree.degree["D-2"]) <= 2:
            rest = tree.copy()
            rest.remove_nodes_from(["D-1", "D-2"])
            truth.add(netlist_of(rest, names))
    steps = [{"do": "remove", "cavity": name} for name in ("D-1", "D-2")]
    tables = {"connector": [{"id": "D", "cavities": 5}], "step": steps}
    plan = Plan.model_validate({"format": 1, "id": "x", "revision": "1"} | tables)
    found = {outcome.netlist for outcome in expectation(plan, Measured(Netlist.of([names]))).outcomes}
    assert truth <= found
    apart = {Netlist.of([], names)}
    assert found - truth <= apart  # three groups of one need a joint beyond a tree of terminals
    assert all(not n.joined("D-1", "D-2") for n in found for _ in combinations(names, 2))
