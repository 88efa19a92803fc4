"""The verdict at its limits: what the converter read across an opening, the best of outcomes, numbers."""

import pytest

from tester.harness.reading import PartReading
from tester.harness.verdict import FAIL, PASS
from tester.judge import judge
from tests.judge.benches import expect, measured

GOOD = "D-1 H-1 | D-2 H-2 H-3"


def across(part, text="D-1 H-1 | D-2 H-2 | H-3"):
    [fault] = [f for f in judge(expect(GOOD), measured(text, grade="wire", parts=(part,))).faults if f.kind == "open"]
    return dict(fault.values)


@pytest.mark.parametrize(
    ("ab", "ba", "values"),
    [(900.0, None, {"ohms": 900.0, "one_way": 1.0}), (None, 900.0, {"ohms": 900.0, "one_way": 1.0}),
     (900.0, 800.0, {"ohms": 800.0, "ohms_back": 900.0}), (None, None, {})],
)  # fmt: skip
def test_an_opening_is_told_with_what_was_read_across_it(ab, ba, values):
    for a, b in (("H-3", "D-2"), ("H-2", "H-3")):
        assert across(PartReading(a, b, ab, ba)) == values


def test_what_was_read_elsewhere_is_not_of_the_opening():
    assert across(PartReading("D-1", "H-3", 900.0, 900.0)) == {}
    assert across(PartReading("D-1", "D-2", 900.0, 900.0)) == {}


def test_of_two_outcomes_the_one_that_was_built_is_taken_wherever_it_stands():
    for outcomes in ((GOOD, "D-1 H-2 | D-2 H-1 H-3"), ("D-1 H-2 | D-2 H-1 H-3", GOOD)):
        verdict = judge(expect(*outcomes), measured(GOOD))
        assert verdict.verdict == PASS and verdict.explanations == 0 and verdict.faults == ()


def test_an_expectation_without_an_outcome_is_refused():
    with pytest.raises(ValueError, match="at least one outcome"):
        judge(expect(), measured(GOOD))


def test_a_part_alone_that_is_wrong_counts_as_one_explanation():
    leak = PartReading("D-1", "D-2", 900.0, 900.0)
    verdict = judge(expect(GOOD), measured(GOOD, grade="wire", parts=(leak,)))
    assert verdict.verdict == FAIL and verdict.explanations == 1 and verdict.exact and verdict.at_least == 0
