"""The uncertainty budget: its rules against outside figures, its sum against a library and against 300 boards."""

import math
import re
import tomllib

import pytest
from uncertainties import ufloat

from hwspec.circuit import budget
from hwspec.circuit.decks import measure, montecarlo
from hwspec.circuit.decks.run import read_table
from hwspec.circuit.generate import ROOT

PAGE = (ROOT / "hwspec" / "accuracy.md").read_text(encoding="utf-8")


def results(deck: str) -> list[dict[str, float | str]]:
    return read_table((ROOT / "schematics" / "spice" / "results" / f"{deck}.txt").read_text(encoding="utf-8"))


def test_a_rectangular_half_width_becomes_a_standard_uncertainty_as_published() -> None:
    """Eurachem/CITAC guide, appendix E.1: a = 1.5 gives 0.87; JCGM 100:2008, 4.3.7: a = 0.40e-6 gives 2.3e-7."""
    assert budget._flat(1.5) == pytest.approx(0.866025, abs=1e-6)
    assert budget._flat(0.40e-6) ** 2 == pytest.approx(5.3333e-14, rel=1e-4)


@pytest.mark.parametrize("ohms", budget.VALUES)
def test_the_sum_is_what_a_library_propagates_through_the_model(ohms: float) -> None:
    """The measuring equation with `uncertainties` (first-order propagation, JCGM 100:2008, 5.1.2)."""
    flat = budget._flat
    amperes, noise = budget.CURRENT, montecarlo.NOISE_860 / math.sqrt(2)
    volts = ohms * amperes
    lsb = montecarlo.LSB_256 / 2

    def reading(value: float):  # one state: noise of two samples, steps, linearity
        return value + ufloat(0, noise) + ufloat(0, flat(lsb)) + ufloat(0, flat(montecarlo.INL))

    pair, ground = montecarlo.ADC_LOAD["256"]
    load = ufloat(1, flat(montecarlo.ADC_LOAD_SPREAD))
    tap = [measure.TAP + ufloat(0, flat(100)) + ufloat(0, flat(250)) for _ in range(2)]
    nominal = measure.loading("256")
    seen = 1 / (1 + load * (sum(tap) / pair + sum(tap) / 2 / ground))
    sense = (reading(volts) - reading(-volts)) / 2 * seen
    reference = ufloat(100, flat(0.1)) + ufloat(0, flat(100 * 25e-6 * budget.WARMTH_K))
    leak = (ufloat(0, flat(1.2e-6)) + ufloat(0, flat(1.2e-6))) / 2
    current = (amperes * reference * (1 + ufloat(0, flat(0.001))) / 100) * (1 + leak / amperes)
    result = sense / current * nominal
    assert result.n == pytest.approx(ohms, rel=1e-3, abs=1e-9)
    assert result.s == pytest.approx(budget.standard(ohms, budget.sources()), rel=0.05)


def test_the_budget_agrees_with_the_spread_of_the_simulated_boards() -> None:
    rows = [row for row in results("resistance") if row["method"] == budget.SIMULATED]
    assert len(rows) == len(budget.VALUES)
    for row in rows:
        expected = budget.standard(float(row["true_ohm"]), budget.sources())
        assert float(row["deviation_ohm"]) == pytest.approx(expected, rel=0.10)


def test_calibration_takes_out_what_it_can_and_contacts_add_theirs() -> None:
    lines = budget.sources()
    assert budget.standard(20, lines, calibrated=True) < 0.3 * budget.standard(20, lines)
    assert budget.standard(0, lines, calibrated=True) == budget.standard(0, lines)
    assert budget.standard(0, lines, contacts=True) == pytest.approx(
        math.hypot(budget.standard(0, lines), 0.02 / 3**0.5)
    )


def test_the_page_says_first_that_nothing_was_built() -> None:
    assert "**No board has been built or measured yet.**" in PAGE.split("##")[0]


def test_figures_in_the_page_s_sentences_are_those_of_the_decks() -> None:
    def cell(deck: str, column: str, **row: object) -> float:
        found = [r for r in results(deck) if all(r[k] == v for k, v in row.items())]
        return float(found[0][column])

    live = {"volts": 16, "points": 1}
    said = [
        "within a tenth",
        f"is {cell('resistance', 'worst_error_ohm', method='four_cards_worst', true_ohm=20):.2f} ohm",
        f"up to {cell('resistance', 'worst_error_ohm', method='one_direction_alone', true_ohm=0.0):.0f} ohm",
        f"largest error {cell('range', 'worst_error_ohm', true_ohm=5000.0):.0f} ohm",
        f"{-cell('splice', 'error_percent', points=60, leak_a=1.4e-6):.1f} % low",
        f"{-cell('splice', 'error_percent', points=3, leak_a=5e-8, rail='released'):.2f} %",
        f"it costs {-cell('splice', 'error_percent', points=60, rail='high'):.0f} %",
        f"| {cell('current', 'one_point_ma', case='one_into_ground'):.1f} mA |",
        f"| {cell('current', 'element_ma', case='64_into_ground'):.0f} mA |",
        f"| {cell('current', 'element_ma', case='four_cards_into_ground'):.0f} mA |",
        f"| {cell('abuse', 'point_ma', **live):.0f} mA, {cell('abuse', 'rs_w', **live):.2f} W",
        f"{cell('abuse', 'rs_w', volts=-24, points=1):.2f} W: above",
        f"gives {cell('starter_abuse', 'point_ma', volts=16, points=1):.1f} mA",
        f"fakes {cell('rail', 'looks_like_ohm', rail='released') / 1e6:.1f} Mohm",
        f"{cell('esd', 'pin_ma', suppressor='with'):.0f} mA in the pin",
    ]
    missing = [words for words in said if words not in " ".join(PAGE.split())]
    assert not missing, missing
    worst = {ohms: [r for r in results("isolation") if r["true_ohm"] == ohms] for ohms in (1e6, 3e6)}
    for ohms, rows in worst.items():
        low = min(float(r["low_percent"]) for r in rows)
        high = max(float(r["high_percent"]) for r in rows)
        assert f"| {ohms / 1e6:.0f} Mohm | {low:.0f} to +{high:.0f} % |" in PAGE


def test_limits_that_the_page_states_are_those_of_the_limits_file() -> None:
    limits = tomllib.loads((ROOT / "hwspec" / "limits.toml").read_text(encoding="utf-8"))["limits"]

    def value(name: str, scale: float = 1) -> str:
        return f"{limits[name]['value'] * scale:g}"

    relative, absolute = value("resistance_relative", 100), value("resistance_absolute", 1000)
    high_relative, high_absolute = value("range_high_relative", 100), value("range_high_absolute")
    said = [
        f"| 2 points | {value('surely_joined_2', 1e-3)} kohm | joined |",
        f"| {value('net_points_max')} points | {value('surely_joined_60')} ohm | net60",
        f"| {value('surely_apart', 1e-6)} Mohm, worst leakage | apart |",
        f"joined up to {value('starter_surely_joined_2', 1e-3)} kohm (2 points)",
        f"{value('starter_surely_joined_20', 1e-3)} kohm ({value('starter_channels')} points)",
        f"{value('starter_surely_apart', 1e-6)} Mohm (starter_scan)",
        f"current both ways, {value('test_current_ma')} mA",
        f"({relative} % + {absolute} mohm) up to {value('resistance_promised_to')} ohm",
        f"Up to {value('range_high_ohm', 1e-3)} kohm on the 4.096 V range: plus or minus "
        f"({high_relative} % + {high_absolute} ohm)",
        f"by some {value('contact_repeat_ohm', 1000)} mohm",
        f"more than {limits['voltage_high_v']['value']:.2f} V or less than {value('voltage_low_v')} V",
        f"178 ms | simulated (deadman), {value('deadman_max_ms')} ms is used |",
    ]
    missing = [words for words in said if words not in " ".join(PAGE.split())]
    assert not missing, missing


def test_scan_figures_of_the_page_are_those_of_the_decks() -> None:
    joined = {
        int(r["points"]): r["max_ohm"] for r in results("joined") if (r["rs_ohm"], r["pullup_ohm"]) == (820, 3.3e5)
    }
    apart = {r["leak_a"]: float(r["min_ohm"]) for r in results("apart") if (r["drivers"], r["points"]) == (1, 1)}
    rows = results("deadman")
    earliest = min(float(r["earliest_off_ms"]) for r in rows if r["earliest_off_ms"] != "-")
    latest = max(float(r["stuck_high_off_ms"]) for r in rows if r["stuck_high_off_ms"] != "-")
    said = [f"| expanders released after the processor stops | {earliest:.1f} to {latest:.0f} ms |"]
    said += [f"| {apart[5e-8] / 1e6:.1f} Mohm, typical leakage | apart |"]
    for points in (11, 31):
        kohm = re.search(rf"\| {points} points \| ([\d.]+) kohm \| joined \|", PAGE)
        assert kohm and float(kohm[1]) == math.floor(float(joined[points]) / 100) / 10, points
    missing = [words for words in said if words not in PAGE]
    assert not missing, missing
