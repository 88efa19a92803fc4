"""Grading at its limits: exactly the limit, the first of two readings, one way only, chains at the edge."""

import math

import pytest

from tester.scan import ChannelLinks, PairOhms, WireGrade, combine, decode_walk
from tests.scan.boards import rows_of

LEADS = {c: f"D-{c}" for c in range(1, 9)}
NONE = math.inf


def scan(circuits, n):
    return decode_walk(range(1, n + 1), range(1, n + 1), rows_of([[c - 1 for c in g] for g in circuits], n))


def grade(links, readings, also=()):
    """Measured from `readings`: pair -> (ab, ba) of the first reading and of the later ones; and the asked pairs."""
    job, asked = WireGrade(links, also), []
    while pairs := job.wanted():
        for a, b in pairs:
            values = readings[a, b]
            ab, ba, *drops = values[min(asked.count((a, b)), len(values) - 1)]
            job.learn(a, b, PairOhms(ab, ba, ab, 0.01, *drops))
            asked.append((a, b))
    return combine([job.round(LEADS)], grade="wire"), asked


@pytest.mark.parametrize(
    ("ab", "ba", "wire"),
    [(100.0, 100.0, True), (100.5, 100.5, False), (100.0, 100.5, False), (50.0, NONE, False), (NONE, 50.0, False)],
)
def test_wire_is_what_conducts_both_ways_within_a_hundred_ohm(ab, ba, wire):
    measured, _ = grade(scan([[1, 2]], 2), {(1, 2): [(ab, ba)]})
    assert measured.netlist.joined("D-1", "D-2") == wire
    assert bool(measured.parts) != wire and bool(measured.ohms) == wire


def test_a_plan_may_set_another_limit_for_wire():
    for ohms, wire in ((20.0, True), (20.5, False)):
        job = WireGrade(scan([[1, 2]], 2), (), 20.0).afresh()
        while job.wanted():
            job.learn(1, 2, PairOhms(ohms, ohms, ohms, 0.1))
        assert bool(job.round(LEADS).links.joined) == wire


def test_the_same_task_begun_afresh_asks_for_everything_again():
    job = WireGrade(scan([[1, 2, 3]], 3), [(3, 2)])
    first = job.wanted()
    job.learn(1, 2, PairOhms(0.1, 0.1, 0.1, 0.01))
    assert first == job.afresh().wanted() == [(1, 2)] and job.wanted() == [(1, 3)]
    again = job.afresh()
    for b in (2, 3):
        again.learn(1, b, PairOhms(0.1, 0.1, 0.1, 0.01))
    assert again.wanted() == [(2, 3)]  # the further pair is not forgotten


def test_repeats_that_differ_by_exactly_three_per_cent_and_a_fifth_of_an_ohm_agree():
    # 3 % of 10 ohm and 0.2 ohm are 0.5 ohm
    for second, stable in ((10.5, True), (10.625, False)):
        for both in (False, True):
            first = (10.0, 500.0) if not both else (500.0, 10.0)
            other = (second, 500.0) if not both else (500.0, second)
            measured, asked = grade(scan([[1, 2]], 2), {(1, 2): [first, other]})
            assert asked == [(1, 2), (1, 2)]
            assert measured.parts[0].stable == stable


def test_a_part_that_conducts_in_one_of_two_readings_is_not_stable_and_has_the_ohms_of_that_one():
    measured, _ = grade(scan([[1, 2]], 2), {(1, 2): [(NONE, NONE), (900.0, NONE)]})
    [part] = measured.parts
    assert (part.ohms_ab, part.ohms_ba, part.stable) == (900.0, None, False)
    assert measured.doubtful == {("D-1", "D-2")}  # the scan saw a low, the first reading nothing


def test_the_value_of_a_part_is_the_mean_of_its_readings_each_way():
    measured, _ = grade(scan([[1, 2]], 2), {(1, 2): [(1000.0, 2000.0), (1010.0, 2020.0)]})
    [part] = measured.parts
    assert (part.ohms_ab, part.ohms_ba, part.stable) == (1005.0, 2010.0, True)


def test_the_drop_of_a_part_is_the_one_of_its_better_conducting_way():
    for ohms, drop in (((NONE, 465.0), 0.7), ((465.0, NONE), 0.6), ((465.0, 465.0), 0.6), ((466.0, 465.0), 0.7)):
        measured, _ = grade(scan([[1, 2]], 2), {(1, 2): [(*ohms, 0.6, 0.7)]})
        assert measured.parts[0].drop_v == drop
    late, _ = grade(scan([[1, 2]], 2), {(1, 2): [(465.0, NONE, None, None), (465.0, NONE, 0.65, None)]})
    assert late.parts[0].drop_v == 0.65


def test_a_reading_taken_from_the_higher_channel_is_turned_round():
    reading = PairOhms(NONE, 465.0, 465.0, 0.5, None, 0.55)
    assert reading.turned() == PairOhms(465.0, NONE, 465.0, 0.5, 0.55, None)
    job = WireGrade(scan([[1, 2]], 2))
    for _ in range(2):
        job.learn(2, 1, reading)
    [part] = job.round(LEADS).parts
    assert (part.a, part.ohms_ab, part.ohms_ba, part.drop_v) == ("D-1", 465.0, None, 0.55)


@pytest.mark.parametrize(
    ("ab", "ba", "conducts"), [(1.0, 1.0, True), (1.0, NONE, True), (NONE, 1.0, True), (NONE, NONE, False)]
)
def test_what_lets_current_through_one_way_conducts(ab, ba, conducts):
    assert PairOhms(ab, ba, 1.0, 0.1).conducts == conducts


def test_the_first_of_two_readings_decides_whether_a_one_way_link_stays_one():
    links = ChannelLinks((1, 2), frozenset(), frozenset({(2, 1)}))
    measured, _ = grade(links, {(1, 2): [(465.0, NONE), (465.0, 465.0)]})
    assert measured.directed == {("D-2", "D-1")} and not measured.parts[0].stable
    both, _ = grade(links, {(1, 2): [(465.0, 465.0), (465.0, NONE)]})
    assert both.directed == set()
    nothing, _ = grade(links, {(1, 2): [(NONE, NONE)]})
    assert nothing.directed == {("D-2", "D-1")} and not nothing.parts and not nothing.doubtful


def test_levels_at_the_threshold_leave_no_channel_of_a_one_way_link_in_doubt_once_it_is_measured():
    # 2 answers 4 but not 3, and 1 wavers: the converter says that current flows from 1 to 3 alone
    wires = frozenset({(1, 2), (3, 4)})
    links = ChannelLinks((1, 2, 3, 4), wires, frozenset({(4, 2)}), frozenset({(1, 3)}), frozenset({(1, 3)}))
    readings = {(1, 2): [(0.1, 0.1)], (3, 4): [(0.1, 0.1)], (1, 3): [(5300.0, NONE)]}
    measured, _ = grade(links, readings)
    assert measured.directed == {(f"D-{driven}", f"D-{answering}") for driven in (3, 4) for answering in (1, 2)}
    assert not measured.doubtful and [(p.ohms_ab, p.ohms_ba) for p in measured.parts] == [(5300.0, None)]


def test_a_one_way_link_between_wires_is_measured_between_their_first_channels_once():
    links = ChannelLinks((1, 2, 3, 4), frozenset({(1, 2), (3, 4)}), frozenset({(4, 2), (3, 1)}))
    readings = {(1, 2): [(0.1, 0.1)], (3, 4): [(0.1, 0.1)], (1, 3): [(700.0, NONE)]}
    measured, asked = grade(links, readings)
    assert sorted(asked) == [(1, 2), (1, 3), (1, 3), (3, 4)]
    assert [(p.a, p.b) for p in measured.parts] == [("D-1", "D-3")]


def test_channels_joined_only_through_a_third_are_of_one_circuit():
    chain = ChannelLinks((1, 2, 3), frozenset({(1, 3), (2, 3)}))
    readings = {(1, 2): [(0.2, 0.2)], (1, 3): [(0.2, 0.2)]}
    measured, asked = grade(chain, readings)
    assert asked == [(1, 2), (1, 3)] and measured.netlist.circuits == (("D-1", "D-2", "D-3"),)


def test_low_at_the_scan_between_later_channels_of_two_groups_and_nothing_at_the_converter_is_doubtful():
    # 1 and 4 are a wire, 2 and 3 another; the scan saw 3 and 4 together, which links the second group to the first
    links = ChannelLinks((1, 2, 3, 4), frozenset({(1, 4), (2, 3), (3, 4)}))
    readings = {(1, 2): [(NONE, NONE)], (1, 3): [(NONE, NONE)], (2, 3): [(0.1, 0.1)], (1, 4): [(0.1, 0.1)]}
    measured, _ = grade(links, readings)
    assert measured.doubtful == {("D-1", "D-2")}
    assert not measured.parts


def test_groups_of_one_circuit_that_the_scan_never_saw_low_together_are_no_doubt():
    # 1 - 3 and 2 - 3 low through parts; 1 - 2 not low and nothing measured
    links = ChannelLinks((1, 2, 3), frozenset({(1, 3), (2, 3)}))
    part = [(900.0, 900.0)]
    measured, _ = grade(links, {(1, 2): [(NONE, NONE)], (1, 3): part, (2, 3): part})
    assert not measured.doubtful and len(measured.parts) == 2


def test_wavering_pairs_that_the_converter_joins_become_one_circuit_without_a_part_inside_it():
    wavering = frozenset({(1, 2), (2, 3), (1, 3)})
    links = ChannelLinks((1, 2, 3, 4), frozenset(), frozenset(), wavering, wavering)
    measured, _ = grade(links, {(1, 2): [(50.0, 50.0)], (2, 3): [(60.0, 60.0)], (1, 3): [(110.0, 110.0)]})
    assert measured.netlist.circuits == (("D-1", "D-2", "D-3"), ("D-4",))
    assert not measured.parts and not measured.doubtful
    assert {key: r.ohms for key, r in measured.ohms.items()} == {("D-1", "D-2"): 50.0, ("D-2", "D-3"): 60.0}


def test_a_gap_within_wire_that_the_converter_sees_and_wire_around_it_stays_in_doubt():
    wavering = frozenset({(1, 2), (2, 3), (1, 3)})
    links = ChannelLinks((1, 2, 3), frozenset(), frozenset(), wavering, wavering)
    measured, _ = grade(links, {(1, 2): [(1.0, 1.0)], (2, 3): [(1.0, 1.0)], (1, 3): [(NONE, NONE)]})
    assert measured.doubtful == {("D-1", "D-3")}


def test_points_say_the_first_channel_of_each_wire_and_how_many_it_has():
    job = WireGrade(scan([[1, 2, 3], [4]], 4))
    for pair, ohms in (((1, 2), 0.1), ((1, 3), 900.0), ((1, 3), 900.0)):
        job.learn(*pair, PairOhms(ohms, ohms, ohms, 0.01))
    assert job.points() == {1: (1, 2), 2: (1, 2), 3: (3, 1), 4: (4, 1)}


def test_a_further_pair_is_asked_once_in_channel_order_and_not_when_it_is_known():
    links, wire = scan([[1, 2, 3]], 3), [(0.1, 0.1)]
    readings = {(1, 2): wire, (1, 3): wire, (2, 3): wire}
    assert grade(links, readings, also=[(2, 1), (3, 2)])[1] == [(1, 2), (1, 3), (2, 3)]


def test_a_reading_that_passes_on_keeps_silent_channels():
    links = decode_walk([1, 2], [1, 2], [0b01, 0b00])
    assert WireGrade(links).round(LEADS).links.silent == {2}
