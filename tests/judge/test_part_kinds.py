"""Parts told by their ohms both ways: readings from the board's study (section 5) of parts that it simulated."""

import tomllib
from pathlib import Path

import pytest

from tester.harness import partkinds
from tester.harness.partkinds import part_kind
from tester.harness.reading import PartReading


@pytest.mark.parametrize(
    ("name", "ab", "ba", "drop", "kind"),
    [
        ("1N4148", 465.0, None, 0.60, "diode"),
        ("Schottky", None, 188.0, 0.27, "diode"),
        ("two silicon diodes in a row", 1159.0, None, 1.17, "several diodes or LED"),
        ("red LED", 2431.0, None, 1.77, "several diodes or LED"),
        ("white LED", 8300.0, None, 2.63, "several diodes or LED"),
        ("drop not measured", 465.0, None, None, "one-way part"),
        ("module input", None, 900.0, 3.1, "one-way part"),
        ("relay coil with a silicon diode", 85.0, 85.0, 0.128, "resistor"),
        ("coil with a Schottky diode", 168.0, 270.0, 0.244, "resistor or coil with a diode across it"),
        ("bus terminator", 120.1, 119.0, None, "resistor"),
        ("just alike", 100.0, 102.1, None, "resistor"),
        ("just not alike", 100.0, 102.3, None, "resistor or coil with a diode across it"),
        ("nothing", None, None, None, ""),
    ],
)
def test_a_part_is_told_by_its_ohms_and_drop(name, ab, ba, drop, kind):
    assert part_kind(PartReading("D-1", "D-2", ab, ba, drop)) == kind, name


def test_a_part_that_does_not_hold_still_is_not_named():
    assert part_kind(PartReading("D-1", "D-2", 465.0, None, 0.6, stable=False)) == ""


def test_the_thresholds_are_those_of_the_board():
    limits = tomllib.loads(Path("hwspec/limits.toml").read_text("utf-8"))["limits"]
    assert limits["two_way_relative"]["value"] == partkinds.TWO_WAY_RELATIVE
    assert limits["two_way_absolute"]["value"] == partkinds.TWO_WAY_OHMS
    assert (
        limits["diode_low_v"]["value"], limits["diode_high_v"]["value"],
    ) == (partkinds.DIODE_LOW_V, partkinds.DIODE_HIGH_V)  # fmt: skip
