"""The firmware against the circuit's one source: limits, channel table, pins of the processor."""

from __future__ import annotations

import csv
import importlib
import sys
import tomllib
from pathlib import Path
from types import ModuleType
from typing import Any, ClassVar

import pytest

from hwspec.circuit.wiring import CHAIN, MAIN_PINS
from hwspec.firmware import limits
from hwspec.firmware.analog import GAIN_PPM, Trees
from hwspec.firmware.expander import Expanders
from hwspec.firmware.guard import _HALF_US, _LOST_US, _PIECE_US, Guard
from hwspec.firmware.programme import Programme

ROOT = Path(__file__).resolve().parents[3]
SHARED = tomllib.loads((ROOT / "hwspec" / "limits.toml").read_text())["limits"]


@pytest.mark.parametrize(
    ("mine", "key", "scale"),
    [
        (limits.CHANNELS_PER_CARD, "channels_per_card", 1),
        (limits.STARTER_CHANNELS, "starter_channels", 1),
        (limits.RELEASE_US, "release_us", 1),
        (limits.RELEASE_LONG_US, "release_long_us", 1),
        (limits.FALL_US, "fall_us", 1),
        (limits.WAIT_MAX_US, "wait_max_us", 1),
        (limits.ARM_MS, "arm_ms", 1),
        (limits.DEADMAN_MIN_MS, "deadman_min_ms", 1),
        (limits.LEASE_MIN_MS, "lease_min_ms", 1),
        (limits.LEASE_MAX_MS, "lease_max_ms", 1),
        (limits.DRIVE_SLICE_MS, "drive_slice_ms", 1),
        (limits.VOLTAGE_HIGH_MV, "voltage_high_v", 1000),
        (limits.VOLTAGE_LOW_MV, "voltage_low_v", 1000),
        (limits.HELD_DIFFERENCE_MV, "held_difference_v", 1000),
        (limits.FLOATING_HIGH_MV, "floating_high_v", 1000),
        (limits.VOLTAGE_SETTLE_US, "voltage_settle_us", 1),
        (limits.REFERENCE_MOHM, "reference_ohm", 1000),
        (limits.REFERENCE_CELL_MOHM, "reference_cell_ohm", 1000),
        (limits.MEASURE_SETTLE_US, "measure_settle_us", 1),
        (limits.PULLUP_CURRENT_NA, "pullup_current_ua", 1000),
        (limits.BASELINE_MOST_NA, "isolation_baseline_most", 1),
        (GAIN_PPM[5], "gain_ppm_256mv", 1),
        (GAIN_PPM[1], "gain_ppm_4096mv", 1),
    ],
)
def test_number_in_the_firmware_is_that_of_the_limits_file(mine: int, key: str, scale: int) -> None:
    assert mine == round(SHARED[key]["value"] * scale)


def test_pump_stays_within_what_was_simulated_and_pauses_are_noticed_in_time() -> None:
    """Half a period with and without a waiting piece; and doubt comes before the earliest reset."""
    fastest = 1e6 / (2 * _HALF_US)
    slowest = 1e6 / (2 * (_HALF_US + _PIECE_US))
    assert SHARED["pump_min_hz"]["value"] <= slowest <= fastest <= SHARED["pump_max_hz"]["value"]
    assert limits.DEADMAN_MIN_MS * 1000 > _LOST_US
    assert limits.SLICE_ESTIMATE_MS + limits.ARM_MS + 10 <= limits.DRIVE_SLICE_MS


class Wires:
    """Records what goes out."""

    build, cards, pins, root = "full", 4, 0, ""

    def __init__(self) -> None:
        self.spied: list[tuple[int, bytes]] = []
        self.shifted = b""

    def spi(self, cs: int, out: bytearray, inp: bytearray | None) -> None:
        self.spied.append((cs, bytes(out)))

    def mux(self, out: bytearray) -> None:
        self.shifted = bytes(out)

    def ticks_us(self) -> int:
        return 0

    def ticks_diff(self, later: int, earlier: int) -> int:
        return later - earlier

    def wait_us(self, us: int) -> None:
        pass


def table() -> list[dict[str, str]]:
    with (ROOT / "hwspec" / "circuit" / "pins.csv").open() as file:
        return list(csv.DictReader(file))


def test_each_channel_is_driven_on_the_pin_that_the_circuit_joins_it_to() -> None:
    """The channel table is made by walking the nets of the whole build; the firmware computes it."""
    wires: Any = Wires()
    expanders = Expanders(wires, Guard(wires))
    rows = table()
    assert [int(row["channel"]) for row in rows] == list(range(1, 257))
    for row in rows:
        programme = Programme()
        expanders.emit_drive_one(programme, int(row["channel"]))
        bit = int(row["bit"])
        assert row["pin"] == f"GP{'AB'[bit // 8]}{bit % 8}"
        wanted = (1, int(row["select"]), 0x40 | int(row["address"]) << 1, bit // 8, 0xFF ^ 1 << bit % 8)
        assert tuple(programme.code[:5]) == wanted, row


def test_each_channel_is_selected_by_the_register_that_the_circuit_gives_it() -> None:
    wires: Any = Wires()
    trees = Trees(wires, Guard(wires))
    place = {entry: 11 - n for n, entry in enumerate(CHAIN)}
    for row in table():
        for tree, name in enumerate(("SENSE_P", "SENSE_N", "FORCE")):
            wanted = [0xF0] * 12
            enables = 0xF0 ^ 0x10 << int(row["mux_chip"])
            wanted[place[int(row["card"]), name]] = enables | int(row["mux_input"])
            picked = [0, 0, 0]
            picked[tree] = int(row["channel"])
            trees.select(*picked)
            assert list(wires.shifted) == wanted, (row, name)


class FakePin:
    """A pin of the stand-in processor; every one that was made is remembered by its number."""

    IN, OUT, PULL_UP, PULL_DOWN = "in", "out", "up", "down"
    made: ClassVar[dict[int, FakePin]] = {}
    levels: ClassVar[dict[int, int]] = {}
    turned: ClassVar[list[int]] = []

    def __init__(self, number: int, mode: str = "in", pull: str | None = None, value: int | None = None) -> None:
        self.number, self.mode, self.pull = number, mode, pull
        FakePin.made[number] = self
        if value is not None:
            FakePin.levels[number] = value

    def init(self, mode: str, pull: str | None = None, value: int | None = None) -> None:
        self.__init__(self.number, mode, pull, value)  # type: ignore[misc]

    def __call__(self, value: int) -> None:
        FakePin.levels[self.number] = int(value)

    def value(self, *value: int) -> int:
        if value:
            FakePin.levels[self.number] = value[0]
            FakePin.turned.append(self.number)
        return FakePin.levels.get(self.number, 0)


class FakeBus:
    """SPI and I2C of the stand-in processor: expanders of one card answer with the address mode set."""

    def __init__(self, number: int, *_: object, **pins: Any) -> None:
        self.pins = {name: pin.number for name, pin in pins.items() if isinstance(pin, FakePin)}
        self.sent: list[tuple[int, bytes]] = []

    def write(self, out: bytes) -> None:
        selected = [MAIN_PINS[name] for name in ("CS0", "CS1") if FakePin.levels[MAIN_PINS[name]] == 0]
        self.sent.append((*selected, bytes(out)) if len(selected) == 1 else (0, bytes(out)))

    def write_readinto(self, out: bytes, inp: bytearray) -> None:
        inp[:] = b"\0\0\x08\x08" if FakePin.levels[17] == 0 and out[0] == 0x41 else bytes(4)


@pytest.fixture
def rp2040(monkeypatch: pytest.MonkeyPatch):
    machine: Any = ModuleType("machine")
    machine.Pin, machine.SPI, machine.I2C = FakePin, FakeBus, FakeBus
    machine.mem32 = {}
    machine.unique_id = lambda: b"12345678"
    micropython: Any = ModuleType("micropython")
    interrupts: list[int] = []
    micropython.kbd_intr = interrupts.append
    monkeypatch.setitem(sys.modules, "machine", machine)
    monkeypatch.setitem(sys.modules, "micropython", micropython)
    monkeypatch.setattr("time.sleep_us", lambda us: None, raising=False)
    monkeypatch.setattr("sys.stdin", open(0, "rb", closefd=False))  # noqa: SIM115
    FakePin.made, FakePin.levels, FakePin.turned = {}, {}, []
    module = importlib.import_module("hwspec.firmware.hal_rp2040")
    yield module, machine, interrupts
    sys.modules.pop("hwspec.firmware.hal_rp2040")


class NoPoll:
    def register(self, *_: object) -> None: ...


def test_full_build_uses_the_pins_of_the_main_board(rp2040: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    module, _, interrupts = rp2040
    monkeypatch.setattr(module, "poll", NoPoll)
    FakePin.levels[MAIN_PINS["STRAP"]] = 0
    hal = module.Rp2040()
    assert (hal.build, hal.cards, interrupts) == ("full", 1, [-1])
    assert hal._spi.pins == {"sck": MAIN_PINS["SCK"], "mosi": MAIN_PINS["MOSI"], "miso": MAIN_PINS["MISO"]}
    assert hal._i2c.pins == {"sda": MAIN_PINS["SDA"], "scl": MAIN_PINS["SCL"]}
    assert [pin.number for pin in hal._cs] == [MAIN_PINS["CS0"], MAIN_PINS["CS1"]]
    named = {"_latch": "LATCH", "_pump": "PUMP", "_level": "RAIL_A", "_enable": "RAIL_EN", "_switch": "REF_EN"}
    assert {name: getattr(hal, name).number for name in named} == {n: MAIN_PINS[k] for n, k in named.items()}
    assert hal._source.number == MAIN_PINS["REF_SRC"]
    assert set(FakePin.made) == set(MAIN_PINS.values())
    hal.reference(1)
    assert FakePin.levels[MAIN_PINS["REF_EN"]] == 1 and FakePin.made[MAIN_PINS["REF_SRC"]].mode == "out"
    hal.reference(0)
    assert FakePin.levels[MAIN_PINS["REF_EN"]] == 0 and FakePin.made[MAIN_PINS["REF_SRC"]].mode == "in"
    for state, level, enable in ((0, 0, 1), (1, 1, 1), (2, 0, 0)):
        hal.rail(state)
        assert FakePin.levels[MAIN_PINS["RAIL_EN"]] == enable
        assert not enable or FakePin.levels[MAIN_PINS["RAIL_A"]] == level


def test_start_lets_go_of_every_channel_before_the_pump_runs(rp2040: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """The processor may have been reset while its expanders drove; the pump would keep them driving."""
    module, _, _ = rp2040
    monkeypatch.setattr(module, "poll", NoPoll)
    FakePin.levels[MAIN_PINS["STRAP"]] = 0
    sent: list[tuple[int, bytes]] = []
    real = FakeBus.write

    def before_the_pump(bus: FakeBus, out: bytes) -> None:
        real(bus, out)
        if not FakePin.turned:
            sent.extend(bus.sent[-1:])

    monkeypatch.setattr(FakeBus, "write", before_the_pump)
    module.Rp2040()
    assert FakePin.turned.count(MAIN_PINS["PUMP"]) == len(FakePin.turned) > 0
    wanted = {(int(row["select"]), 0x40 | int(row["address"]) << 1) for row in table()}
    selects = {MAIN_PINS["CS0"]: 0, MAIN_PINS["CS1"]: 1}
    assert {(selects[pin], out[0]) for pin, out in sent if out[1:] == b"\x00\xff\xff"} == wanted


def test_starter_build_uses_the_pins_of_its_channels(rp2040: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    module, machine, _ = rp2040
    monkeypatch.setattr(module, "poll", NoPoll)
    FakePin.levels[MAIN_PINS["STRAP"]] = 1
    hal = module.Rp2040()
    with (ROOT / "hwspec" / "circuit" / "starter_pins.csv").open() as file:
        pins = {int(row["channel"]): int(row["gp"]) for row in csv.DictReader(file)}
    assert (hal.build, hal.cards, hal.pins) == ("starter", 0, len(pins))
    assert pins == {c: c - 1 for c in range(1, 21)}, "the masks of gpio_set are channel - 1 = GP"
    hal.gpio_set(0b101, 0b100)
    everything = (1 << 20) - 1
    assert machine.mem32 == {
        module._GPIO_OE_CLR: everything ^ 0b101,
        module._GPIO_OUT_CLR: everything ^ 0b100,
        module._GPIO_OUT_SET: 0b100,
        module._GPIO_OE_SET: 0b101,
    }
    machine.mem32[module._GPIO_IN] = 0x3FFFFFFF
    assert hal.gpio_get() == everything


def test_registers_of_the_pins_are_those_of_the_data_sheet(rp2040: Any) -> None:
    """RP2040 data sheet 2.3.1.7, SIO at 0xD0000000 (from memory)."""
    module, _, _ = rp2040
    names = ("_GPIO_IN", "_GPIO_OUT_SET", "_GPIO_OUT_CLR", "_GPIO_OE_SET", "_GPIO_OE_CLR")
    assert [getattr(module, name) - 0xD0000000 for name in names] == [0x04, 0x14, 0x18, 0x24, 0x28]
