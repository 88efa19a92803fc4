"""The circuit at work: thresholds, settling, dropouts, against the figures of the study's decks (ngspice)."""

from __future__ import annotations

import pytest

from hwspec.virtual.circuit import Circuit
from hwspec.virtual.clock import Clock
from hwspec.virtual.harness import Harness
from hwspec.virtual.leads import Leads
from hwspec.virtual.parts import Cell, Parts
from hwspec.virtual.trace import Trace
from hwspec.virtual.wiring import build
from tests.support.virtual import VirtualBench, as_harness

SETTLED_NS = 10_000_000_000


def circuit(parts: Parts, harness: dict | Harness, channels: int, seed: int = 0) -> Circuit:
    """Channels 1.. on cavities D-1.., rail high, settled."""
    leads = Leads({c: f"D-{c}" for c in range(1, channels + 1)})
    made = Circuit(parts, build(parts, leads, as_harness(harness), 1), Clock(), Trace(), seed)
    made.set_rail(1)
    made.clock.advance(SETTLED_NS)
    return made


def worst_cell(**changed: float) -> Cell:
    """The cell of deck 03: worst parts, 1.4 uA of leakage into the pin."""
    return Cell(**({"series": 828.2, "pin_series": 101, "pull": 326.7e3, "low": 90, "leak_a": 1.4e-6} | changed))


@pytest.mark.parametrize(
    ("ohms", "far", "test_point"), [(0.001, 0.600929, 0.592786), (120, 0.65834, 0.582042), (1000, 1.02306, 0.513788)]
)
def test_a_circuit_of_61_worst_points_reads_as_deck_03_says(ohms, far, test_point):
    links = [
        {"a": "D-1", "b": "~hub", "ohms": ohms},
        *({"a": "~hub", "b": f"D-{c}", "ohms": 0.05} for c in range(2, 62)),
    ]
    made = circuit(Parts([worst_cell() for _ in range(61)]), {"link": links}, 61)
    made.set_pin(0, 1)
    made.clock.advance(SETTLED_NS)
    assert made.pin_volts(60) == pytest.approx(far, rel=0.003)
    assert made.point_volts(0) == pytest.approx(test_point, rel=0.003)


def test_two_worst_points_are_surely_joined_up_to_66_kilohm_and_no_further():
    for ohms, low in ((66_000, True), (69_000, False)):
        made = circuit(Parts([worst_cell(), worst_cell()]), {"leak": [{"a": "D-1", "b": "D-2", "ohms": ohms}]}, 2)
        made.set_pin(0, 1)
        made.clock.advance(SETTLED_NS)
        assert (made.pin_volts(1) <= 0.66) is low


def test_worst_leakage_out_of_a_pin_leaves_an_open_point_at_2_83_volts():
    made = circuit(Parts([worst_cell(leak_a=-1.4e-6, pull=333.3e3)]), {}, 1)
    assert made.pin_volts(0) == pytest.approx(2.83, abs=0.01)


@pytest.mark.parametrize(("drop", "deck"), [(0.60, 0.392), (0.27, 0.163), (1.80, 1.521)])
def test_one_way_parts_read_as_deck_08_says_one_way_and_open_the_other(drop, deck):
    made = circuit(Parts.nominal(2), {"diode": [{"anode": "D-2", "cathode": "D-1", "drop_v": drop}]}, 2)
    made.set_pin(0, 1)
    made.clock.advance(SETTLED_NS)
    assert made.pin_volts(1) == pytest.approx(deck, abs=0.04)
    made.set_pin(0, 0)
    made.set_pin(1, 1)
    made.clock.advance(SETTLED_NS)
    assert made.pin_volts(0) > 3.25


def test_levels_between_the_thresholds_may_differ_between_reads_and_repeat_with_the_seed():
    def reads(seed: int) -> list[int]:
        made = circuit(Parts.nominal(2), {"diode": [{"anode": "D-2", "cathode": "D-1", "drop_v": 1.8}]}, 2, seed)
        made.set_pin(0, 1)
        made.clock.advance(SETTLED_NS)
        return [made.levels(0) >> 1 & 1 for _ in range(60)]

    first = reads(1)
    assert 10 < sum(first) < 50
    assert reads(1) == first
    assert reads(2) != first


def test_a_released_circuit_rises_slowly_and_an_actively_released_one_fast():
    made = circuit(Parts.nominal(2), {"capacitor": [{"at": "D-1", "nf": 9.9}]}, 1)
    made.set_pin(0, 1)
    made.clock.advance(SETTLED_NS)
    made.set_pin(0, 0)
    rises = []
    for _ in range(600):
        made.clock.advance(10_000)
        rises.append(made.pin_volts(0))
    # deck 05, 10 nF: 4.49 ms to VIH passive with worst leakage; ln 5 time constants of 3.3 ms without
    assert 4.0 < next(n for n, v in enumerate(rises) if v >= 2.64) / 100 < 5.8
    made.set_pin(0, 1)
    made.clock.advance(SETTLED_NS)
    made.set_pin(0, 2)
    made.clock.advance(28_000)
    assert made.point_volts(0) == pytest.approx(3.0, abs=0.15)


def test_a_far_pin_at_10_nanofarad_is_low_after_18_microseconds_not_before_12():
    made = circuit(Parts.nominal(2), {"link": [{"a": "D-1", "b": "D-2", "capacitance_nf": 9.8}]}, 2)
    made.set_pin(0, 1)
    levels = {}
    for us in range(1, 40):
        made.clock.advance(1000)
        levels[us] = made.pin_volts(1)
    assert levels[12] > 0.66 > levels[19]


def test_a_dropout_opens_and_closes_by_the_virtual_clock_only():
    drop = {"dropout": [{"a": "D-1", "b": "D-2", "every_ms": 20, "open_ms": 3}]}
    made = circuit(Parts.nominal(2), drop, 2)
    made.set_pin(0, 1)
    made.clock.advance(SETTLED_NS)
    seen = []
    for _ in range(60):
        made.clock.advance(1_000_000)
        seen.append(not made.levels(0) >> 1 & 1)
    assert sum(not joined for joined in seen) in (8, 9)
    assert seen[5:15] == [True] * 10


def test_a_dropout_between_two_looks_is_not_seen_but_its_settling_is():
    drop = {
        "dropout": [{"a": "D-1", "b": "D-2", "every_ms": 1000, "open_ms": 3}],
        "capacitor": [{"at": "D-2", "nf": 50}],
    }
    made = circuit(Parts.nominal(2), drop, 2)
    made.set_pin(0, 1)
    made.clock.advance(SETTLED_NS)
    made.clock.advance(999_000_000)
    assert not made.levels(0) >> 1 & 1
    made.clock.advance(2_000_000)
    assert 0.1 < made.pin_volts(1) < 0.3
    made.clock.advance(500_000_000)
    assert not made.levels(0) >> 1 & 1


def test_pieces_of_any_shape_cover_each_channel_exactly_once():
    harness = {
        "link": [{"a": "D-1", "b": "~a"}, {"a": "~a", "b": "~b"}, {"a": "X-1", "b": "X-2"}],
        "voltage": [{"at": "D-3", "volts": 1}],
    }
    leads = Leads({1: "D-1", 2: "D-2", 3: "D-3"})
    pieces = build(Parts.nominal(64), leads, as_harness(harness), 1)
    assert sorted(channel for piece in pieces for channel, _, _ in piece.wiring.cells) == list(range(64))


def test_a_cell_pushed_above_its_supply_settles_as_fast_as_any_other():
    made = circuit(Parts([worst_cell()]), {}, 1)
    assert made.point_volts(0) > 3.4
    assert made.pieces[0].full
    made.set_rail(0)
    made.clock.advance(500_000)
    # 327 kohm times 0.1 nF: 33 us; 1.4 uA through 326.7 kohm leave 0.46 V
    assert made.point_volts(0) == pytest.approx(0.459, abs=0.01)


def test_pins_that_change_between_dropouts_keep_the_order_of_time():
    parts = {
        "link": [{"a": "D-1", "b": "D-2"}],
        "dropout": [
            {"a": "D-2", "b": "D-3", "every_ms": 4, "open_ms": 1},
            {"a": "D-1", "b": "D-4", "every_ms": 3, "open_ms": 2.97},
        ],
    }
    made = circuit(Parts.drawn(4, 5), parts, 4)
    for turn in range(4000):
        made.set_pin(0, turn % 3)
        made.clock.advance(37_000 * (1 + turn % 7))
        assert -0.2 < made.point_volts(turn % 4) < 3.5


def test_the_rail_of_the_starter_board_stays_where_its_pin_holds_it_when_the_pump_call_falls_silent():
    """It hangs on a pin of the processor; no dead man lets go of it, as one does on the card board."""
    for kind, low in (("starter", True), ("full", False)):
        bench = VirtualBench({}, {1: "D-1"}, build=kind, nominal=True, app=False)
        for edge in range(200):
            bench.hal.arm(edge & 1)
            bench.hal.wait_us(500)
        bench.hal.rail(0)
        bench.board.clock.advance(1_000_000_000)
        assert (bench.board.circuit.pin_volts(0) < 0.1) == low, kind
