"""Dropouts from the log of a watch: which circuit, when, how long, what could have been missed."""

import random

import pytest

from tester.harness.verdict import FAIL, NOT_TESTED, PASS
from tester.judge import Blip, JudgeFacts, WatchLog, WatchResult, checks_of, judge, judge_watch
from tester.judge.dropout import caught_share, rise_ms
from tests.judge.benches import circuits, expect, measured

NETS = circuits("D-1 H-1 | D-2 H-2 H-3 H-4 | D-3")


def log(*blips, **more):
    fields = {"total": len(blips), "longest_us": 500, "mean_us": 450, "elapsed_ms": 10_000, "held": ("D-1", "D-2")}
    return WatchLog(tuple(blips), **(fields | more))


def test_an_opening_names_its_circuit_when_and_how_long():
    result = judge_watch(log(Blip(812_000, 3_000, "H-1", 0, True)), NETS)
    [drop] = result.dropouts
    assert (drop.kind, set(drop.cavities), drop.at_ms, drop.lasted_ms) == ("open", {"D-1", "H-1"}, 812.0, 3.0)


def test_one_terminal_of_a_splice_is_named_first():
    [drop] = judge_watch(log(Blip(1000, 2000, "H-3", 0, True)), NETS).dropouts
    assert drop.cavities[0] == "H-3" and set(drop.cavities) == {"D-2", "H-2", "H-3", "H-4"}


def test_all_others_of_a_splice_at_once_point_at_the_driven_one():
    blips = [Blip(1000 + i * 10, 2000, name, 0, True) for i, name in enumerate(("H-2", "H-3", "H-4"))]
    [drop] = judge_watch(log(*blips), NETS).dropouts
    assert drop.cavities[0] == "D-2"


def test_entries_that_overlap_or_follow_within_a_reading_are_one_dropout():
    blips = [Blip(1000, 2000, "H-1", 0, True), Blip(3400, 600, "H-1", 0, True), Blip(9000, 100, "H-1", 0, True)]
    first, second = judge_watch(log(*blips), NETS).dropouts
    assert (first.at_ms, first.lasted_ms) == (1.0, 3.0)
    assert (second.at_ms, second.lasted_ms) == (9.0, 0.1)


def test_one_that_lasts_to_the_end_is_as_long_as_the_watch():
    [drop] = judge_watch(log(Blip(4_000_000, None, "H-1", 0, True)), NETS).dropouts
    assert drop.lasted_ms == 6000.0


def test_a_touch_names_both_circuits_when_both_show_it():
    coded = (("D-1",), ("D-2",))
    blips = [Blip(1000, 5000, "D-2", 1, False), Blip(1500, 5000, "D-1", 2, False)]
    [drop] = judge_watch(log(*blips, coded=coded, every=4), NETS).dropouts
    assert drop.kind == "short" and set(drop.cavities) == {"D-1", "H-1", "D-2", "H-2", "H-3", "H-4"}


def test_a_touch_that_only_one_circuit_shows_is_matched_by_what_was_driven():
    [drop] = judge_watch(log(Blip(1000, 900, "D-3", 1, False), coded=(("D-1",),), every=4), NETS).dropouts
    assert set(drop.cavities) == {"D-3", "D-1", "H-1"}
    unclear = judge_watch(log(Blip(1000, 900, "D-3", 0, False)), NETS).dropouts[0]
    assert unclear.cavities == ("D-3",)


def test_cavities_outside_the_netlist_are_left_out():
    assert judge_watch(log(Blip(1000, 900, "X-1", 0, True)), NETS).dropouts == ()


def test_what_could_have_been_missed_counts_the_cadence_and_the_slow_rise():
    result = judge_watch(log(), NETS, capacitance_nf=2.0)
    assert result.missed_ms == pytest.approx(0.5 + rise_ms(2.0))
    assert result.seconds == 10.0 and result.cadence_us == 500.0
    assert result.shorts_missed_ms is None
    coded = judge_watch(log(coded=(("D-1",), ("D-2",), ("D-1", "D-2")), every=9), NETS)
    assert coded.shorts_missed_ms == pytest.approx(3 * (9 * 0.45 + 0.5) + 0.5)


@pytest.mark.parametrize(("nf", "us"), [(0.01, 54), (0.1, 136), (0.4, 410), (1.0, 957)])
def test_the_slow_rise_is_never_less_than_the_circuit_simulator_finds_for_one_point_alone(nf, us):
    """ngspice 39: deck "settle" (a) without its second point, worst parts, to 0.8 of the supply."""
    assert us / 1000 <= rise_ms(nf) <= us / 1000 + 0.06


def test_more_events_than_the_board_can_log_leave_the_watch_incomplete():
    assert judge_watch(log(), NETS).complete
    assert not judge_watch(log(total=70), NETS).complete
    assert not judge_watch(log(complete=False), NETS).complete


@pytest.mark.parametrize(("duration", "share"), [(0.1, 0.2), (0.25, 0.5), (0.5, 1.0), (5.0, 1.0), (0.0, 0.0)])
def test_the_share_caught_grows_with_the_length(duration, share):
    assert caught_share(duration, 0.5) == pytest.approx(share)


def test_the_share_caught_is_that_of_a_watch_that_reads_every_so_often():
    rng = random.Random(5)
    for duration, rise in ((0.3, 0.0), (0.9, 0.5), (0.2, 0.5), (2.0, 0.1)):
        hits = 0
        for _ in range(20_000):
            start = rng.uniform(0, 1)  # a reading at every whole number
            hits += any(start + rise <= reading < start + duration for reading in range(1, 5))
        assert caught_share(duration, 1.0, rise) == pytest.approx(hits / 20_000, abs=0.02)
    with pytest.raises(ValueError, match="above zero"):
        caught_share(1.0, 0.0)


GOOD = "D-1 H-1 | D-2 H-2 H-3 H-4 | D-3"
CAN = checks_of(["scan", "watch"])


def wiggled(limits, **watch):
    expected = expect(GOOD, checks=("continuity", "dropout"), limits=limits)
    return judge(expected, measured(GOOD), JudgeFacts(can=CAN, watch=WatchResult(**watch)))


def test_dropouts_shorter_than_the_plan_allows_pass_with_the_cadence_counted_in():
    drop = judge_watch(log(Blip(1000, 3000, "H-1", 0, True)), NETS).dropouts
    assert wiggled({}, dropouts=drop, cadence_us=500).verdict == FAIL
    assert wiggled({"dropout_ms": 3.4}, dropouts=drop, cadence_us=500).verdict == FAIL
    assert wiggled({"dropout_ms": 3.5}, dropouts=drop, cadence_us=500).verdict == PASS


def test_a_watch_shorter_or_coarser_than_the_plan_asks_for_is_not_tested():
    assert wiggled({"wiggle_s": 30.0}, seconds=30.0).verdict == PASS
    short = wiggled({"wiggle_s": 30.0}, seconds=12.0)
    assert short.verdict == NOT_TESTED and "watched for 12 s" in short.untested[0][0]
    coarse = wiggled({"dropout_ms": 1.0}, missed_ms=1.5)
    assert coarse.verdict == NOT_TESTED and "up to 1.5 ms could have been missed" in coarse.untested[0][0]
    assert wiggled({"dropout_ms": 1.5}, missed_ms=1.5).reach["dropout_ms"] == 1.5


def test_letting_go_in_turn_is_reckoned_by_its_steps_and_names_no_partner_that_it_did_not_see():
    """20 steps, each after 1 reading, a reading every 0.45 ms on the mean with its step: a round of 9 ms, and a gap."""
    lists = (("D-1",), ("D-2",))
    result = judge_watch(log(Blip(1000, 900, "D-1", 1, False), coded=lists, every=1, steps=20), NETS)
    assert result.shorts_missed_ms == pytest.approx(20 * 0.45 + 2 * 0.5)
    assert set(result.dropouts[0].cavities) == {"D-1", "H-1"}
    both = [Blip(1000, 900, "D-1", 1, False), Blip(7000, 900, "D-2", 2, False)]
    [drop] = judge_watch(log(*both, coded=lists, every=1, steps=20), NETS).dropouts
    assert set(drop.cavities) == {"D-1", "H-1", "D-2", "H-2", "H-3", "H-4"}
