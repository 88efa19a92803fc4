"""Which of equal explanations comes first, by each part of the order worked out by hand."""

from tester.judge.explain import Explanation
from tester.judge.geometry import Geometry
from tester.judge.ranking import grouped, rank
from tests.judge.benches import circuits, expect

TEXT = "A-1 B-1 | A-2 B-2 | A-3 B-3 | A-4 B-4 | A-5 | A-6"
WANTED = circuits(TEXT)
GEOMETRY = Geometry({}, WANTED.cavities)


def ranked(edited=(), **more):
    return rank(Explanation(**more), WANTED, expect(TEXT, edited=frozenset(edited)), GEOMETRY)


SWAP = (("A-1", "A-2"), ("A-2", "A-1"))
CUT = (("A-3",), ("B-3",))
BRIDGE = (("A-3", "B-3"), ("A-4", "B-4"))


def test_separate_faults_are_groups_bridges_and_openings():
    assert ranked()[1] == 0 and ranked(moved=SWAP)[1] == 1
    assert ranked(moved=SWAP, bridges=(BRIDGE,), opens=(CUT, CUT))[1] == 4
    assert ranked(bridges=(BRIDGE, BRIDGE))[1] == 2 and ranked(opens=(CUT,))[1] == 1


def test_the_distance_is_what_all_terminals_moved_together():
    assert ranked(moved=SWAP)[2] == 2 and ranked(moved=(("A-1", "A-4"), ("A-4", "A-1")))[2] == 6
    assert ranked(moved=(("A-1", "B-1"), ("B-1", "A-1")))[2] == 2000 and ranked(opens=(CUT,))[2] == 0


def test_what_no_step_touched_is_counted_by_cavity_moved_and_by_circuit_bridged_or_opened():
    assert ranked(["A-1"], moved=SWAP)[0] == 1 and ranked(["B-4"], moved=SWAP)[0] == 2
    assert ranked(["A-1"], moved=SWAP, bridges=(BRIDGE,), opens=(CUT,))[0] == 3
    assert ranked(["A-3"], bridges=(BRIDGE, BRIDGE), opens=(CUT, CUT))[0] == 0
    assert ranked(["A-1"], bridges=(BRIDGE, BRIDGE), opens=(CUT, CUT))[0] == 4
    assert ranked(moved=SWAP, bridges=(BRIDGE,), opens=(CUT,))[0] == 0


def test_two_terminals_shifted_into_an_empty_cavity_are_a_row_and_one_is_a_move():
    def told(moved):
        return grouped(moved, WANTED, GEOMETRY)

    assert told({"A-3": "A-4", "A-4": "A-5", "A-5": "A-3"}) == [("row offset", [("A-3", "A-4"), ("A-4", "A-5")])]
    assert told({"A-4": "A-5", "A-5": "A-4"}) == [("move", [("A-4", "A-5")])]
    assert told({"A-5": "A-6", "A-6": "A-5"}) == [("move", [])]
    assert told({"A-1": "A-2", "A-2": "A-1"}) == [("swap", [("A-1", "A-2"), ("A-2", "A-1")])]


def test_two_moves_by_the_same_step_are_one_row_and_by_different_steps_two_moves():
    geometry = Geometry({"A": (("A-1", "A-2", "A-5", "A-6"), ("A-3", "A-4", "", ""))}, WANTED.cavities)
    same = {"A-1": "A-5", "A-5": "A-1", "A-2": "A-6", "A-6": "A-2"}
    assert grouped(same, WANTED, geometry) == [("row offset", [("A-1", "A-5"), ("A-2", "A-6")])]
    other = {"A-1": "A-5", "A-5": "A-1", "A-3": "A-6", "A-6": "A-3"}
    assert [action for action, _ in grouped(other, WANTED, geometry)] == ["move", "move"]


def test_terminals_shifted_alike_on_two_connectors_are_two_rows():
    text = "A-1 C-1 | A-2 C-2 | B-1 C-3 | B-2 C-4 | A-3 | B-3"
    wanted = circuits(text)
    moved = {f"{p}-{i}": f"{p}-{i % 3 + 1}" for p in "AB" for i in (1, 2, 3)}
    found = grouped(moved, wanted, Geometry({}, wanted.cavities))
    assert found == [("row offset", [(f"{p}-1", f"{p}-2"), (f"{p}-2", f"{p}-3")]) for p in "AB"]
