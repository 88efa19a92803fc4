"""More faults than can be searched to the end: whole groups misplaced, with a few exchanges beside, are still found."""

from __future__ import annotations

import random

import pytest

from tester.harness.expected import Expected, Outcome
from tester.harness.netlist import Netlist
from tester.judge import diagnose
from tester.judge.explain import Explanation, apply, relabelled, swaps_of
from tester.judge.faults import faults_of
from tester.judge.geometry import Geometry
from tester.judge.ranking import grouped
from tester.words import says

ROW = 12


def harness() -> Netlist:
    """Twelve wires from A to B, twelve from C to D: straight."""
    return Netlist.of([[f"{a}-{i}", f"{b}-{i}"] for a, b in ("AB", "CD") for i in range(1, ROW + 1)])


def swaps(connector: str, *places: int) -> dict[str, str]:
    """Neighbours exchanged, from each place to the next."""
    moved = {}
    for i in places:
        moved |= {f"{connector}-{i}": f"{connector}-{i + 1}", f"{connector}-{i + 1}": f"{connector}-{i}"}
    return moved


def told(moved: dict[str, str]) -> tuple[int, bool, list[dict[str, str]]]:
    """Cost, exactness and the terminals that each explanation says are moved."""
    wanted = harness()
    found = diagnose(wanted, relabelled(wanted, moved), Expected((Outcome(wanted),)))
    assert all(apply(wanted, one) == relabelled(wanted, moved) for one in found.explanations)
    return found.explanations[0].cost, found.exact, [dict(one.moved) for one in found.explanations]


def test_plugs_exchanged_and_three_swaps_beside_take_no_more_exchanges_than_that():
    plugs = {f"{a}-{i}": f"{b}-{i}" for i in range(1, ROW + 1) for a, b in (("A", "C"), ("C", "A"))}
    cost, exact, ways = told(plugs | swaps("B", 1, 5, 9))
    assert cost == ROW + 3 and exact
    first = [action for action, _ in grouped(ways[0], harness(), Geometry({}, harness().cavities))]
    assert (
        len(first) == 4 and first.count("plugs exchanged") == 1
    )  # these two or, which measures the same, the other two


def test_exchanged_plugs_are_one_fault_and_a_few_exchanges_at_like_numbers_are_told_one_by_one():
    wanted = harness()
    geometry = Geometry({}, wanted.cavities)
    plugs = {f"{a}-{i}": f"{b}-{i}" for i in range(1, ROW + 1) for a, b in (("A", "C"), ("C", "A"))}
    (one,) = faults_of(Explanation(tuple(plugs.items())), 0, wanted, Expected((Outcome(wanted),)), geometry)
    assert one.action == "plugs exchanged" and len(one.sits) == 2 * ROW
    assert "of A and C sit in the cavity of the same number of the other one" in says(one)
    few = {name: at for name, at in plugs.items() if int(name[2:]) <= ROW // 2}
    assert {action for action, _ in grouped(few, wanted, geometry)} == {"swap"}
    most = {name: at for name, at in plugs.items() if int(name[2:]) <= ROW // 2 + 1}
    assert [action for action, _ in grouped(most, wanted, geometry)] == ["plugs exchanged"]


def test_a_row_put_in_one_place_too_far_and_three_swaps_beside_are_told_as_such():
    offset = {f"A-{i}": f"A-{i % ROW + 1}" for i in range(1, ROW + 1)}
    cost, _, ways = told(offset | swaps("C", 2, 6, 10))
    assert swaps_of(offset) == ROW - 1
    assert cost == ROW - 1 + 3
    assert offset.items() <= ways[0].items()


@pytest.mark.parametrize("seed", range(12))
def test_seven_to_twelve_swaps_are_told_as_so_many_and_at_one_end_of_their_wires(seed):
    rng = random.Random(f"beyond {seed}")
    places = rng.sample(range(1, ROW, 2), rng.randint(3, 6))
    others = rng.sample(range(1, ROW, 2), rng.randint(4, 6))
    injected = swaps("A", *places) | swaps("C", *others)
    cost, exact, ways = told(injected)
    assert cost == len(places) + len(others) and exact  # apart from each other: each swap needs one exchange
    for way in ways:
        assert all(name[0] == at[0] for name, at in way.items())  # either end of the two wires may be the exchanged one
        assert {one[1:] for one in way} == {one[1:] for one in injected}
