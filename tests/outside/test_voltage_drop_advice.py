"""Voltage drop, size and ampacity advice against worked examples of public sources, and against `uncertainties`."""

from __future__ import annotations

from typing import Any

import pytest
from uncertainties import ufloat

from tester.plan.advice import (
    advice_text,
    advise,
    ampacity,
    awg_cmil,
    circular_mils,
    smallest_gauge,
    smallest_mm2,
)
from tester.plan.models import Plan
from tests.support.demo import demo_plan


def test_ten_amperes_over_21_feet_at_three_percent_of_12_volt() -> None:
    # "Maintaining Three Percent Voltage Drop" (docId 81), jamestowndistributors.com: 10 A, 11 + 10 ft, 12 V, 3 %;
    # E = 0.36 V. Digits computed: 6270.8333; 12 AWG passes, SAE 12 (5,833 cmil) fails, take size 10.
    cmil = circular_mils(10, 21, 0.36)
    assert cmil == pytest.approx(6270.8333, abs=5e-5)
    assert smallest_gauge(cmil) == 12
    assert awg_cmil(12, sae=True) == 5833 < cmil
    assert smallest_gauge(cmil, sae=True) == 10


@pytest.mark.parametrize(
    ("gauge", "cmil"), [(12, 6529.9), (14, 4106.7), (16, 2582.7), (18, 1624.3), (20, 1021.5), (22, 642.4)]
)
def test_circular_mils_of_awg_equal_the_table(gauge: int, cmil: float) -> None:
    # "Wire gauges", hyperphysics.phy-astr.gsu.edu (formula seen, values computed to the table's rounding)
    assert awg_cmil(gauge) == pytest.approx(cmil, abs=0.06)


def test_sae_size_12_has_a_tenth_less_copper_than_awg() -> None:
    # batterycable.co: 10.7 % less at size 12 (seen and computed); 5 to 12 % in general
    assert 1 - awg_cmil(12, sae=True) / awg_cmil(12) == pytest.approx(0.107, abs=5e-4)


@pytest.mark.parametrize(
    ("mm2", "engine", "allowed"),
    [
        (1.3087, False, 25),
        (1.3087, True, 21.25),
        (2.0809, False, 35),
        (2.0809, True, 29.75),
        (1.5, False, 25),
        (2.5, True, 29.75),
    ],
)
def test_ampacity_is_that_of_33_cfr_183_425_and_never_rounded_up(mm2: float, engine: bool, allowed: float) -> None:
    found = ampacity(mm2, 105, engine)
    assert found is not None and found[0] == pytest.approx(allowed)


def test_the_marine_table_says_nothing_on_wires_thinner_than_18_awg() -> None:
    assert ampacity(0.5, 105) is None and ampacity(0.8231, 105) == (
        20,
        "33 CFR 183.425 table 5, 18 AWG at 105 degrees C (US boats)",
    )


def wires(*rows: dict[str, Any], steps: tuple[dict[str, Any], ...] = (), **more: Any) -> Plan:
    tables = {
        "format": 1,
        "id": "p",
        "revision": "1",
        "connector": [{"id": "D", "cavities": 9}],
        "wire": list(rows),
        "step": list(steps),
    }
    return Plan.model_validate(tables | more)


def wire(id: str, **more: Any) -> dict[str, Any]:
    return {"id": id, "a": {"cavity": "D-1"}, "b": {"cavity": "D-2"}, "size_mm2": 0.5, "length_mm": 1500} | more


def test_the_drop_of_one_wire_equals_the_product_of_its_parts() -> None:
    # IEC 60228 class 5 and IEC 60028: 1.5 m of 0.5 mm2 at 35 degrees C is 61.948575 mohm; 2 A, out only
    made = wires(wire("W", amperes=2), advice={"return_path": False, "celsius": 35, "drop_percent": 1})
    drop = next(one for one in advise(made) if one.kind == "drop")
    assert drop.numbers["volts"] == pytest.approx(2 * 61.948575e-3, abs=1e-12)
    assert drop.fine is False and drop.numbers["allowed"] == pytest.approx(0.12)
    resistance = ufloat(39.0e-3, 1e-5) * 1.5 * (1 + ufloat(0.00393, 1e-6) * 15)  # by the uncertainties library
    assert drop.numbers["volts"] == pytest.approx((2 * resistance).nominal_value, rel=1e-12)


def test_out_and_back_doubles_the_drop() -> None:
    one, two = (
        next(a for a in advise(wires(wire("W", amperes=2), advice={"return_path": back})) if a.kind == "drop")
        for back in (False, True)
    )
    assert two.numbers["volts"] == pytest.approx(2 * one.numbers["volts"]) and "out and back" in two.says


def test_shared_ground_splices_add_up() -> None:
    ends = {"b": {"splice": "S"}}
    rows = (
        wire("T", a={"ring": "chassis"}, amperes=1, size_mm2=0.75, length_mm=1000, **ends),
        wire("A", a={"cavity": "D-1"}, amperes=2, length_mm=500, **ends),
        wire("B", a={"cavity": "D-2"}, amperes=3, length_mm=500, **ends),
    )
    found = advise(wires(*rows, steps=({"do": "splice", "splice": "S"},)))
    splice = next(one for one in found if one.kind == "splice")
    assert (
        splice.fine is False
        and splice.numbers["amperes"] == 5
        and "wire T carries the others together, 5 A" in splice.says
    )
    drop = next(one for one in found if one.kind == "drop" and one.about == "A")
    # own wire 2 A x 0.5 m x 39 mohm/m, trunk 5 A x 1 m x 26 mohm/m, joint 5 A x 5 mohm
    assert drop.numbers["volts"] == pytest.approx(2 * 0.0195 + 5 * 0.026 + 5 * 0.005)


def test_a_fuse_is_held_against_load_and_wire() -> None:
    def fuse(**more: Any) -> Any:
        return next(one for one in advise(wires(wire("W", **more))) if one.kind == "fuse")

    assert fuse(size_mm2=1.5, amperes=10, fuse_a=20).fine is True
    assert fuse(size_mm2=1.5, amperes=10, fuse_a=30).fine is False
    assert "below the load" in fuse(size_mm2=1.5, amperes=10, fuse_a=7.5).says
    assert fuse(size_mm2=0.5, amperes=1, fuse_a=5).fine is None


def test_the_smallest_size_that_would_do_is_found_by_the_table() -> None:
    # 4 m at 5 A and 0.36 V: 0.5 mm2 39.0 -> 0.78 V, 0.75 -> 0.52, 1.0 -> 0.39, 1.5 13.3 -> 0.266 V
    assert smallest_mm2(5, 4, 20, 0.36, "IEC 60228 class 5") == 1.5
    assert smallest_mm2(500, 40, 20, 0.36, "IEC 60228 class 5") is None


def test_advice_says_that_it_is_advice_and_what_is_missing() -> None:
    text = advice_text(advise(wires({"id": "W", "a": {"cavity": "D-1"}, "b": {"cavity": "D-2"}, "amperes": 2})))
    assert text.startswith("Advice only. The service manual and local rules come first.")
    assert "no voltage drop without size_mm2 or awg, and length_mm of W" in " ".join(text.split())
    assert "nothing to work out" in advice_text(advise(wires(wire("W"))))
    assert max(map(len, advice_text(advise(demo_plan())).splitlines())) <= 80
