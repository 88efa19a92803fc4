"""The circuit solver against ngspice, an outside circuit simulator, on the same circuits written out part by part.

Voltages agree within 0.1 % of their value (of 0.66 V, the lowest threshold, for smaller ones), and so does the
difference between the sense buses, which is what a resistance reading rests on.
"""

from __future__ import annotations

import pytest

from hwspec.virtual.harness import Harness
from hwspec.virtual.leads import Leads
from hwspec.virtual.parts import VIL, Parts
from tests.support.spice_bench import (
    LEADS,
    REFERENCE,
    SENSE,
    SINGLE,
    State,
    circuit_in,
    library_voltages,
    random_harness,
    random_states,
    solver_voltages,
    worst,
)
from tests.support.virtual import as_harness

CELL_STATES = {
    "released, rail high": State(),
    "released, rail low": State(rail=0),
    "rail released": State(rail=2),
    "driven low": State({1: "low"}),
    "driven high, rail low": State({1: "high"}, rail=0),
    "chip pull-up": State(rail=0, pulled=frozenset({1})),
    "read by the converter": State(rail=1, mux=(1, 0, 0), load=SINGLE),
    "on both sense buses": State({1: "high"}, 2, (1, 1, 0), SENSE),
    "sunk into the force bus": State({}, 1, (0, 0, 1), REFERENCE),
}


@pytest.mark.parametrize("name", CELL_STATES)
def test_a_cell_in_each_state_agrees_with_ngspice(name):
    assert worst(Parts.drawn(4, 7), Harness(), Leads({}), CELL_STATES[name]) < 1e-3


@pytest.mark.parametrize("volts", [16.0, 3.0, 0.5, -0.3, -16.0])
def test_a_cell_under_abuse_agrees_with_ngspice(volts):
    harness = as_harness({"voltage": [{"at": "D-1", "volts": volts, "ohms": 1}]})
    for rail in (0, 1):
        assert worst(Parts.drawn(4, 7), harness, LEADS, State(rail=rail, mux=(1, 0, 0), load=SINGLE)) < 1e-3


def test_a_card_with_its_released_rail_shared_by_64_cells_agrees_with_ngspice():
    leads = Leads({1: "D-1", 2: "D-2", 3: "D-3"})
    harness = as_harness(
        {"link": [{"a": "D-1", "b": "D-2", "ohms": 2.0}], "leak": [{"a": "D-3", "b": "D-1", "ohms": 5e4}]}
    )
    assert worst(Parts.drawn(64, 5), harness, leads, State({1: "high"}, 2, (1, 2, 2), SENSE)) < 1e-3


def test_the_main_board_with_its_reference_cell_agrees_with_ngspice():
    for load in (SENSE, REFERENCE, SINGLE):
        assert worst(Parts.drawn(4, 5), Harness(), Leads({}), State(rail=2, spare=1, load=load)) < 1e-3


@pytest.mark.parametrize("seed", [1, 2, 18])
def test_harnesses_in_scan_and_measurement_agree_with_ngspice(seed):
    harness = random_harness(seed, faulty=seed >= 17)
    for state in random_states(seed, live=seed >= 17):
        assert worst(Parts.drawn(16, seed), harness, LEADS, state) < 1e-3


LIBRARY_LINES = ["Rw1 tp01 tp33 0.7", "Rw2 tp02 hub 0.1", "Rw3 tp34 hub 0.1", "Rw4 tp35 hub 12", "Rk1 tp04 tp33 47k"]
LIBRARY_HARNESS = {
    "link": [
        {"a": "D-1", "b": "D-33", "ohms": 0.7},
        {"a": "D-2", "b": "~hub", "ohms": 0.1},
        {"a": "D-34", "b": "~hub", "ohms": 0.1},
        {"a": "D-35", "b": "~hub", "ohms": 12},
    ],
    "leak": [{"a": "D-4", "b": "D-33", "ohms": 47e3}],
}


@pytest.mark.parametrize(
    ("state", "swaps"),
    [
        (State({1: "low"}, 1), {"rvh": 1e-3, "rl01": 50}),
        (State({34: "low", 4: "low"}, 1), {"rvh": 1e-3, "rl34": 50, "rl04": 50}),
        (State({33: "high"}, 0), {"rvl": 1e-3, "rh33": 140}),
        (State({1: "high"}, 2, (1, 33, 33)), {"rh01": 140, "rsp01": 120, "rsn33": 120, "rfm33": 120}),
        (State({35: "high"}, 2, (35, 2, 2)), {"rh35": 140, "rsp35": 120, "rsn02": 120, "rfm02": 120}),
    ],
)
def test_the_card_drawn_from_the_source_of_the_circuit_agrees_with_ngspice(state, swaps):
    """The netlist is `schematics/spice/card.lib`, made by others from the one source of the circuit."""
    parts = Parts.nominal(64)
    for cell in parts.cells:
        cell.leak_a = 50e-9
    lines = [*LIBRARY_LINES, "Varm arm 0 3.3", "Vn arm_n 0 0", "Vl latch 0 0", "Vc chain_in 0 0", "Rref force 0 100"]
    nodes = [f"{kind}{channel:02}" for kind in ("tp", "pin") for channel in (1, 2, 4, 33, 34, 35, 64)]
    buses = {"sense_p": "S+", "sense_n": "S-", "force": "force"} if state.mux[0] else {}
    spice = library_voltages("card.lib", swaps, lines, [*nodes, *buses])
    leads = Leads({channel: f"D-{channel}" for channel in range(1, 65)})
    ours = solver_voltages(circuit_in(parts, as_harness(LIBRARY_HARNESS), leads, state))
    for node, volts in spice.items():
        number = node.removeprefix("tp").removeprefix("pin")
        name = buses.get(node) or f"{'pin' if node.startswith('pin') else 'channel'} {int(number)}"
        assert ours[name] == pytest.approx(volts, rel=1e-3, abs=VIL * 1e-3), node


def test_the_starter_board_drawn_from_the_source_of_the_circuit_agrees_with_ngspice():
    """The netlist is `schematics/spice/starter.lib`."""
    parts = Parts.starter()
    for cell in parts.cells:
        cell.leak_a = 50e-9
    lines = ["Rw1 tp01 tp11 0.7", "Rw2 tp02 tp12 0.1", "Rk1 tp04 tp11 47k", "Vrail rail 0 3.3"]
    harness = {
        "link": [{"a": "D-1", "b": "D-11", "ohms": 0.7}, {"a": "D-2", "b": "D-12", "ohms": 0.1}],
        "leak": [{"a": "D-4", "b": "D-11", "ohms": 47e3}],
    }
    channels = (1, 2, 4, 11, 12, 20)
    nodes = [f"tp{c:02}" for c in channels] + [f"gp{c - 1:02}" for c in channels]
    spice = library_voltages("starter.lib", {"rl01": 40}, lines, nodes)
    leads = Leads({channel: f"D-{channel}" for channel in range(1, 21)})
    ours = solver_voltages(circuit_in(parts, as_harness(harness), leads, State({1: "low"}, 1)))
    for channel in channels:
        for node, name in ((f"tp{channel:02}", f"channel {channel}"), (f"gp{channel - 1:02}", f"pin {channel}")):
            assert ours[name] == pytest.approx(spice[node], rel=1e-3), node
