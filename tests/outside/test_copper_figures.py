"""Conductor resistance and AWG against the figures of public sources, named beside each check."""

from __future__ import annotations

import pytest

from tester.harness.copper import (
    AMPERES,
    ENGINE_SPACE,
    RHO_20,
    awg_diameter_mm,
    awg_mm2,
    temperature_factor,
    wire_ohms,
)


def test_copper_has_the_resistivity_of_iec_60028() -> None:
    assert pytest.approx(0.017241, abs=1e-6) == RHO_20


@pytest.mark.parametrize(
    ("celsius", "factor"),
    [(0, 0.92140), (15, 0.98035), (20, 1), (25, 1.01965), (35, 1.05895), (40, 1.07860), (60, 1.15720), (85, 1.25545)],
)
def test_the_temperature_factor_follows_iec_60028(celsius: float, factor: float) -> None:
    assert temperature_factor(celsius) == pytest.approx(factor, abs=1e-9)


@pytest.mark.parametrize(("number", "mm"), [(20, 0.8118), (18, 1.0237), (16, 1.2908), (36, 0.1270)])
def test_awg_diameters_equal_the_printed_table(number: int, mm: float) -> None:
    # "Wire gauges", hyperphysics.phy-astr.gsu.edu: 0.03196, 0.0403, 0.05082, 0.005 in
    assert awg_diameter_mm(number) == pytest.approx(mm, abs=5e-5)


@pytest.mark.parametrize(
    ("number", "milliohm", "per_kft"),
    [(12, 5.211, 1.5883), (14, 8.286, 2.5254), (16, 13.174, 4.0156), (18, 20.948, 6.3850), (20, 33.309, 10.1526),
     (22, 52.963, 16.1432)],
)  # fmt: skip
def test_awg_resistance_equals_the_printed_table(number: int, milliohm: float, per_kft: float) -> None:
    # Same source: ohm per 1000 ft. One foot is 0.3048 m.
    assert 1000 * RHO_20 / awg_mm2(number) == pytest.approx(milliohm, abs=6e-4)
    assert RHO_20 / awg_mm2(number) * 304.8 == pytest.approx(per_kft, abs=6e-5)


def test_half_a_square_millimetre_of_class_5_warmed_to_35_degrees() -> None:
    # IEC 60228 class 5 table (three pages agree) and IEC 60028: 58.5 mohm at 20, 61.948575 mohm at 35 degrees C
    assert wire_ohms(0.5, 1.5)[0] == pytest.approx(58.5e-3, abs=1e-12)
    assert wire_ohms(0.5, 1.5, 35)[0] == pytest.approx(61.948575e-3, abs=1e-12)


def test_the_road_vehicle_table_is_tighter_and_named_as_such() -> None:
    # ISO 6722-1 row 37.1 (table from memory): 58.930568 mohm at 35 degrees C
    ohms, source = wire_ohms(0.5, 1.5, 35, "ISO 6722-1")
    assert ohms == pytest.approx(58.930568e-3, abs=1e-9)
    assert "ISO 6722-1" in source


def test_a_size_that_the_table_lacks_takes_ideal_copper_and_says_so() -> None:
    # 0.35 mm2 of ideal copper: 49.26 mohm/m (computed)
    ohms, source = wire_ohms(0.35, 1.0)
    assert ohms == pytest.approx(49.26e-3, abs=5e-6)
    assert "rho/A" in source


@pytest.mark.parametrize(("size", "length"), [(0.5, 0), (0, 1), (0.5, -1)])
def test_no_limit_comes_from_a_zero_length_or_size(size: float, length: float) -> None:
    with pytest.raises(ValueError, match="gives no resistance"):
        wire_ohms(size, length)


def test_marine_amperes_are_those_of_33_cfr_183_425_table_5() -> None:
    assert AMPERES[16][105] == 25 and AMPERES[14][105] == 35 and AMPERES[12][60] == 25 and AMPERES[18][200] == 25
    # in engine spaces x 0.85: 21.25 A and 29.75 A (the page prints 21 and 30; a limit is never rounded up)
    assert AMPERES[16][105] * ENGINE_SPACE == 21.25 and AMPERES[14][105] * ENGINE_SPACE == 29.75
