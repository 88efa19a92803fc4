"""Faces: rows as written, the other side, corners."""

from __future__ import annotations

import pytest

from tester.harness.connectors import MATING, WIRE, default_face, make_face, parse_row


def test_rows_are_numbers_ranges_and_gaps() -> None:
    assert parse_row("1-3 . 7 9-8") == [1, 2, 3, None, 7, 9, 8]


def test_the_other_side_has_left_and_right_exchanged() -> None:
    face = make_face(["1-3", "4 5"], [1, 2, 3, 4, 5], WIRE)
    assert face.rows == ((1, 2, 3), (4, 5, None))
    assert face.flipped().rows == ((3, 2, 1), (None, 5, 4)) and face.flipped().side == MATING
    assert face.flipped().flipped() == face and face.seen_from(WIRE) is face
    assert face.seen_from(MATING).place(4) == (1, 2)


def test_corners_are_the_ends_of_the_first_and_last_row() -> None:
    assert make_face(["1-4", ". 5 6 ."], range(1, 7), WIRE).corners() == (1, 4, 5, 6)


def test_without_rows_up_to_ten_cavities_lie_in_one_row_and_more_in_two() -> None:
    assert len(default_face(range(1, 11)).rows) == 1
    assert default_face(range(1, 12)).rows[1] == (7, 8, 9, 10, 11, None)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (["1-3"], "do not show cavity 4"),
        (["1-5"], "show cavity 5, which this connector does not have"),
        (["1-4 4"], "show cavity 4 twice"),
        (["1-4 x"], '"x" in row'),
    ],
)
def test_rows_must_show_each_cavity_once(rows: list[str], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        make_face(rows, [1, 2, 3, 4])
