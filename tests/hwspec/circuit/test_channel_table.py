"""The channel table, walked out of the nets, is what firmware and host agreed on."""

from dataclasses import replace

import pytest

from hwspec.circuit import pins, wiring
from hwspec.circuit.model import Circuit
from hwspec.circuit.stack import full_build
from hwspec.circuit.starter import starter


def test_each_channel_is_where_the_agreed_formula_puts_it() -> None:
    for row in pins.full_pins():
        card, k = divmod(row.channel - 1, 64)
        assert row.card == card
        assert row.select == card // 2
        assert row.address == (card % 2) * 4 + k // 16
        assert row.bit == k % 16
        assert (row.mux_chip, row.mux_input) == (k // 16, k % 16)


def test_no_two_channels_share_an_expander_pin_or_a_connector_pin() -> None:
    rows = pins.full_pins()
    assert len(rows) == 256
    assert len({(r.select, r.address, r.bit) for r in rows}) == 256
    assert len({(r.card, r.connector, r.connector_pin) for r in rows}) == 256


def test_registers_lie_along_the_chain_as_the_firmware_sends_them() -> None:
    assert pins.chain_order(2) == [
        (0, "SENSE_P"),
        (0, "SENSE_N"),
        (0, "FORCE"),
        (1, "SENSE_P"),
        (1, "SENSE_N"),
        (1, "FORCE"),
    ]


def test_the_generated_module_holds_the_same_table() -> None:
    rows = pins.full_pins()
    assert len(wiring.CHANNELS) == len(rows)
    for row, wired in zip(rows, wiring.CHANNELS, strict=True):
        assert wired == (row.card, row.select, row.address, row.bit, row.mux_chip, row.mux_input)
    assert tuple(range(20)) == wiring.STARTER_CHANNELS


def test_a_card_with_two_sense_lines_exchanged_gives_no_table(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = full_build(1)
    swap = {"9": "c0.SNS02", "8": "c0.SNS01"}
    crossed = [replace(p, nets={**p.nets, **swap}) if p.ref == "c0.U21" else p for p in whole.parts]
    monkeypatch.setattr(pins, "full_build", lambda cards: Circuit("full", "full", crossed))
    with pytest.raises(ValueError, match="channel 1: its three trees disagree"):
        pins.full_pins(1)


def test_starter_channels_use_no_pin_twice_and_leave_the_rail_its_own() -> None:
    used = [row.gp for row in pins.starter_pins()]
    assert len(set(used)) == 20
    assert wiring.STARTER_RAIL not in used
    assert starter().part("A1").net(f"GP{wiring.STARTER_RAIL}") == "RAIL"
