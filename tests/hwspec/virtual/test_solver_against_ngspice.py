"""The circuit solver against ngspice, an outside circuit simulator, on the same circuits written out part by part.

Voltages agree within 0.1 % of their value (of 0.66 V, the lowest threshold, for smaller ones), and so does the
difference between the sense buses, which is what a resistance reading rests on.
"""

from __future__ import annotations

import pytest

from hwspec.virtual.harness import Harness
from hwspec.virtual.leads import Leads
from hwspec.virtual.parts import Parts
from tests.support.spice_bench import (
    LEADS,
    REFERENCE,
    SENSE,
    SINGLE,
    State,
    random_harness,
    random_states,
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
