"""Faults at their limits: plugs of exactly three cavities, halves of equal size, sealed-off leads."""

import pytest

from tester.judge.explain import Explanation
from tester.judge.faults import faults_of, likeliest
from tester.judge.geometry import Geometry
from tests.judge.benches import circuits, expect


def told(text, explanation, **more):
    return faults_of(explanation, 2, circuits(text), expect(text, **more))


def opened(text, *opens, **more):
    found = told(text, Explanation(opens=tuple((tuple(a.split()), tuple(b.split())) for a, b in opens)), **more)
    return [(f.action, f.sits, f.belongs, f.cavities) for f in found]


THREE = "P-1 A-1 A-2 | P-2 B-1 B-2 | P-3 C-1 C-2 | P-4"


def test_three_wired_cavities_all_open_are_a_plug_that_is_not_home():
    cuts = [("P-1", "A-1 A-2"), ("P-2", "B-1 B-2"), ("P-3", "C-1 C-2")]
    plug, others = ("P-1", "P-2", "P-3"), ("A-1", "A-2", "B-1", "B-2", "C-1", "C-2")
    assert opened(THREE, *cuts) == [("plug not home", plug, others, plug)]


def test_two_wired_cavities_all_open_are_two_openings():
    cuts = [("P-1", "A-1 A-2"), ("P-2", "B-1 B-2")]
    assert [one[0] for one in opened("P-1 A-1 A-2 | P-2 B-1 B-2 | P-3", *cuts)] == ["lead not touching"] * 2


def test_two_of_three_wired_cavities_open_leave_the_plug_alone():
    cuts = [("P-1", "A-1 A-2"), ("P-2", "B-1 B-2"), ("C-1", "P-3 C-2")]
    assert [one[1] for one in opened(THREE, *cuts)] == [("P-1",), ("P-2",), ("C-1",)]


def test_an_opening_beside_a_plug_that_is_not_home_is_told_too():
    cuts = [("P-1", "A-1 A-2"), ("P-2", "B-1 B-2"), ("P-3", "C-1 C-2"), ("E-1", "F-1")]
    found = opened(f"{THREE} | E-1 F-1", *cuts)
    assert [one[0] for one in found] == ["plug not home", "lead not touching"]


def test_two_plugs_that_are_not_home_through_openings_of_their_own_are_two_faults():
    text = f"{THREE} | Q-1 D-1 D-2 | Q-2 E-1 E-2 | Q-3 F-1 F-2"
    cuts = [(f"{p}-{i}", f"{c}-1 {c}-2") for p, row in (("P", "ABC"), ("Q", "DEF")) for i, c in enumerate(row, 1)]
    assert [one[1] for one in opened(text, *cuts)] == [("P-1", "P-2", "P-3"), ("Q-1", "Q-2", "Q-3")]


def test_the_shorter_part_is_what_is_open_and_of_equal_ones_the_first():
    assert opened("A-1 A-2 A-3", ("A-1 A-2", "A-3"))[0][1:] == (("A-3",), ("A-1", "A-2"), ("A-3",))
    half = opened("A-1 A-2 A-3 A-4", ("A-3 A-4", "A-1 A-2"))
    assert half == [("splice incomplete", ("A-3", "A-4"), ("A-1", "A-2"), ("A-1", "A-2", "A-3", "A-4"))]
    assert opened("A-1 B-1", ("B-1", "A-1")) == [("lead not touching", ("B-1",), ("A-1",), ("A-1", "B-1"))]


@pytest.mark.parametrize(
    ("text", "cut", "rest", "edited", "action"),
    [
        ("A-1 B-1", "A-1", "B-1", "B-1", "missing wire"), ("A-1 B-1", "A-1", "B-1", "A-1", "missing wire"),
        ("A-1 B-1", "A-1", "B-1", "C-1", "lead not touching"),
        ("A-1 B-1 B-2", "A-1", "B-1 B-2", "A-1", "open terminal"),
        ("A-1 B-1 B-2", "A-1", "B-1 B-2", "B-1", "lead not touching"),
        ("A-1 A-2 B-1 B-2 B-3", "A-1 A-2", "B-1 B-2 B-3", "C-1", "splice incomplete"),
    ],
)  # fmt: skip
def test_what_an_opening_is_called_depends_on_its_size_and_on_what_the_steps_touched(text, cut, rest, edited, action):
    [one] = opened(text, (cut, rest), edited=frozenset({edited}))
    assert one[0] == action


def bridged(text, one, other, **more):
    [fault] = told(text, Explanation(bridges=((tuple(one.split()), tuple(other.split())),)), **more)
    assert fault.kind == "short" and fault.explanation == 2
    return fault.action, fault.sits, fault.belongs


def test_a_lead_sealed_off_in_a_circuit_of_others_is_named_first():
    text = "A-1 A-2 | B-1 B-2"
    names = {"A-2": "old feed"}
    assert bridged(text, "A-1 A-2", "B-1 B-2", sealed=names)[:2] == ("sealed-off lead touching", ("A-1", "A-2"))
    assert bridged(text, "B-1 B-2", "A-1 A-2", sealed=names)[1:] == (("A-1", "A-2"), ("B-1", "B-2"))
    assert bridged(text, "B-1 B-2", "A-1 A-2") == ("bridge", ("B-1", "B-2"), ("A-1", "A-2"))
    both = bridged(text, "B-1 B-2", "A-1 A-2", sealed=names | {"B-1": "old earth"})
    assert both[1] == ("B-1", "B-2")


def test_what_steps_touched_comes_first_and_each_group_in_order():
    expected = expect("A-1 | A-2 | A-10 | A-3", edited=frozenset({"A-10", "A-3"}))
    assert likeliest(["A-2", "A-10", "A-1", "A-3", "A-1"], expected) == ("A-3", "A-10", "A-1", "A-2")


PAIRS = " | ".join(f"A-{i} B-{i}" for i in range(1, 8)) + " | A-8 | A-9"
FACE = {"A": (tuple(f"A-{i}" for i in range(1, 10)),)}


def moved(moves, **more):
    wanted = circuits(PAIRS)
    found = faults_of(
        Explanation(moved=tuple(moves.items())),
        0,
        wanted,
        expect(PAIRS, faces=FACE, **more),
        Geometry(FACE, wanted.cavities),
    )
    return [(f.action, f.belongs, f.sits) for f in found]


@pytest.mark.parametrize(
    ("moves", "action"),
    [
        ({"A-1": "A-2", "A-2": "A-1"}, "leads exchanged"), ({"A-1": "A-8", "A-8": "A-1"}, "leads exchanged"),
        ({"A-1": "A-2", "A-2": "A-4", "A-4": "A-1"}, "rotated group"),
        ({"A-1": "A-4", "A-4": "A-8", "A-8": "A-1"}, "moved group"),
        ({"A-6": "A-7", "A-7": "A-8", "A-8": "A-6"}, "row offset"),
        ({"A-1": "A-9", "A-9": "A-1", "A-2": "A-8", "A-8": "A-2"}, "mirrored face"),
    ],
)  # fmt: skip
def test_groups_of_terminals_are_told_as_what_happened_to_them(moves, action):
    [(told_as, belongs, sits)] = moved(moves)
    assert told_as == action
    wired = [name for name in moves if name not in ("A-8", "A-9")]
    assert belongs == tuple(wired) and sits == tuple(moves[name] for name in wired)


def test_exchanges_that_a_step_touched_are_terminals_and_their_touched_ones_come_first():
    assert moved({"A-1": "A-2", "A-2": "A-1"}, edited=frozenset({"A-2"})) == [("swap", ("A-2", "A-1"), ("A-1", "A-2"))]
    assert moved({"A-1": "A-8", "A-8": "A-1"}, edited=frozenset({"A-8"})) == [("move", ("A-1",), ("A-8",))]


def test_one_exchange_that_a_mirrored_face_would_give_is_no_mirrored_face():
    assert [one[0] for one in moved({"A-1": "A-9", "A-9": "A-1"})] == ["leads exchanged"]
    more = {"A-1": "A-9", "A-9": "A-1", "A-2": "A-8", "A-8": "A-2", "A-3": "A-4", "A-4": "A-3"}
    assert [one[0] for one in moved(more)] == ["leads exchanged"] * 3


def test_terminals_that_moved_to_another_connector_are_no_row_offset():
    assert [one[0] for one in moved({"A-7": "B-7", "B-7": "A-8", "A-8": "A-7"})] == ["moved group"]
