"""What a part between two circuits is, from its ohms both ways and its drop: the rule of the board's study."""

from __future__ import annotations

from tester.harness.reading import PartReading

TWO_WAY_RELATIVE = 0.02  # hwspec/limits.toml, two_way_relative and two_way_absolute
TWO_WAY_OHMS = 0.1
DIODE_LOW_V, DIODE_HIGH_V = 0.15, 0.75  # hwspec/limits.toml, diode_low_v and diode_high_v
SEVERAL_HIGH_V = 2.9


def part_kind(part: PartReading) -> str:
    """ "resistor", "diode", "several diodes or LED", "one-way part", "resistor or coil with a diode across it", or "".

    Alike both ways within 2 % and 0.1 ohm: a resistor, switch, lamp or coil. One way only: a diode when it drops 0.15
    to 0.75 V, several or an LED up to 2.9 V. Both ways but not alike: a diode lies across, and the larger value is the
    resistor. "" when nothing conducts or it does not hold still.
    """
    ab, ba = part.ohms_ab, part.ohms_ba
    if not part.stable or (ab is None and ba is None):
        return ""
    if ab is not None and ba is not None:
        alike = abs(ab - ba) <= TWO_WAY_RELATIVE * max(ab, ba) + TWO_WAY_OHMS
        return "resistor" if alike else "resistor or coil with a diode across it"
    if part.drop_v is not None and DIODE_LOW_V <= part.drop_v <= DIODE_HIGH_V:
        return "diode"
    if part.drop_v is not None and DIODE_HIGH_V < part.drop_v <= SEVERAL_HIGH_V:
        return "several diodes or LED"
    return "one-way part"
