"""Comparisons and dropout watches in words."""

import pytest

from tester.words import change_says, count_changes, dropout_line, watch_line


@pytest.mark.parametrize(
    ("kind", "cavities", "sides", "before", "after", "text"),
    [
        ("gone", ("H-3", "D-2", "H-2"), (("H-3",), ("D-2", "H-2")), None, None,
         "No longer joined: H-3 from D-2 and H-2; the job did not handle it"),
        ("new", ("D-3", "D-1", "H-1"), (("D-3",), ("D-1", "H-1")), None, None,
         "Newly joined: D-3 with D-1 and H-1; the job did not handle it"),
        ("resistance", ("D-1", "H-1"), (), 0.1, 0.85,
         "Resistance between D-1 and H-1 moved from 100 mohm to 850 mohm; the job did not handle it"),
        ("part gone", ("D-1", "D-2"), (), 465.0, None,
         "The part between D-1 and D-2 (465 ohm) is gone; the job did not handle it"),
        ("part new", ("D-1", "D-2"), (), None, 22000.0,
         "New between D-1 and D-2: a part of 22 kohm; the job did not handle it"),
        ("part changed", ("D-1", "D-2"), (), 465.0, None,
         "The part between D-1 and D-2 changed from 465 ohm to no reading; the job did not handle it"),
        ("not comparable", ("D-3", "H-3"), (), None, None,
         "Not comparable, on a lead or certain in one scan only: D-3 and H-3"),
    ],
)  # fmt: skip
def test_each_change_is_one_sentence(kind, cavities, sides, before, after, text):
    assert change_says(kind, cavities, sides, before, after, "not handled") == text


def test_what_the_job_had_to_do_with_a_change_is_said():
    assert change_says("gone", ("A-1", "B-1"), (("A-1",), ("B-1",)), None, None, "circuit edited").endswith(
        "; the job edited this circuit"
    )
    assert "opened this connector" in change_says("new", ("A-1",), (("A-1",),), None, None, "connector opened")


def test_a_watch_says_what_it_could_have_missed():
    assert watch_line(30.0, 520.0, 0.978, None) == (
        "Watched for 30 s, a reading at least every 0.52 ms: an opening of up to 0.978 ms could have been missed "
        "(where more than 4 m of wire come loose, a longer one); touches between circuits were not looked for"
    )
    assert watch_line(30.0, 520.0, 0.978, 15.6).endswith(
        "could have been missed (where more than 4 m of wire come loose, a longer one), "
        "a touch between circuits of up to 15.6 ms"
    )
    assert watch_line(30.0, 520.0, 0.978, 15.6, (("D-1", "D-3"), ("H-4", "H-10"))).endswith(
        "of up to 15.6 ms; parts hide any touch between the circuits of D-1 and D-3; H-4 and H-10"
    )


def test_a_watch_that_was_broken_off_claims_nothing_of_what_it_could_have_missed():
    line = watch_line(0.592, 0.0, 0.0, None)
    assert line == "Broken off at 0.592 s or later: of what it saw only the first dropout was kept"


def test_a_dropout_says_which_circuit_when_and_how_long():
    assert dropout_line("open", ["D-1", "H-1"], 812.0, 3.0) == "At 0.81 s the circuit of D-1 and H-1 opened for 3 ms"
    assert dropout_line("short", ["D-1", "D-2"], 0.0, 1.0) == "At 0.00 s circuits touched at D-1 and D-2 for 1 ms"


def test_changes_are_counted():
    assert [count_changes(n) for n in (0, 1, 4)] == ["no change", "1 change", "4 changes"]
