"""Uncertainty, voltage drop and statistics beside their published figures.

Uncertainty: Eurachem/CITAC guide appendix E.1 (seen); JCGM 100:2008 and 106:2012 (clauses from memory).
"""

import math

import pytest

from tester.judge.limits import COVERAGE, decide, ratio_u, rectangular


def test_a_rectangular_limit_has_the_uncertainty_that_the_guide_prints():
    # Eurachem/CITAC guide, E.1: a = 1.5 gives 0.866025, printed 0.87
    assert rectangular(1.5) == pytest.approx(0.866025, abs=1e-6)
    assert round(rectangular(1.5), 2) == 0.87


def test_the_copper_example_of_the_guide():
    # JCGM 100:2008 4.3.7 example (print from memory): a = 0.40e-6, u2 = 5.3333e-14
    assert rectangular(0.40e-6) ** 2 == pytest.approx(5.3333e-14, rel=1e-4)
    assert rectangular(0.40e-6) == pytest.approx(2.3094e-7, rel=1e-4)


def test_a_digital_voltmeter_combines_in_squares():
    # JCGM 100:2008 4.3.7 and 5.1.5 (print from memory): limits 14 ppm of 0.928571 V and 2 ppm of 1 V; u_A = 12 uV
    a = 14e-6 * 0.928571 + 2e-6 * 1
    assert a == pytest.approx(15.0e-6, rel=1e-3)
    assert rectangular(a) == pytest.approx(8.66e-6, rel=1e-3)
    assert math.hypot(12e-6, rectangular(a)) == pytest.approx(14.8e-6, rel=1e-3)


def test_a_four_wire_ratio_has_the_uncertainty_of_its_three_parts():
    # JCGM 100:2008 5.1.6: Rref 1 ohm +-0.001; Vref 100 mV, Vx 6.195 mV, each +-5 uV, all rectangular
    u = ratio_u(1.0, rectangular(0.001), 0.100, rectangular(5e-6), 6.195e-3, rectangular(5e-6))
    assert u == pytest.approx(0.0459978e-3, rel=1e-6)
    assert COVERAGE * u == pytest.approx(0.0919956e-3, rel=1e-6)


def test_a_reading_at_its_limit_is_too_close_to_call():
    # IEC 60228 wire of 61.949 mohm at 35 degrees C against a reading of 61.950 +- 0.092 mohm; rule of JCGM 106
    u = ratio_u(1.0, rectangular(0.001), 0.100, rectangular(5e-6), 6.195e-3, rectangular(5e-6))
    assert decide(61.950e-3, u, 61.948575e-3) == "too close to call"


def test_the_wet_strand_rule_shows_why_two_ohm_only_proves_a_path():
    # 1.5 m of 0.5 mm2 class 5 on one strand of sixteen: 39.0 mohm/m x 1.5 x 16 = 0.936 ohm, below the 2 ohm default
    from tester.harness.copper import wire_ohms
    from tester.judge.limits import DEFAULT_OHMS

    assert 16 * wire_ohms(0.5, 1.5)[0] == pytest.approx(0.94, abs=0.005)
    assert 16 * wire_ohms(0.5, 1.5)[0] < DEFAULT_OHMS
