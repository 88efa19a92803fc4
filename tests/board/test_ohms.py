"""Counts to ohms: against sums done by hand, and both ways apart."""

import math
from dataclasses import replace

import pytest

from tester.board.limits import limit
from tester.board.ohms import isolation, resistance
from tester.board.readings import CalibrationFrame, IsolationFrame, ResistanceFrame

COMMON = (1, 1, 1, (b"",), (b"",), (0,))
UV = 7_812_500  # picovolt of one count on the 0.256 V range: 0.256 V / 32768


def frame(ohms_ab: float, ohms_ba: float, *, offset: int = 0, samples: int = 2, ma: float = 1.5) -> ResistanceFrame:
    """Counts that a part gives: current through 100 ohm, a little less through the part, an offset on everything."""

    def through(current: float) -> float:  # the pull-up of the sunk point, rail at 1.65 V: circuit arithmetic
        return current - (1.65 - current * 320) / 330_000

    def counts(volts: float) -> int:
        return round(volts / (UV * 1e-12)) * samples

    current = {True: ma / 1000, False: 0.0}
    ab, ba = current[not math.isinf(ohms_ab)], current[not math.isinf(ohms_ba)]
    sense = (counts(through(ab) * ohms_ab) if ab else 0, 0, -counts(through(ba) * ohms_ba) if ba else 0)
    reference = (counts(ab * 100), 0, counts(ba * 100))
    shift = offset * samples
    return ResistanceFrame(
        *COMMON, 1, 33, 5, samples, 0, UV, UV, 100_000, 0,
        sense=tuple(value + shift for value in sense),
        reference=tuple(value + shift for value in reference),
        spread=(0, 0, 0),
    )  # fmt: skip


@pytest.mark.parametrize("ohms", [0.0, 0.05, 0.5, 2.0, 5.0, 20.0, 100.0])
@pytest.mark.parametrize("offset", [0, 300, -5000])
def test_a_wire_reads_its_ohms_whatever_the_offset(ohms: float, offset: int):
    found = resistance(frame(ohms, ohms, offset=offset))
    assert found.ohms == pytest.approx(ohms, abs=0.006)  # one count at 1.5 mA is 5.2 milliohm
    assert not found.one_way
    if found.ohms <= limit("resistance_promised_to"):
        a = limit("resistance_error_relative") * abs(found.ohms) + limit("resistance_error_absolute")
        # JCGM 100:2008 4.3.7: a limit +-a with no other knowledge is rectangular, u = a / sqrt(3)
        assert found.u_ohms == pytest.approx(a / 3**0.5)
        assert a <= limit("resistance_relative") * found.ohms + limit("resistance_absolute")  # what is promised


def test_the_example_of_the_golden_vectors_by_hand():
    vector = replace(
        frame(1, 1), gain_ppm=28_507, sense=(1234, 12, -1208), reference=(38_210, 14, 38_190), spread=(3, 2, 4)
    )
    current = (38_210 + 38_190 - 28) / 2 / 2 * UV * 1e-12 / 100
    volts = (1234 + 1208) / 2 / 2 * UV * 1e-12 * 1.028507
    found = resistance(vector)
    assert found.ohms == pytest.approx(volts / (1.00097 * current - 5.0e-6), rel=1e-5)
    assert found.u_ohms > resistance(replace(vector, spread=(0, 0, 0))).u_ohms


def test_a_diode_conducts_one_way_and_a_coil_with_a_diode_differs():
    one_way = resistance(frame(465.0, math.inf))
    assert one_way.one_way and math.isinf(one_way.ba) and one_way.ohms == pytest.approx(465, rel=0.01)
    assert one_way.drop_ab_v == pytest.approx(0.695, rel=0.02) and one_way.drop_ba_v is None
    assert resistance(frame(168.0, 270.0)).one_way
    assert not resistance(frame(85.0, 85.1)).one_way


def test_bus_leakage_over_the_pull_ups_does_not_move_the_drop_of_a_diode():
    """0.1 uA over 330 kohm is 33 mV between two points that a diode at rest does not join: circuit arithmetic."""
    clean = frame(465.0, math.inf)
    plus, zero, minus = clean.sense
    leaky = replace(clean, sense=(plus, zero + round(0.1e-6 * 330e3 / (UV * 1e-12)) * clean.samples, minus))
    assert resistance(leaky).drop_ab_v == resistance(clean).drop_ab_v
    assert resistance(leaky).ab == resistance(clean).ab


def test_nothing_flowing_or_a_clipped_reading_is_open_not_a_number():
    for each in (frame(math.inf, math.inf), replace(frame(1.0, 1.0), flags=1), replace(frame(1.0, 1.0), flags=2)):
        found = resistance(each)
        assert math.isinf(found.ohms) and math.isinf(found.u_ohms) and not found.one_way


def test_a_stored_zero_takes_the_leads_off():
    calibration = CalibrationFrame(*COMMON, 5, channels=(1, 33), zeros=(520, 480), baselines=(0, 0), stored=True)
    assert resistance(frame(0.6, 0.6), calibration).ohms == pytest.approx(0.5, abs=0.006)
    unknown = replace(calibration, zeros=(-32768, 480))
    assert resistance(frame(0.6, 0.6), unknown).ohms == pytest.approx(0.552, abs=0.006)
    assert resistance(frame(0.6, 0.6), replace(calibration, stored=False)).ohms == pytest.approx(0.6, abs=0.006)


def leak(ohms: float, baseline_na: int = 0, flags: int = 0) -> IsolationFrame:
    volts = 3.3 / (ohms + 2310) / (1 + 1140 / 330_000) * 100 + baseline_na * 1e-9 * 100
    high = round(volts / (UV * 1e-12) * 4)
    return IsolationFrame(*COMMON, 5, (1, 7), 5, 4, flags, UV, 100_000, high, 0, baseline_na)


@pytest.mark.parametrize("ohms", [1_000.0, 22_000.0, 100_000.0, 1_000_000.0])
def test_leakage_reads_its_ohms(ohms: float):
    found = isolation(leak(ohms))
    assert found.ohms == pytest.approx(ohms, rel=0.02)
    assert found.u_ohms == pytest.approx(0.1 * found.ohms / 3**0.5, rel=0.05)
    assert isolation(leak(ohms, baseline_na=200, flags=2)).ohms == pytest.approx(ohms, rel=0.02)


def test_a_stored_baseline_beyond_its_bound_hides_no_leak():
    """A calibration of a wet fixture, stored before there was a bound: all but 0.33 uA of it is not taken off."""
    true = 3.3 / (1e6 + 2310)
    frame = replace(leak(1e6, flags=2), baseline_na=round(true * 1e9))
    assert isolation(frame).ohms == pytest.approx(1.1e6, rel=0.03)


def test_a_circuit_of_many_points_takes_its_pull_ups_into_account():
    assert isolation(leak(1e5), points=10).ohms == pytest.approx(1e5 * (1 - 9 * 1140 / 330_000), rel=0.02)


def test_leakage_beyond_what_can_be_seen_is_none_and_a_short_is_zero():
    assert math.isinf(isolation(leak(20e6)).ohms)
    assert math.isinf(isolation(replace(leak(1e6), high=-5)).ohms)
    assert isolation(replace(leak(1e6), flags=1)).ohms == 0.0
    assert isolation(leak(2e6)).u_ohms / 2e6 > isolation(leak(1e6)).u_ohms / 1e6
