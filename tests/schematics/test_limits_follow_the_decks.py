"""Each number of hwspec/limits.toml agrees with the table of the deck that it names."""

import math
import tomllib
from typing import Any

import pytest

from hwspec.circuit.cell import RPU
from hwspec.circuit.decks import catalogue, measure
from hwspec.circuit.decks.run import read_table
from hwspec.circuit.generate import ROOT
from hwspec.circuit.main import R_CELL, R_REF
from hwspec.circuit.stack import CARDS_MAX
from hwspec.circuit.starter import CHANNELS as STARTER_CHANNELS
from hwspec.circuit.timing import SPI_HZ, answer_delay

DATA = tomllib.loads((ROOT / "hwspec" / "limits.toml").read_text(encoding="utf-8"))
LIMITS: dict[str, Any] = DATA["limits"]
CHECKS = [(name, number) for name, entry in LIMITS.items() for number in range(len(entry.get("checks", [])))]


def table(deck: str) -> list[dict[str, float | str]]:
    return read_table((ROOT / "schematics" / "spice" / "results" / f"{deck}.txt").read_text(encoding="utf-8"))


def matches(found: float | str, wanted: Any) -> bool:
    if isinstance(wanted, list):
        return any(matches(found, one) for one in wanted)
    if isinstance(wanted, str) or isinstance(found, str):
        return found == wanted
    return math.isclose(found, wanted, rel_tol=1e-6)


def cells_of(entry: dict[str, Any], check: dict[str, Any]) -> list[float]:
    rows = [
        row
        for row in table(check.get("deck", entry["deck"]))
        if all(matches(row[column], wanted) for column, wanted in check["row"].items())
    ]
    assert rows, f"no row matches {check['row']}"
    cells = [row[check["column"]] for row in rows]
    assert all(isinstance(cell, float) for cell in cells), cells
    return [float(cell) * check.get("scale", 1) for cell in cells]


def holds(value: float, compare: str, cells: list[float]) -> bool:
    left, sign, right = compare.split()
    if left == "value":
        if sign == "~":
            return all(math.isclose(value, cell, rel_tol=0.05) for cell in cells)
        return all(value <= cell if sign == "<=" else value >= cell for cell in cells)
    return all(cell <= float(right) if sign == "<=" else cell >= float(right) for cell in cells)


@pytest.mark.parametrize(("name", "number"), CHECKS, ids=[f"{name}-{number}" for name, number in CHECKS])
def test_a_limit_agrees_with_its_deck(name: str, number: int) -> None:
    entry = LIMITS[name]
    check = entry["checks"][number]
    cells = cells_of(entry, check)
    assert holds(entry["value"], check["compare"], cells), (entry["value"], check["compare"], cells)


@pytest.mark.parametrize(
    ("name", "wrong"),
    [("surely_joined_60", 130.0), ("surely_apart", 4.6e6), ("release_us", 20), ("deadman_max_ms", 160)],
)
def test_a_limit_on_the_wrong_side_of_its_deck_is_found(name: str, wrong: float) -> None:
    entry = LIMITS[name]
    found = [holds(wrong, check["compare"], cells_of(entry, check)) for check in entry["checks"]]
    assert not all(found)


def test_every_limit_names_a_deck_that_exists_or_says_why_there_is_none() -> None:
    for name, entry in LIMITS.items():
        assert set(entry) <= {"value", "unit", "deck", "what", "checks"}, name
        if entry["deck"] in ("arithmetic", "circuit", "choice"):
            continue
        assert entry["deck"] in catalogue.names(), name
        assert entry.get("checks"), f"{name} names a deck and no check"


def test_limits_are_close_to_what_the_decks_say() -> None:
    """A limit far off its deck would be safe and useless; those named are meant to be."""
    generous = {"voltage_settle_us", "wait_max_us", "held_difference_v", "voltage_low_v", "floating_high_v"}
    for name, entry in LIMITS.items():
        checks = [
            check for check in entry.get("checks", []) if check["compare"] in ("value <= cells", "value >= cells")
        ]
        if not checks or name in generous or entry["deck"] == "choice":
            continue
        nearest = [cell for check in checks for cell in cells_of(entry, check)]
        assert any(0.5 <= entry["value"] / cell <= 2.0 for cell in nearest if cell), name


def test_sizes_joined_are_those_of_the_deck_joined() -> None:
    rows = {
        row["points"]: row["max_ohm"] for row in table("joined") if (row["rs_ohm"], row["pullup_ohm"]) == (820, 3.3e5)
    }
    assert {entry["points"] for entry in DATA["joined_by_points"]} == set(rows)
    for entry in DATA["joined_by_points"]:
        assert 0.9 * rows[entry["points"]] <= entry["ohm"] <= rows[entry["points"]]


def test_numbers_that_rest_on_the_circuit_or_on_arithmetic() -> None:
    value = {name: entry["value"] for name, entry in LIMITS.items()}
    assert value["reference_ohm"] == R_REF.number
    assert value["reference_cell_ohm"] == R_CELL.number
    assert value["cards_max"] == CARDS_MAX
    assert value["starter_channels"] == STARTER_CHANNELS
    assert value["pullup_current_ua"] == pytest.approx(3.3 / 2 / RPU.number * 1e6)
    assert value["gain_ppm_256mv"] == pytest.approx((measure.loading("256") - 1) * 1e6, rel=0.02)
    assert value["gain_ppm_4096mv"] == pytest.approx((measure.loading("4096") - 1) * 1e6, rel=0.02)
    assert value["range_low_ohm"] == pytest.approx(0.256 / (value["test_current_ma"] * 1e-3), rel=0.01)
    assert (value["resistance_relative"], value["resistance_absolute"]) == measure.PROMISE
    assert (value["resistance_error_absolute"], value["resistance_error_relative"]) == measure.ERROR
    assert (value["range_high_relative"], value["range_high_absolute"]) == measure.PROMISE_WIDE
    at_the_limit = 3.3 / value["isolation_measured_to"] * 1e9
    assert value["isolation_baseline_most"] == pytest.approx(at_the_limit * value["isolation_relative"])
    assert value["spi_max_mhz"] == SPI_HZ / 1e6
    assert answer_delay() < 0.5 / SPI_HZ
