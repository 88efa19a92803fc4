"""Each electrical fault is raised by what causes it, and not by what is allowed."""

from __future__ import annotations

import pytest

from hwspec.virtual import faults
from tests.support.virtual import VirtualBench

PAIR = {"link": [{"a": "D-1", "b": "D-2"}]}
LEADS = {1: "D-1", 2: "D-2", 17: "D-3"}
IODIR, IOCON, OLAT, GPIO = 0x00, 0x0A, 0x14, 0x12


class Bare:
    """A board without firmware: the test is the firmware."""

    def __init__(self, harness=None, leads=LEADS, cards=1, addressed=True):
        self.bench = VirtualBench(harness or PAIR, leads, cards=cards, nominal=True, app=False)
        self.board = self.bench.board
        self.arm()
        self.board.rail_pins(1)
        if addressed:
            self.write(0, 0, IOCON, 0x08)

    def arm(self):
        for turn in range(80):
            self.board.clock.advance(500_000)
            self.board.arm_pin(turn & 1)
        assert self.board.pump.armed

    def write(self, cs, address, register, *values):
        self.board.spi(cs, bytes([0x40 | address << 1, register, *values]), None)

    def read(self, cs, address, register, count=2):
        inp = bytearray(2 + count)
        self.board.spi(cs, bytes([0x41 | address << 1, register]) + bytes(count), inp)
        return bytes(inp[2:])


def test_two_drivers_against_each_other_are_told_once_it_lasts():
    bare = Bare()
    bare.write(0, 0, OLAT, 0x02)
    bare.write(0, 0, IODIR, 0xFC)
    bare.read(0, 0, GPIO)
    bare.board.clock.advance(400_000)
    with pytest.raises(faults.DriversFighting, match="1 low, 2 high"):
        bare.read(0, 0, GPIO)


def test_two_drivers_against_each_other_for_a_transaction_are_let_pass():
    bare = Bare()
    bare.write(0, 0, IODIR, 0xFC)
    bare.write(0, 0, OLAT, 0x02)
    bare.read(0, 0, GPIO)
    bare.write(0, 0, OLAT, 0x03)
    bare.board.clock.advance(10_000_000)
    assert bare.read(0, 0, GPIO)[0] & 3 == 3


def test_a_high_and_a_low_driver_on_circuits_that_only_leak_do_not_fight():
    bare = Bare({"leak": [{"a": "D-1", "b": "D-2", "ohms": 22000}]})
    bare.write(0, 0, OLAT, 0x02)
    bare.write(0, 0, IODIR, 0xFC)
    bare.board.clock.advance(10_000_000)
    assert bare.read(0, 0, GPIO)[0] & 3 == 2


def test_a_voltage_that_arrives_at_a_driving_pin_is_over_its_current():
    bare = Bare({})
    bare.write(0, 0, IODIR, 0xFE)
    bare.bench.plug({"voltage": [{"at": "D-1", "volts": 16, "ohms": 0.1}]})
    with pytest.raises(faults.PinOverCurrent, match=r"channel 1 carries 1\d\.\d mA, limit 10 mA"):
        bare.read(0, 0, GPIO)


@pytest.mark.parametrize("volts", [12.6, 1.5, 0.9, -0.6, -12.0])
def test_driving_a_circuit_that_holds_a_voltage_is_told(volts):
    bare = Bare({"voltage": [{"at": "D-2", "volts": volts}], **PAIR})
    with pytest.raises(faults.DrivenWhileLive, match="channel 1 "):
        bare.write(0, 0, IODIR, 0xFE)


@pytest.mark.parametrize("volts", [0.2, -0.1, 0.0])
def test_driving_a_circuit_held_near_ground_is_let_pass(volts):
    bare = Bare({"voltage": [{"at": "D-2", "volts": volts}], **PAIR})
    bare.write(0, 0, IODIR, 0xFE)
    assert not bare.read(0, 0, GPIO)[0] & 2


def test_driving_beside_a_voltage_on_another_circuit_is_let_pass():
    bare = Bare({"voltage": [{"at": "D-3", "volts": 12.6}], **PAIR})
    bare.write(0, 0, IODIR, 0xFE)
    assert not bare.read(0, 0, GPIO)[0] & 2


def chain(force=0xF0, minus=0xF0, plus=0xF0):
    return bytes([0xF0] * 9 + [force, minus, plus])


@pytest.mark.parametrize(
    ("out", "bus"),
    [
        (chain(plus=0xC0), r"S\+ bus: channels 1 and 17"),
        (chain(minus=0x03), "S- bus: channels 4 and 20"),
        (chain(force=0x9F), "force bus: channels 32 and 48"),
    ],
)
def test_two_multiplexer_channels_on_one_bus_are_told(out, bus):
    with pytest.raises(faults.TwoMuxChannels, match=bus):
        Bare().board.mux(out)


def test_two_cards_on_one_bus_are_told_and_one_channel_on_each_bus_is_let_pass():
    bare = Bare(cards=2)
    bare.board.mux(bytes([0xF0] * 6 + [0xF0, 0xF0, 0xF0]) + bytes([0xE0, 0xD1, 0xB2]))
    assert bare.board.multiplexers.now == [2 + 32, 1 + 16, 0]
    with pytest.raises(faults.TwoMuxChannels, match=r"S\+ bus: channels 35 and 65"):
        bare.board.mux(bytes([0xF0] * 6 + [0xF0, 0xF0, 0xE0]) + bytes([0xE0, 0xD1, 0xB2]))


@pytest.mark.parametrize("register", [IODIR, GPIO, OLAT])
def test_an_expander_used_before_its_address_mode_is_set_is_told(register):
    bare = Bare(addressed=False)
    with pytest.raises(faults.AddressModeUnset, match=r"written while IOCON\.HAEN is not set in expanders 0, 1, 2, 3"):
        bare.write(0, 0, register, 0xFF)
    with pytest.raises(faults.AddressModeUnset, match="read while"):
        bare.read(0, 0, register)


def test_after_the_dead_man_drops_the_address_mode_must_be_set_again():
    bare = Bare()
    bare.board.clock.advance(200_000_000)
    assert not bare.board.pump.armed
    bare.arm()
    with pytest.raises(faults.AddressModeUnset):
        bare.read(0, 0, GPIO)


def test_the_other_register_bank_is_told_as_not_modelled():
    with pytest.raises(faults.NotModelled, match="BANK"):
        Bare(addressed=False).write(0, 0, IOCON, 0x88)


def test_a_fault_is_no_exception_that_firmware_could_swallow():
    assert not issubclass(faults.ElectricalFault, Exception)
