"""One-way parts are known by their drop: their ohms follow the current of the board that measured them."""

import pytest

from tester.harness.expected import ExpectedPart
from tester.harness.reading import PartReading
from tester.harness.verdict import FAIL, PASS
from tester.judge import judge
from tests.judge.benches import expect, kinds, measured

TWO = "D-1 H-1 | D-2 H-2"
FOUND = ExpectedPart("D-1", "D-2", 518.0, None, 0.61)


def verdict(*parts: PartReading):
    return judge(expect(TWO, parts=(FOUND,)), measured(TWO, parts=parts, grade="wire"))


@pytest.mark.parametrize(
    ("ohms", "volts"),
    [
        (569.0, 0.613),  # a board that drives a tenth less current
        (518.0, 0.65),  # 20 kelvin colder at about -2 mV for each kelvin: common practice, no source
    ],
)
def test_a_diode_on_another_board_or_a_colder_day_is_the_same_diode(ohms, volts):
    assert verdict(PartReading("D-1", "D-2", ohms, None, volts)).verdict == PASS


def test_a_diode_of_another_kind_or_turned_round_is_not_the_same():
    schottky = verdict(PartReading("D-1", "D-2", 190.0, None, 0.24))
    assert schottky.verdict == FAIL and kinds(schottky) == ["leakage"]
    turned = verdict(PartReading("D-1", "D-2", None, 569.0, 0.613))
    assert turned.verdict == FAIL and kinds(turned) == ["reversed"]
    both = verdict(PartReading("D-1", "D-2", 569.0, 569.0, 0.613))
    assert both.verdict == FAIL
