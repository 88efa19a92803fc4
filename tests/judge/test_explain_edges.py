"""Explanations and netlists at their limits, and the greedy search beyond the exact one."""

import pytest

from tester.judge.diagnosis import _useful, completing, diagnose
from tester.judge.explain import Explanation, apply, cycles_of, distance, explained, overlaps, relabelled, swaps_of
from tester.judge.search import Search
from tests.judge.benches import circuits


def test_an_explanation_costs_its_exchanges_bridges_and_openings():
    moved = (("A-1", "A-2"), ("A-2", "A-3"), ("A-3", "A-1"))
    cut = (("A-1",), ("B-1",))
    assert Explanation().cost == 0
    assert Explanation(moved, (cut,), (cut, cut, cut)).cost == 2 + 1 + 3


def test_terminals_that_stay_are_in_no_cycle():
    assert cycles_of({"A-2": "A-2", "A-3": "A-1", "A-1": "A-3"}) == [["A-1", "A-3"]]
    assert swaps_of({}) == 0 == swaps_of({"A-1": "A-1"})


def test_bridges_and_openings_are_applied_after_the_moves():
    one = Explanation((("A-1", "A-2"), ("A-2", "A-1")), ((("A-2", "B-1"), ("C-1",)),), ((("C-1", "B-1"), ("A-2",)),))
    assert apply(circuits("A-1 B-1 | A-2 | C-1"), one) == circuits("A-1 | A-2 | B-1 C-1")


def test_only_groups_that_differ_overlap():
    assert overlaps(circuits("A-1 A-2 | B-1"), circuits("A-1 A-2 | B-1")) == []
    [(wanted, got)] = overlaps(circuits("A-1 A-2 | B-1 B-2 | C-1"), circuits("A-1 | A-2 B-1 | B-2 | C-1"))
    assert wanted == [("A-1", "A-2"), ("B-1", "B-2")] and got == [("A-1",), ("A-2", "B-1"), ("B-2",)]
    assert distance(circuits("A-1 A-2 | B-1 B-2"), circuits("A-1 | A-2 B-1 | B-2")) == 3


def test_the_smallest_pieces_are_cut_off_first_and_the_largest_stays():
    found = explained(circuits("A-1 A-2 A-3 A-4 A-5 A-6"), circuits("A-1 A-2 A-3 | A-4 A-5 | A-6"), {})
    assert [cut for cut, _ in found.opens] == [("A-6",), ("A-4", "A-5")] and not found.bridges
    assert [rest for _, rest in found.opens] == [("A-1", "A-2", "A-3", "A-4", "A-5"), ("A-1", "A-2", "A-3")]


def test_each_circuit_is_bridged_once():
    found = explained(circuits("A-1 A-2 | B-1 B-2 | C-1"), circuits("A-1 A-2 B-1 B-2 C-1"), {"A-1": "A-1"})
    assert found == Explanation(bridges=((("A-1", "A-2"), ("B-1", "B-2")), (("A-1", "A-2"), ("C-1",))))


@pytest.mark.parametrize(
    ("wanted", "got", "lower"),
    [
        ("A-1 A-2 A-3", "A-1 | A-2 | A-3", 2),  # 1 + 3 - 2 = 2 openings, two circuits more: (2 + 2) / 2
        ("A-1 | A-2 | A-3", "A-1 A-2 A-3", 2),
        ("A-1 B-1 | A-2 B-2", "A-1 B-2 | A-2 B-1", 1),  # 2 + 2 - 2 = 2, as many circuits: 2 / 2
        ("A-1 A-2 A-3 | B-1 | B-2 | B-3", "A-1 | A-2 | A-3 | B-1 B-2 B-3", 2),  # 4 + 4 - 2 x 2 = 4: 4 / 2
        ("A-1 A-2 | A-3 A-4", "A-1 A-2 | A-3 | A-4", 1),
    ],
)
def test_no_explanation_needs_fewer_faults_than_the_bound(wanted, got, lower):
    assert Search(circuits(wanted), circuits(got)).lower == lower
    assert diagnose(circuits(wanted), circuits(got)).at_least >= lower


@pytest.mark.parametrize("n", [2, 3, 4, 7])
def test_circuits_rotated_around_are_completed_one_after_the_other(n):
    sitting = circuits(" | ".join(f"A-{i} B-{i}" for i in range(n)))
    measured = circuits(" | ".join(f"A-{i} B-{(i + 1) % n}" for i in range(n)))
    moved = completing(sitting, measured)
    assert relabelled(sitting, moved) == measured and swaps_of(moved) == n - 1


def test_only_exchanges_that_complete_a_circuit_of_two_or_more_are_made():
    assert completing(circuits("A-1 A-2 | B-1 B-2"), circuits("A-1 A-2 | B-1 B-2")) == {}
    assert completing(circuits("A-1 | B-1 B-2"), circuits("B-1 | A-1 B-2")) != {}
    assert completing(circuits("A-1 A-2 A-3"), circuits("A-1 | A-2 | A-3")) == {}
    larger = completing(circuits("A-1 A-2 A-3 | B-1 B-2 B-3"), circuits("A-1 A-2 B-1 | A-3 B-2 B-3"))
    assert larger in ({"A-3": "B-1", "B-1": "A-3"},)


def test_empty_cavities_are_all_alike_so_a_rotation_through_them_is_single_moves():
    # E-1 and E-2 are empty: A-1 sits in E-1, B-1 in E-2; where their "terminals" sit does not matter
    wanted = circuits("A-1 A-2 | B-1 B-2 | E-1 | E-2")
    around = {"A-1": "E-1", "E-1": "B-1", "B-1": "E-2", "E-2": "A-1"}
    assert _useful(around, wanted) == {"A-1": "E-1", "E-1": "A-1", "B-1": "E-2", "E-2": "B-1"}
    chain = {"A-1": "B-1", "B-1": "E-1", "E-1": "E-2", "E-2": "A-1", "A-2": "A-2"}
    assert _useful(chain, wanted) == {"A-1": "B-1", "B-1": "E-1", "E-1": "A-1"}
    assert _useful({"A-1": "B-1", "B-1": "A-1"}, wanted) == {"A-1": "B-1", "B-1": "A-1"}
