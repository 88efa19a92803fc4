"""The exact search against a second, naive diagnosis, and against what was injected."""

import random

import pytest

from tester.harness.expected import Expected, Outcome
from tester.harness.netlist import Netlist
from tester.judge import diagnose
from tester.judge.explain import Explanation, apply, relabelled, swaps_of
from tester.judge.geometry import Geometry, rearrangements
from tester.judge.ranking import rank
from tester.judge.search import Exhausted, Search, exchanges
from tests.judge.benches import circuits
from tests.judge.makers import Injection, random_netlist, ways
from tests.judge.naive import naive_diagnosis


def compare_with_naive(count: int, seed: int) -> dict[tuple[int, int], int]:
    """Compare `count` cases of up to 8 cavities and two faults; how many had which (cost, ties)."""
    rng = random.Random(seed)
    tally: dict[tuple[int, int], int] = {}
    while sum(tally.values()) < count:
        case = Injection(random_netlist(rng, rng.randint(3, 8)))
        for _ in range(rng.randint(1, 2)):
            case.random(rng)
        if case.measured == case.expected:
            continue
        naive = naive_diagnosis(case.expected, case.measured)
        assert naive is not None, "two faults were injected, so two must be enough"
        found = diagnose(case.expected, case.measured)
        assert found.exact and found.complete
        assert found.explanations[0].cost == naive[0], (case.expected, case.measured)
        assert ways(found.explanations) == naive[1], (case.expected, case.measured)
        key = (naive[0], len(naive[1]))
        tally[key] = tally.get(key, 0) + 1
    return tally


def test_cost_and_the_whole_set_of_ties_agree_with_the_naive_diagnosis():
    tally = compare_with_naive(150, seed=5)
    assert {cost for cost, _ in tally} == {1, 2}
    assert max(ties for _, ties in tally) > 1


def injected_are_found(count: int, seed: int, most: int) -> tuple[int, int, int]:
    """Cases, those whose injected set was of smallest size, and the largest number of ties."""
    rng = random.Random(seed)
    cases = minimal = ties = 0
    while cases < count:
        case = Injection(random_netlist(rng, rng.choice((10, 16, 20, 64)), rng.randint(2, 6)))
        for _ in range(rng.randint(1, most)):
            case.random(rng)
        if case.measured == case.expected:
            continue
        cases += 1
        found = diagnose(case.expected, case.measured)
        assert found.exact and found.complete
        for one in found.explanations:
            assert apply(case.expected, one) == case.measured
        cost = found.explanations[0].cost
        assert cost <= case.count
        ties = max(ties, len(found.explanations))
        if cost == case.count:
            minimal += 1
            injected = frozenset((sits, belongs) for belongs, sits in case.moved.items())
            assert injected in ways(found.explanations), (case.expected, case.measured, case.moved)
    return cases, minimal, ties


def test_up_to_four_injected_faults_are_among_the_explanations_wherever_they_are_as_few_as_possible():
    cases, minimal, _ = injected_are_found(300, seed=9, most=4)
    assert minimal > cases / 2


def test_a_terminal_open_in_one_circuit_and_touching_another_is_not_mistaken_for_components_apart():
    # A circuit of three fell apart and three lone cavities are joined: three moves explain it, six other faults do not
    wanted, got = circuits("A-1 A-2 A-3 | B-1 | B-2 | B-3"), circuits("A-1 | A-2 | A-3 | B-1 B-2 B-3")
    found = diagnose(wanted, got)
    assert found.explanations[0].cost == 3 and found.exact
    assert len(found.explanations) == 6


def test_the_bound_holds_and_is_met_by_independent_swaps():
    wanted = Netlist.of([[f"A-{i}", f"B-{i}"] for i in range(1, 31)])
    moved = {f"A-{i}": f"A-{i + 1 if i % 2 else i - 1}" for i in range(1, 21)}
    found = diagnose(wanted, relabelled(wanted, moved))
    assert found.explanations[0].cost == 10 == found.at_least
    assert found.exact and not found.complete


def test_beyond_the_exact_search_what_is_left_after_whole_circuits_is_still_searched():
    # eight swaps are found circuit by circuit; the circuit of three that fell apart takes three moves and not four
    pairs = " | ".join(f"C-{i} D-{i}" for i in range(1, 17))
    wanted = circuits(f"{pairs} | A-1 A-2 A-3 | B-1 | B-2 | B-3")
    moved = {f"C-{i}": f"C-{i + 1 if i % 2 else i - 1}" for i in range(1, 17)}
    found = diagnose(wanted, relabelled(wanted, moved | {"A-1": "B-1", "B-1": "A-1", "A-2": "B-2", "B-2": "A-2"}))
    assert found.explanations[0].cost == 10 == found.at_least and found.exact
    shifted = relabelled(wanted, moved)
    got = Netlist.of(
        [*(c for c in shifted if not c[0].startswith(("A", "B"))), ["A-1"], ["A-2"], ["A-3"], ["B-1", "B-2", "B-3"]]
    )
    assert diagnose(wanted, got).explanations[0].cost == 11


def test_beyond_the_exact_search_it_says_that_it_is_a_bound():
    rng = random.Random(2)
    wanted, got = random_netlist(rng, 60), random_netlist(rng, 60)
    found = diagnose(wanted, got)
    assert not found.exact and not found.complete
    assert found.at_least <= found.explanations[0].cost
    assert apply(wanted, found.explanations[0]) == got


def test_a_search_that_sees_too_many_states_gives_a_bound_only(monkeypatch):
    import tester.judge.search as search

    monkeypatch.setattr(search, "MOST_STATES", 3)
    wanted, got = circuits("A-1 A-2 A-3 | B-1 | B-2 | B-3"), circuits("A-1 | A-2 | A-3 | B-1 B-2 B-3")
    with pytest.raises(Exhausted):
        Search(wanted, got).smallest()
    found = diagnose(wanted, got)
    assert not found.complete
    assert apply(wanted, found.explanations[0]) == got


def test_too_many_ties_are_cut_and_said(monkeypatch):
    import tester.judge.search as search

    monkeypatch.setattr(search, "MOST_TIES", 3)
    wanted, got = circuits("A-1 A-2 A-3 | B-1 | B-2 | B-3"), circuits("A-1 | A-2 | A-3 | B-1 B-2 B-3")
    found = diagnose(wanted, got)
    assert found.exact and not found.complete and len(found.explanations) == 3


def test_netlists_of_different_cavities_are_refused():
    with pytest.raises(ValueError, match="same cavities"):
        diagnose(circuits("A-1 A-2"), circuits("A-1 | A-3"))


FACE = {"A": (tuple(f"A-{i}" for i in range(1, 7)), tuple(f"A-{i}" for i in range(7, 13)))}
WIRES = Netlist.of([[f"A-{i}", f"B-{i}"] for i in range(1, 12)] + [["A-12"], ["B-12"]])


def first(moved, **more):
    context = Expected((Outcome(WIRES),), faces=FACE, **more)
    found = diagnose(WIRES, relabelled(WIRES, moved), context)
    return found, found.explanations[0]


def test_touched_cavities_come_first_among_ties():
    for touched in ("A", "B"):
        edited = frozenset({f"{touched}-1", f"{touched}-2"})
        _, best = first({"A-1": "A-2", "A-2": "A-1"}, edited=edited)
        assert {name for name, _ in best.moved} == edited


def test_neighbours_come_before_cavities_far_apart():
    # lie one above the other on this face; their partners B-1 and B-7 are six apart in a row
    _, best = first({"A-1": "A-7", "A-7": "A-1"})
    assert {name for name, _ in best.moved} == {"A-1", "A-7"}


def test_a_mirrored_face_is_one_group_whatever_it_costs():
    from tester.judge.faults import faults_of

    mirror = {f"A-{i}": f"A-{7 - i}" for i in range(1, 7)} | {f"A-{i}": f"A-{19 - i}" for i in range(7, 13)}
    found, best = first(mirror)
    assert best.cost == 6 and found.exact
    [fault] = faults_of(best, 0, WIRES, Expected((Outcome(WIRES),), faces=FACE))
    assert fault.action == "mirrored face"
    assert fault.belongs[:2] == ("A-1", "A-2") and fault.sits[:2] == ("A-6", "A-5")


def test_a_row_put_in_one_place_too_far_is_one_group():
    from tester.judge.faults import faults_of

    row = [f"A-{i}" for i in (7, 8, 9, 10, 11, 12)]
    moved = dict(zip(row, row[1:] + row[:1], strict=True))
    found, best = first(moved)
    assert found.exact and swaps_of(dict(best.moved)) == 5
    [fault] = faults_of(best, 0, WIRES, Expected((Outcome(WIRES),), faces=FACE))
    assert fault.action == "row offset"
    assert fault.belongs == ("A-7", "A-8", "A-9", "A-10", "A-11")
    assert fault.sits == ("A-8", "A-9", "A-10", "A-11", "A-12")


def test_three_terminals_rotated_are_one_group():
    from tester.judge.faults import faults_of

    _, best = first({"A-1": "A-2", "A-2": "A-3", "A-3": "A-1"}, edited=frozenset({"A-1", "A-2", "A-3"}))
    [fault] = faults_of(best, 0, WIRES, Expected((Outcome(WIRES),), edited=frozenset({"A-1", "A-2", "A-3"})))
    assert fault.action == "rotated group" and set(fault.cavities) == {"A-1", "A-2", "A-3"}


def test_exchanged_plugs_are_found_beyond_the_exact_search():
    wanted = Netlist.of([[f"A-{i}", f"C-{i}"] for i in range(1, 11)] + [[f"B-{i}", f"D-{i}"] for i in range(1, 11)])
    moved = {f"{a}-{i}": f"{b}-{i}" for i in range(1, 11) for a, b in (("A", "B"), ("B", "A"))}
    found = diagnose(wanted, relabelled(wanted, moved))
    assert found.exact and found.explanations[0].cost == 10


def test_a_bridge_and_an_opening_in_one_overlap_are_counted_as_two():
    found = diagnose(circuits("A-1 A-2 A-3 | A-4"), circuits("A-1 A-2 | A-3 A-4"))
    assert found.explanations[0].cost == 2


def test_only_exchanges_that_change_something_are_tried():
    table = {(0, 0): 2, (0, 1): 1, (1, 1): 1}
    tried = [(one, other, after) for one, other, after in exchanges(table)]
    assert tried == [((0, 0), (1, 1), {(0, 0): 1, (0, 1): 2, (1, 0): 1})]


def test_of_equal_explanations_that_touch_what_no_step_touched_the_one_beside_the_steps_comes_last():
    # a bridge of two circuits counts against an explanation only when steps touched neither
    wanted = circuits("A-1 B-1 | A-2 B-2 | A-3 | B-3")
    context = Expected((Outcome(wanted),), edited=frozenset({"A-1"}))
    geometry = Geometry({}, wanted.cavities)

    def aside(**more):
        return rank(Explanation(**more), wanted, context, geometry)[0]

    assert aside(bridges=((("A-1", "B-1"), ("A-2", "B-2")),)) == 0
    assert aside(bridges=((("A-2", "B-2"), ("A-1", "B-1")),)) == 0
    assert aside(bridges=((("A-2", "B-2"), ("A-3",)),)) == 1
    assert aside(opens=((("A-1",), ("B-1",)),)) == 0
    assert aside(opens=((("B-1",), ("A-1",)),)) == 0
    assert aside(opens=((("B-2",), ("A-2",)),)) == 1
    assert aside(moved=(("A-1", "A-3"), ("A-3", "A-1"))) == 1
    nothing = Expected((Outcome(wanted),))
    bridge = Explanation(bridges=((("A-2", "B-2"), ("A-3",)),))
    assert rank(bridge, wanted, nothing, geometry)[0] == 0


def test_the_least_number_is_given_only_up_to_the_most_that_is_asked_for():
    search = Search(circuits("A-1 A-2 A-3"), circuits("A-1 | A-2 | A-3"))
    assert search.smallest(1) is None
    assert search.smallest(2) == 2


def test_more_faults_than_the_search_goes_are_bounded_by_where_it_stopped():
    # four circuits parted in halves and four pairs of circuits bridged: eight faults, none an exchange; the bound is 4
    whole = [[f"A-{8 * k + i}" for i in range(1, 9)] for k in range(4)]
    halves = [[f"B-{4 * k + i}" for i in range(1, 5)] for k in range(8)]
    wanted = Netlist.of([*whole, *halves])
    got = Netlist.of([*(w[:4] for w in whole), *(w[4:] for w in whole), *(halves[k] + halves[k + 4] for k in range(4))])
    found = diagnose(wanted, got)
    assert found.at_least == 7 and not found.exact and not found.complete
    assert found.explanations[0].cost == 8


def test_distances_on_a_face_count_rows_and_columns():
    geometry = Geometry(FACE, ["A-1", "B-1", "B-9"])
    assert geometry.distance("A-1", "A-2") == geometry.distance("A-1", "A-7") == geometry.distance("A-1", "A-8") == 1
    assert geometry.distance("A-1", "A-9") == 2 and geometry.distance("A-1", "A-1") == 0
    assert geometry.distance("A-1", "B-1") == geometry.distance("A-1", "A-99") == 1000
    assert geometry.offset("A-8", "A-1") == (-1, -1) and geometry.offset("A-1", "B-1") is None
    assert (geometry.connector("A-1"), geometry.connector("B-9"), geometry.connector("X-1")) == ("A", "B", "")


def test_the_images_of_a_face_are_its_three_flips():
    sideways, down, both = Geometry(FACE, ["A-1"]).mirrors("A")
    assert (sideways["A-1"], down["A-1"], both["A-1"]) == ("A-6", "A-7", "A-12")
    assert all(image[image[name]] == name for image in (sideways, down, both) for name in image)
    uneven = Geometry({"C": (("C-1", "C-2", ""), ("C-3", "C-4", "C-5"))}, [])
    assert uneven.mirrors("C")[0] == {"C-3": "C-5", "C-5": "C-3"}


def test_runs_are_neighbours_in_a_row_and_all_of_a_connector_together():
    runs = list(Geometry(FACE, []).runs(["A-1", "A-2", "A-4", "A-7"]))
    assert runs == [["A-1", "A-2"], ["A-1", "A-2", "A-4", "A-7"]]
    assert list(Geometry(FACE, []).runs(["A-1", "A-3", "A-12"])) == [["A-1", "A-3", "A-12"]]
    assert list(Geometry(FACE, []).runs(["A-1", "A-3"])) == []
    assert list(Geometry(FACE, []).runs(["A-5", "A-6"])) == [["A-5", "A-6"]]


def test_rearrangements_are_permutations_of_the_wrong_cavities():
    wrong = ["A-1", "A-2", "A-3", "B-1", "B-2", "B-3"]
    found = list(rearrangements(Geometry(FACE, wrong), wrong))
    assert all(set(moved) == set(moved.values()) and set(moved) <= set(wrong) for moved in found)
    assert {"A-1": "A-2", "A-2": "A-3", "A-3": "A-1"} in found
    assert {"B-1": "B-3", "B-2": "B-1", "B-3": "B-2"} in found
    assert {a: f"{'BA'['AB'.index(a[0])]}{a[1:]}" for a in wrong} in found


def test_the_exchanges_left_out_where_nothing_is_to_spare_part_no_group():
    rng = random.Random(21)
    kept = 0
    for _ in range(200):
        case = Injection(random_netlist(rng, rng.randint(6, 14)))
        for _ in range(3):
            case.random(rng)
        search = Search(case.expected, case.measured)
        rest, up = search._overlap(search.start)
        tight = (rest + search.extra) // 2
        few = {(one, other) for one, other, _ in search._exchanges(search.start, rest, up, tight)}
        for one, other, after in exchanges(search.start):
            assert (one, other) in few or search.rest(after) >= rest
        kept += len(few)
        assert len(list(search._exchanges(search.start, rest, up, tight + 1))) == len(list(exchanges(search.start)))
    assert kept
