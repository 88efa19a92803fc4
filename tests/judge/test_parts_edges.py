"""Parts at their limits: the edge of the tolerance, ways in a row, which circuit hides a leak back."""

import pytest

from tester.harness.expected import ExpectedPart
from tester.harness.reading import PartReading
from tester.judge.parts import UNSTEADY, _chained, judge_parts, near
from tests.judge.benches import circuits, expect, measured

TWO = "D-1 H-1 | D-2 H-2"


def judged(*readings, text=TWO, parts=(), skip=(), grade="wire", directed=(), doubtful=(), **more):
    """Faults as (kind, action, cavities) and untested cavities with their reasons."""
    seen = measured(text, parts=tuple(readings), grade=grade, directed=directed, doubtful=doubtful)
    found = judge_parts(expect(text, parts=tuple(parts), **more), circuits(text), seen, skip)
    assert all(fault.explanation == 0 for fault in found.faults)
    return [(fault.kind, fault.action, fault.sits + fault.belongs) for fault in found.faults], list(found.untested)


def read(ab, ba, a="D-1", b="D-2", drop=None, stable=True):
    return PartReading(a, b, ab, ba, drop, stable)


def part(ab, ba, **more):
    return ExpectedPart("D-1", "D-2", ab, ba, **more)


@pytest.mark.parametrize(
    ("wanted", "got", "tolerance", "same"),
    [(0.0, 0.1, 0.05, True), (0.0, 0.125, 0.05, False), (1000.0, 1069.0, 0.05, True), (1000.0, 1071.0, 0.05, False),
     (1000.0, 931.0, 0.05, True), (1000.0, 929.0, 0.05, False), (1000.0, 1019.0, 0.0, True),
     (1000.0, 1021.0, 0.0, False), (None, None, 0.0, True), (None, 5.0, 9.0, False), (5.0, None, 9.0, False)],
)  # fmt: skip
def test_readings_agree_within_the_tolerance_two_per_cent_and_a_tenth_of_an_ohm(wanted, got, tolerance, same):
    assert near(wanted, got, tolerance) == same


@pytest.mark.parametrize(
    ("ab", "ba", "told"),
    [(1000.0, 2000.0, None), (2000.0, 1000.0, "reversed"), (1000.0, 5000.0, "high-resistance"),
     (1500.0, 1500.0, "high-resistance"), (900.0, 3000.0, "leakage"), (None, 900.0, "leakage"),
     (None, 2000.0, "high-resistance"), (1000.0, None, "high-resistance")],
)  # fmt: skip
def test_a_part_that_conducts_both_ways_is_told_by_its_lower_ohms(ab, ba, told):
    faults, untested = judged(read(ab, ba), parts=[part(1000.0, 2000.0)])
    assert faults == ([(told, "part differs", ("D-1", "D-2"))] if told else []) and not untested


@pytest.mark.parametrize(("back", "kind"), [(5000.0, "high-resistance"), (300.0, "leakage")])
def test_a_part_of_which_one_way_differs_is_told_by_that_way(back, kind):
    seen = measured(TWO, grade="wire", parts=(read(99.9, back),))
    [fault] = judge_parts(expect(TWO, parts=(part(100.0, 1000.0),)), circuits(TWO), seen, ()).faults
    assert (fault.kind, dict(fault.values)) == (kind, {"ohms": back, "expected_ohms": 1000.0})


def test_a_part_that_differs_is_told_with_the_lower_of_its_ohms_and_of_those_expected():
    seen = measured(TWO, grade="wire", parts=(read(900.0, 3000.0),))
    [fault] = judge_parts(expect(TWO, parts=(part(2000.0, 1000.0),)), circuits(TWO), seen, ()).faults
    assert dict(fault.values) == {"ohms": 900.0, "expected_ohms": 1000.0}


@pytest.mark.parametrize(
    ("ab", "ba", "drop", "told"),
    [(600.0, None, 0.539, None), (600.0, None, 0.541, "high-resistance"), (600.0, None, 0.461, None),
     (600.0, None, 0.459, "high-resistance"), (300.0, None, 0.459, "leakage"), (600.0, None, None, "high-resistance"),
     (None, 600.0, 0.5, "reversed"), (600.0, 600.0, 0.5, "short")],
)  # fmt: skip
def test_a_one_way_part_is_known_by_its_drop_whatever_its_ohms(ab, ba, drop, told):
    # 5 % and 2 % of 0.5 V and 5 mV are 40 mV
    faults, _ = judged(read(ab, ba, drop=drop), parts=[part(465.0, None, drop_v=0.5)])
    assert [kind for kind, *_ in faults] == ([told] if told else [])


def test_a_drop_does_not_stand_for_the_ohms_of_a_part_that_conducts_both_ways():
    assert [k for k, *_ in judged(read(600.0, 600.0, drop=0.5), parts=[part(465.0, 465.0, drop_v=0.5)])[0]] == [
        "high-resistance"
    ]
    assert [k for k, *_ in judged(read(600.0, None, drop=0.5), parts=[part(465.0, None)])[0]] == ["high-resistance"]


def test_every_way_of_two_or_more_one_way_links_is_in_a_row():
    assert _chained([("a", "b"), ("b", "c"), ("c", "d")]) == {("a", "c"), ("a", "d"), ("b", "d")}
    assert _chained([("a", "b"), ("b", "a")]) == set() == _chained([("a", "b"), ("c", "d")])
    assert _chained([("a", "b"), ("b", "c"), ("c", "a")]) == {("a", "c"), ("b", "a"), ("c", "b")}
    assert _chained([("a", "b"), ("a", "c"), ("b", "d"), ("c", "d")]) == {("a", "d")}


DIODE = {"diodes": frozenset({("D-1", "D-2")})}


@pytest.mark.parametrize(
    ("text", "back", "told"),
    [(TWO, 12_499.0, "short"), (TWO, 12_500.0, None), ("D-1 | D-2 H-2 H-3", 65_999.0, "short"),
     ("D-1 | D-2 H-2 H-3", 66_000.0, None)],
)  # fmt: skip
def test_a_leak_back_is_told_where_the_earlier_scan_would_have_seen_it(text, back, told):
    # two points and the driver surely see 12,500 ohm, one point and the driver 66,000 ohm
    for reading in (read(back, 200.0), read(200.0, back, "D-2", "D-1")):
        faults, untested = judged(reading, text=text, **DIODE)
        assert faults == ([("short", "both ways", ("D-1", "D-2"))] if told else [])
        assert bool(untested) != bool(told) and all("too weakly" in why for _, why in untested)


def test_a_one_way_link_of_the_scan_that_the_converter_reads_the_other_way_is_turned_round():
    for reading in (read(200.0, None), read(None, 200.0, "D-2", "D-1")):
        assert judged(reading, **DIODE) == ([("reversed", "part turned round", ("D-1", "D-2"))], [])
    for reading in (read(None, 200.0), read(200.0, None, "D-2", "D-1")):
        assert judged(reading, **DIODE) == ([], [])
    assert judged(**DIODE) == ([("open", "part missing", ("D-1", "D-2"))], [])


def test_a_one_way_link_that_is_known_as_a_part_is_told_once_by_its_ohms():
    known = [part(None, 465.0)]
    assert judged(read(None, 465.0), parts=known, **DIODE) == ([], [])
    assert judged(parts=known, **DIODE)[0] == [("open", "part missing", ("D-1", "D-2"))]
    assert [k for k, *_ in judged(read(465.0, None), parts=known, directed=[("D-2", "D-1")], **DIODE)[0]] == [
        "reversed"
    ]
    assert judged(parts=known, grade="scan", **DIODE)[0] == [("open", "part missing", ("D-1", "D-2"))]


def test_a_one_way_link_that_nobody_expects_is_told_once_as_the_part_where_it_was_read():
    assert judged(directed=[("D-1", "D-2"), ("H-1", "H-2")])[0] == [
        ("short", "one-way link", ("H-1", "H-2"))
    ] or judged(directed=[("D-1", "D-2"), ("H-1", "H-2")])[0] == [("short", "one-way link", ("D-1", "D-2"))]
    assert judged(read(None, 465.0), directed=[("D-1", "D-2")])[0] == [("leakage", "leakage", ("D-1", "D-2"))]


@pytest.mark.parametrize("skip", ["D-1", "D-2"])
def test_nothing_is_told_of_circuits_that_are_wrong_anyway(skip):
    assert judged(read(9.0, 9.0), parts=[part(1000.0, 1000.0)], skip=[skip], **DIODE) == ([], [])
    assert judged(read(9.0, 9.0), skip=[skip], directed=[("D-1", "D-2")]) == ([], [])
    assert judged(read(9.0, 1.0, stable=False), skip=[skip]) == ([], [])


def test_what_would_not_hold_still_is_named_once_and_makes_no_fault():
    still = [("D-1", UNSTEADY), ("D-2", UNSTEADY)]
    assert judged(read(9.0, 1.0, stable=False), parts=[part(1000.0, 1000.0)]) == ([], still)
    assert judged(unsteady=frozenset({("D-1", "D-2"), ("H-1", "H-2")}), **DIODE) == ([], still)
    assert judged(unsteady=frozenset({("D-1", "H-1")}))[1] == [("D-1", UNSTEADY), ("H-1", UNSTEADY)]
    assert judged(read(9.0, 9.0), doubtful=[("H-1", "H-2")]) == ([], [])
    assert judged(read(9.0, 9.0), doubtful=[("D-1", "H-1")])[0] == [("leakage", "leakage", ("D-1", "D-2"))]


def test_readings_within_one_circuit_or_at_unknown_cavities_are_no_parts_between_circuits():
    within = read(900.0, 900.0, "D-1", "H-1", stable=False)
    assert judged(within) == ([], []) == judged(read(900.0, 900.0, "D-1", "H-1"))
    seen = measured(
        f"{TWO} | X-1", grade="wire", parts=(read(9.0, 9.0, "D-1", "X-1"), read(9.0, 9.0, "X-1", "D-1", None, False))
    )
    found = judge_parts(expect(TWO), circuits(TWO), seen, ())
    assert (found.faults, found.untested) == ((), ())


def test_a_board_without_converter_cannot_judge_the_ohms_of_what_conducts_both_ways_alone():
    why = "part whose ohms this board cannot measure"
    assert judged(parts=[part(9.0, 9.0)], grade="scan") == ([], [("D-1", why), ("D-2", why)])
    assert judged(parts=[part(9.0, None), part(None, 9.0)], grade="scan") == ([], [])
