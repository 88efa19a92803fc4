"""Faults named: opens, shorts, swaps, moves; every explanation gives the measurement."""

import random

import pytest

from tester.judge import diagnose, judge
from tester.judge.explain import apply, cycles_of, distance, explained, relabelled, swaps_of
from tests.judge.benches import circuits, expect, kinds, measured

GOOD = "D-1 H-1 | D-2 H-2 | D-3 H-3 H-4 H-5 | D-6"


def first(text):
    return diagnose(circuits(GOOD), circuits(text)).explanations[0]


def test_nothing_wrong_needs_no_explanation():
    assert diagnose(circuits(GOOD), circuits(GOOD)).explanations == ()


def test_two_terminals_exchanged_are_one_swap():
    found = first("D-1 H-2 | D-2 H-1 | D-3 H-3 H-4 H-5 | D-6")
    assert found.cost == 1
    assert set(dict(found.moved)) in ({"D-1", "D-2"}, {"H-1", "H-2"})


def test_a_terminal_in_an_empty_cavity_is_a_move():
    touched = expect(GOOD, edited=frozenset({"D-1"}))
    verdict = judge(touched, measured("D-6 H-1 | D-2 H-2 | D-3 H-3 H-4 H-5 | D-1"))
    [fault] = [f for f in verdict.faults if f.explanation == 0]
    assert (fault.kind, fault.action, fault.sits, fault.belongs) == ("miswire", "move", ("D-6",), ("D-1",))


def test_one_terminal_of_a_splice_open_names_that_terminal():
    verdict = judge(expect(GOOD, edited=frozenset({"H-5"})), measured("D-1 H-1 | D-2 H-2 | D-3 H-3 H-4 | H-5 | D-6"))
    [fault] = verdict.faults
    assert (fault.kind, fault.action, fault.cavities) == ("open", "open terminal", ("H-5",))


def test_a_wire_that_is_missing_names_both_ends():
    verdict = judge(expect(GOOD), measured("D-1 | H-1 | D-2 H-2 | D-3 H-3 H-4 H-5 | D-6"))
    [fault] = verdict.faults
    assert (fault.kind, set(fault.cavities)) == ("open", {"D-1", "H-1"})


def test_a_short_lists_all_cavities_of_both_circuits_touched_ones_first():
    expected = expect(GOOD, edited=frozenset({"H-2"}), steps={"H-2": ("put-2",)})
    verdict = judge(expected, measured("D-1 H-1 D-2 H-2 | D-3 H-3 H-4 H-5 | D-6"))
    [fault] = verdict.faults
    assert fault.kind == "short"
    assert fault.cavities[0] == "H-2"
    assert set(fault.cavities) == {"D-1", "H-1", "D-2", "H-2"}
    assert fault.steps == ("put-2",)


def test_two_faults_at_once_are_both_named():
    verdict = judge(expect(GOOD), measured("D-1 H-1 D-6 | D-2 H-2 | D-3 H-3 H-4 | H-5"))
    assert sorted(kinds(verdict)) == ["open", "short"]


@pytest.mark.parametrize("seed", range(60))
def test_every_explanation_gives_the_measurement(seed):
    rng = random.Random(seed)
    names = [f"D-{i}" for i in range(1, rng.randint(3, 14))]
    wanted, got = _random_netlist(names, rng), _random_netlist(names, rng)
    for found in diagnose(wanted, got).explanations:
        assert apply(wanted, found) == got


def _random_netlist(names, rng):
    groups: dict[int, list[str]] = {}
    for name in names:
        groups.setdefault(rng.randrange(len(names)), []).append(name)
    return circuits(" | ".join(" ".join(group) for group in groups.values()))


def test_an_explanation_that_does_not_give_the_measurement_is_an_error(monkeypatch):
    import tester.judge.explain as explain

    monkeypatch.setattr(explain, "apply", lambda *_: circuits("D-1 | D-2"))
    with pytest.raises(AssertionError, match="does not give the measurement"):
        explained(circuits("D-1 D-2"), circuits("D-1 D-2"), {})


def test_the_distance_counts_bridges_and_openings():
    assert distance(circuits("A-1 A-2 | A-3"), circuits("A-1 | A-2 A-3")) == 2
    assert distance(circuits("A-1 A-2 A-3"), circuits("A-1 | A-2 | A-3")) == 2
    assert distance(circuits("A-1 | A-2 | A-3"), circuits("A-1 A-2 A-3")) == 2
    assert distance(circuits("A-1 A-2"), circuits("A-1 A-2")) == 0


def test_a_rotation_of_three_takes_two_swaps():
    moved = {"A-1": "A-2", "A-2": "A-3", "A-3": "A-1"}
    assert cycles_of(moved) == [["A-1", "A-2", "A-3"]]
    assert swaps_of(moved) == 2
    assert relabelled(circuits("A-1 B-1 | A-2 B-2 | A-3 B-3"), moved) == circuits("A-2 B-1 | A-3 B-2 | A-1 B-3")
