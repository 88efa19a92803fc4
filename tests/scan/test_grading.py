"""Wire, part or doubt: a harness of resistors is graded from pair readings alone."""

import math
import random

import pytest

from tester.scan import ChannelLinks, PairOhms, WireGrade, combine, decode_walk, touched
from tests.scan.boards import rows_of

LEADS = {c: f"D-{c}" for c in range(1, 41)}


def grade(links, between, *, also=(), noise=None):
    """Run the grading against `between(a, b) -> (ab, ba)`; the measured result and the pairs that were asked."""
    job = WireGrade(links, also)
    asked = []
    while pairs := job.wanted():
        for a, b in pairs:
            ab, ba = between(a, b)
            if noise:
                ab, ba = noise(ab), noise(ba)
            finite = [x for x in (ab, ba) if not math.isinf(x)]
            mean = sum(finite) / len(finite) if finite else math.inf
            job.learn(a, b, PairOhms(ab, ba, mean, 0.01))
            asked.append((a, b))
    return combine([job.round(LEADS)], grade="wire"), asked


def scan(circuits, n):
    return decode_walk(range(1, n + 1), range(1, n + 1), rows_of([[c - 1 for c in g] for g in circuits], n))


def test_a_circuit_of_wire_takes_one_reading_less_than_it_has_cavities():
    measured, asked = grade(scan([[1, 2, 3, 4]], 5), lambda a, b: (0.1, 0.1))
    assert len(asked) == 3
    assert [len(c) for c in measured.netlist] == [4, 1]
    assert not measured.parts and measured.ohms["D-1", "D-2"].ohms == 0.1


def test_a_terminator_between_two_bus_wires_is_a_part_and_not_wire():
    bus = {1: "high", 2: "low", 3: "high", 4: "low"}
    measured, _ = grade(scan([[1, 2, 3, 4]], 4), lambda a, b: (0.1, 0.1) if bus[a] == bus[b] else (120.1, 120.1))
    assert [set(c) for c in measured.netlist] == [{"D-1", "D-3"}, {"D-2", "D-4"}]
    [part] = measured.parts
    assert (part.a, part.b) == ("D-1", "D-2") and part.ohms_ab == pytest.approx(120.1) and part.stable


def test_a_part_is_read_twice_and_one_that_does_not_repeat_is_not_stable():
    readings = iter([1000.0, 1000.0, 700.0, 700.0])
    measured, asked = grade(scan([[1, 2]], 2), lambda a, b: (next(readings), next(readings)))
    assert asked == [(1, 2), (1, 2)]
    assert not measured.parts[0].stable


def test_repeats_of_a_part_may_differ_by_three_per_cent_and_a_fifth_of_an_ohm():
    for second, stable in ((103.6, True), (104.2, False)):
        readings = iter([100.5, 100.5, second, second])
        measured, _ = grade(scan([[1, 2]], 2), lambda a, b, r=readings: (next(r), next(r)))
        assert measured.parts[0].stable == stable


def test_a_diode_is_a_part_that_conducts_one_way():
    links = ChannelLinks((1, 2), frozenset(), frozenset({(1, 2)}))
    measured, _ = grade(links, lambda a, b: (math.inf, 465.0))
    [part] = measured.parts
    assert part.ohms_ab is None and part.ohms_ba == 465.0
    assert measured.directed == {("D-1", "D-2")}


def test_a_resistor_that_only_reads_low_one_way_is_no_directed_link():
    links = ChannelLinks((1, 2), frozenset(), frozenset({(1, 2)}))
    measured, _ = grade(links, lambda a, b: (20000.0, 20000.0))
    assert not measured.directed and measured.parts[0].ohms_ba == 20000.0


def test_a_wavering_pair_is_settled_by_the_converter_or_stays_in_doubt():
    wavering = ChannelLinks((1, 2), frozenset(), frozenset(), frozenset({(1, 2)}), frozenset({(1, 2)}))
    settled, _ = grade(wavering, lambda a, b: (2431.0, math.inf))
    assert not settled.doubtful and settled.parts[0].ohms_ab == 2431.0
    joined, _ = grade(wavering, lambda a, b: (0.3, 0.3))
    assert not joined.doubtful and joined.netlist.joined("D-1", "D-2")
    nothing, _ = grade(wavering, lambda a, b: (math.inf, math.inf))
    assert nothing.doubtful == {("D-1", "D-2")}


def test_low_in_the_scan_and_nothing_at_the_converter_is_doubtful():
    measured, _ = grade(scan([[1, 2]], 2), lambda a, b: (math.inf, math.inf))
    assert measured.doubtful == {("D-1", "D-2")}


def test_further_pairs_are_measured_only_where_they_are_joined():
    links = scan([[1, 2, 3], [4]], 4)
    measured, asked = grade(links, lambda a, b: (0.2, 0.2), also=[(3, 2), (1, 4)])
    assert (2, 3) in asked and (1, 4) not in asked
    assert ("D-2", "D-3") in measured.ohms


def test_readings_that_are_missing_are_an_error():
    with pytest.raises(ValueError, match="missing"):
        WireGrade(scan([[1, 2]], 2)).round(LEADS)


def test_random_harnesses_of_wire_and_parts_are_graded_as_they_were_built():
    rng = random.Random(17)
    for _ in range(60):
        n = rng.randint(2, 16)
        wires = [rng.randrange(4) for _ in range(n)]  # wire group of each channel
        blob = {w: rng.randrange(2) for w in range(4)}  # groups with the same blob have parts between them
        circuits = [[c + 1 for c in range(n) if blob[wires[c]] == side] for side in (0, 1)]

        def between(a, b, wires=wires):
            return (0.2, 0.2) if wires[a - 1] == wires[b - 1] else (500.0 + wires[a - 1] + wires[b - 1],) * 2

        measured, _ = grade(scan([c for c in circuits if c], n), between, noise=lambda x: x * rng.uniform(0.995, 1.005))
        for a in range(n):
            for b in range(a):
                assert measured.netlist.joined(f"D-{a + 1}", f"D-{b + 1}") == (wires[a] == wires[b])
        present = set(wires)
        wanted = {(v, w) for v in present for w in present if v < w and blob[v] == blob[w]}
        got = {tuple(sorted((wires[int(p.a[2:]) - 1], wires[int(p.b[2:]) - 1]))) for p in measured.parts}
        assert got == wanted and all(p.stable for p in measured.parts)


def test_metal_answers_alike_both_ways_and_a_finger_does_not():
    one = frozenset({7})
    assert touched([one] * 3, [one] * 3).kind == "metal"
    assert touched([one] * 3, [one] * 3).channels == (7,)
    assert touched([one, one, frozenset()], [one] * 3).kind == "unsteady"
    assert touched([one] * 3, [one, frozenset(), one]).kind == "unsteady"
    assert touched([frozenset()] * 3, [frozenset()] * 3).channels == ()
    with pytest.raises(ValueError, match="as many looks"):
        touched([], [])


def test_the_converter_tells_a_wet_finger_that_reads_low_from_metal():
    one = frozenset({7})
    assert touched([one] * 3, [one] * 3, ohms=9000.0).kind == "skin"
    assert touched([one] * 3, [one] * 3, ohms=math.inf).kind == "skin"
    assert touched([one] * 3, [one] * 3, ohms=0.4).kind == "metal"
