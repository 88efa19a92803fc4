"""The log of a watch at its limits, worked out in microseconds by hand."""

import pytest

from tester.judge import Blip, WatchLog, judge_watch
from tester.judge.dropout import caught_share
from tests.judge.benches import circuits

NETS = circuits("D-1 H-1 | D-2 H-2 H-3 H-4 | D-3")


def watched(*blips, **more):
    fields = {"total": len(blips), "longest_us": 500, "mean_us": 450, "elapsed_ms": 10_000, "held": ("D-1", "D-2")}
    return judge_watch(WatchLog(tuple(blips), **(fields | more)), NETS)


def spans(*blips, **more):
    return [(drop.at_ms, drop.lasted_ms) for drop in watched(*blips, **more).dropouts]


def opened(at, lasted):
    return Blip(at, lasted, "H-1", 0, True)


def test_an_entry_exactly_one_reading_later_belongs_to_the_same_dropout():
    assert spans(opened(1000, 2000), opened(3500, 100)) == [(1.0, 2.6)]
    assert spans(opened(1000, 2000), opened(3501, 100)) == [(1.0, 2.0), (3.501, 0.1)]
    assert spans(opened(0, 0), opened(501, 100)) == [(0.0, 0.0), (0.501, 0.1)]


def test_an_entry_within_a_longer_one_does_not_end_it():
    assert spans(opened(1000, 9000), opened(2000, 100), opened(10_500, 100)) == [(1.0, 9.6)]
    assert spans(opened(20_000, 100), opened(1000, 100)) == [(1.0, 0.1), (20.0, 0.1)]


def test_without_a_cadence_entries_a_microsecond_apart_are_one():
    assert spans(opened(1000, 10), opened(1011, 10), longest_us=0) == [(1.0, 0.021)]
    assert spans(opened(1000, 10), opened(1012, 10), longest_us=0) == [(1.0, 0.01), (1.012, 0.01)]


def touch(at, name, pattern=0, lasted=100):
    return Blip(at, lasted, name, pattern, False)


def test_touches_are_one_until_every_coded_pattern_came_round_again():
    # two coded patterns, each after 4 readings of 450 us and one of 500 us: a round of 4,600 us
    coded = {"coded": (("D-1",), ("D-2",)), "every": 4}
    assert spans(touch(1000, "D-3", 1), touch(5700, "D-3", 1), **coded) == [(1.0, 4.8)]
    assert len(spans(touch(1000, "D-3", 1), touch(5701, "D-3", 1), **coded)) == 2
    assert watched(**coded).shorts_missed_ms == pytest.approx(4.6 + 0.5)


def test_letting_go_in_steps_counts_steps_and_not_lists():
    more = {"coded": (("D-1",), ("D-2",)), "every": 4, "steps": 3}
    assert watched(**more).shorts_missed_ms == pytest.approx((3 * 4 * 450 + 500 + 500) / 1000)
    [alone] = watched(touch(1000, "D-3", 1), **more).dropouts
    assert alone.cavities == ("D-3",)  # a list says who was let go of, so it points at nobody else


def test_touches_are_looked_for_only_where_coded_patterns_come_round():
    assert watched(coded=(("D-1",),), every=0).shorts_missed_ms is None
    assert watched(coded=(), every=4).shorts_missed_ms is None


def test_a_touch_in_a_pattern_that_the_watch_does_not_have_points_at_nobody():
    coded = {"coded": (("D-1",),), "every": 4}
    assert watched(touch(1000, "D-3", 2), **coded).dropouts[0].cavities == ("D-3",)
    assert watched(touch(1000, "D-3", 1), **coded).dropouts[0].cavities == ("D-3", "D-1", "H-1")
    assert watched(touch(1000, "D-3", 0), **coded).dropouts[0].cavities == ("D-3",)  # both held circuits may be it


def test_a_touch_that_shows_in_two_patterns_points_at_what_both_drive():
    coded = {"coded": (("D-1", "D-2"), ("D-2",)), "every": 4}
    [drop] = watched(touch(1000, "D-3", 1), touch(1100, "D-3", 2), **coded).dropouts
    assert drop.cavities == ("D-3", "D-2", "H-2", "H-3", "H-4")


def test_a_log_that_kept_all_its_entries_is_complete():
    assert watched(opened(1, 1), total=1).complete and not watched(opened(1, 1), total=2).complete
    assert not watched(complete=False).complete
    assert watched(elapsed_ms=2500).seconds == 2.5


@pytest.mark.parametrize(
    ("lasted", "cadence", "rise", "share"),
    [(0.5, 1.0, 0.0, 0.5), (1.0, 1.0, 0.0, 1.0), (5.0, 1.0, 0.0, 1.0), (1.5, 2.0, 0.5, 0.5), (0.25, 1.0, 0.5, 0.0)],
)
def test_the_share_caught_is_what_is_left_after_the_rise_over_the_cadence(lasted, cadence, rise, share):
    assert caught_share(lasted, cadence, rise) == share
    for none in (0.0, -1.0):
        with pytest.raises(ValueError, match="above zero"):
            caught_share(lasted, none)
