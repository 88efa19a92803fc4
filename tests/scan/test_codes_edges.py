"""Codes at their limits, worked out by hand."""

import pytest

from tester.scan import (
    agrees,
    assign_codes,
    differing,
    expected_rows,
    let_go_lists,
    let_go_steps,
    pattern_count,
    quick_check,
    touched,
    watch_pattern,
)


@pytest.mark.parametrize(
    ("circuits", "lone", "patterns"),
    [(0, 0, 0), (1, 0, 1), (1, 1, 0), (2, 0, 2), (2, 1, 1), (3, 0, 2), (4, 0, 3), (4, 4, 2), (5, 1, 3), (8, 1, 3)],
)
def test_patterns_are_few(circuits, lone, patterns):
    assert pattern_count(circuits, lone) == patterns


@pytest.mark.parametrize(("circuits", "lone"), [(2, 3), (2, -1), (0, 1)])
def test_more_lone_channels_than_circuits_or_fewer_than_none_are_refused(circuits, lone):
    with pytest.raises(ValueError, match="lone"):
        pattern_count(circuits, lone)


def test_the_first_lone_channel_takes_zero_and_the_others_count_from_one():
    assert assign_codes([[7, 8], [3], [4], [5, 6]]) == [1, 0, 2, 3]
    assert assign_codes([[1, 2], [3, 4]]) == [1, 2] and assign_codes([]) == []


def test_each_pattern_drives_the_first_channels_of_circuits_whose_code_has_its_bit():
    # codes 1, 0, 2, 3
    assert quick_check([[7, 8], [3], [4], [5, 6]]) == [(5, 7), (4, 5)]
    assert watch_pattern([[7, 8], [3], [4], [5, 6]]) == (3, 4, 5, 7)


def test_the_rows_of_a_good_harness_are_masks_over_the_channels_read():
    circuits, read = [[7, 8], [3]], [8, 3, 9, 7]
    # driving 7 pulls 7 and 8 low: bits 3 and 0; a channel of no circuit pulls itself low; 5 is not read
    assert expected_rows(circuits, read, [(7,), (3, 7), (9,), (5,), ()]) == [0b1001, 0b1011, 0b0100, 0, 0]
    assert agrees(circuits, read, [(7,)], [0b1001]) and not agrees(circuits, read, [(7,)], [0b1000])


def test_channels_that_differ_in_any_pattern_are_told_in_order():
    circuits, read = [[7, 8], [3]], [8, 3, 9, 7]
    assert differing(circuits, read, [(7,), (3,)], [0b1000, 0b0110]) == (8, 9)
    assert differing(circuits, read, [(7,), (3,)], [0b1001, 0b0010]) == ()
    with pytest.raises(ValueError, match="shorter"):
        differing(circuits, read, [(7,), (3,)], [0b1001])


@pytest.mark.parametrize(("held", "width"), [(1, 1), (2, 2), (3, 3), (4, 4), (6, 4), (7, 5), (10, 5), (11, 6), (16, 6)])
def test_as_many_lists_as_the_middle_binomial_asks_for(held, width):
    # 1, 2, 3, 6, 10 and 20 subsets of equal size come from 1 to 6 lists
    lists = let_go_lists(range(1, held + 1))
    assert len(lists) == width
    assert {sum(c in one for one in lists) for c in range(1, held + 1)} == {(width + 1) // 2}


def test_channels_are_let_go_of_by_groups_of_sixteen_from_the_first():
    assert let_go_lists([16, 17]) == [(16, 17)]  # two groups: each is let go of while the other is driven
    assert let_go_lists([16, 15]) == [(15,), (16,)]
    assert let_go_lists([33, 17, 18]) == [(17, 33), (18,)]
    assert let_go_steps([(16, 17), (17, 18), ()]) == 3


def test_five_ohm_are_metal_and_more_is_skin():
    one = frozenset({7})
    assert touched([one], [one], ohms=5.0).kind == "metal" and touched([one], [one], ohms=5.5).kind == "skin"


def test_looks_that_see_different_channels_are_unsteady_and_name_them_all():
    seen = touched([frozenset({9, 7}), frozenset({7})], [frozenset({7, 9})] * 2)
    assert (seen.kind, seen.channels) == ("unsteady", (7, 9))
    wide = touched([frozenset({7})], [frozenset({7, 9})])
    assert (wide.kind, wide.channels) == ("metal", (7,))
    with pytest.raises(ValueError, match="as many"):
        touched([frozenset({7})], [])
