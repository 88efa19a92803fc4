"""Chip models against drivers that other people wrote for the real chips.

Sources: adafruit-circuitpython-mcp230xx (MCP23S17 over SPI) and adafruit-circuitpython-ads1x15 (ADS1115 over I2C),
both from the package registry, talking to the models through stand-in buses.
"""

from __future__ import annotations

import random

import pytest

from hwspec.virtual.clock import Clock
from hwspec.virtual.converter import ADDRESS, Converter
from hwspec.virtual.expander import Expander, ExpanderBus

mcp23s17 = pytest.importorskip("adafruit_mcp230xx.mcp23s17", reason="the outside driver installs on Linux only")
ads1115 = pytest.importorskip("adafruit_ads1x15.ads1115", reason="the outside driver installs on Linux only")
digitalio = pytest.importorskip("digitalio")
analog_in = pytest.importorskip("adafruit_ads1x15.analog_in")


class Pins:
    """Sixteen pins of each chip: what the chip drives, and what the outside holds."""

    def __init__(self) -> None:
        self.outside = [0] * 8
        self.seen: dict[int, tuple[int, int, int]] = {}

    def levels(self, chip: int) -> int:
        iodir, olat, _ = self.seen.get(chip, (0xFFFF, 0, 0))
        return (olat & ~iodir) | (self.outside[chip] & iodir)

    def changed(self, chip: int, mask: int, iodir: int, olat: int, gppu: int) -> None:
        self.seen[chip] = (iodir, olat, gppu)


class StandInSpi:
    """`busio.SPI` towards one chip select: a transaction is what happens while the chip select is low."""

    def __init__(self, bus: ExpanderBus) -> None:
        self.bus, self.out = bus, bytearray()
        self._locked = False

    def try_lock(self) -> bool:
        self._locked = True
        return True

    def unlock(self) -> None:
        self._locked = False

    def configure(self, **options: object) -> None:
        assert self._locked

    def write(self, data: bytes, *, start: int = 0, end: int | None = None) -> None:
        self.out += data[start:end]

    def write_readinto(self, out: bytes, inp: bytearray, **span: int) -> None:
        start, end = span.get("out_start", 0), span.get("out_end", len(out))
        got = bytearray(end - start)
        self.bus.transfer(bytes(out[start:end]), got)
        inp[span.get("in_start", 0) : span.get("in_end", len(inp))] = got


class ChipSelect:
    """The chip select pin: going high ends the transaction."""

    def __init__(self, spi: StandInSpi) -> None:
        self.spi = spi
        self._value = True

    def switch_to_output(self, value: bool = True, **_: object) -> None:
        self._value = value

    @property
    def value(self) -> bool:
        return self._value

    @value.setter
    def value(self, level: bool) -> None:
        if level and not self._value and self.spi.out:
            self.spi.bus.transfer(bytes(self.spi.out), None)
            self.spi.out.clear()
        self._value = level


def chips(count: int) -> tuple[Pins, list[Expander], StandInSpi, ChipSelect]:
    pins = Pins()
    made = [Expander(n, n, pins.levels, pins.changed) for n in range(count)]
    bus = ExpanderBus(made)
    bus.hold_reset(False)
    spi = StandInSpi(bus)
    return pins, made, spi, ChipSelect(spi)


def test_an_outside_driver_sets_directions_levels_and_pull_ups_of_one_expander():
    pins, _, spi, select = chips(1)
    driver = mcp23s17.MCP23S17(spi, select)
    driver.iodir = 0x0FF0
    driver.gpio = 0xA00A
    driver.gppu = 0x0550
    assert pins.seen[0] == (0x0FF0, 0xA00A, 0x0550)
    assert (driver.iodir, driver.gppu) == (0x0FF0, 0x0550)


def test_an_outside_driver_reads_back_inputs_and_its_own_outputs():
    pins, _, spi, select = chips(1)
    driver = mcp23s17.MCP23S17(spi, select)
    driver.iodir = 0xFF00
    driver.gpio = 0x003C
    pins.outside[0] = 0x5A5A
    assert driver.gpio == 0x5A3C
    assert (driver.gpioa, driver.gpiob) == (0x3C, 0x5A)


def test_an_outside_drivers_single_pin_inverts_pulls_and_drives():
    pins, _, spi, select = chips(1)
    driver = mcp23s17.MCP23S17(spi, select)
    pin = driver.get_pin(9)
    pin.switch_to_input(pull=digitalio.Pull.UP, invert_polarity=True)
    pins.outside[0] = 1 << 9
    assert pin.value is False
    pins.outside[0] = 0
    assert pin.value is True
    pin.switch_to_output(value=True)
    assert pins.seen[0] == (0xFFFF & ~(1 << 9), 1 << 9, 1 << 9)


def test_with_haen_set_outside_drivers_reach_each_of_eight_expanders_by_its_address():
    pins, made, spi, select = chips(8)
    spi.bus.transfer(bytes([0x40, 0x0A, 0x08]), None)
    assert all(chip.haen for chip in made)
    rng = random.Random(5)
    wanted = {}
    for address in range(8):
        driver = mcp23s17.MCP23S17(spi, select, address=0x20 + address, reset=False)
        wanted[address] = (rng.getrandbits(16), rng.getrandbits(16))
        driver.iodir, driver.gpio = wanted[address]
    assert {n: seen[:2] for n, seen in pins.seen.items()} == wanted


class StandInI2c:
    """`busio.I2C` with the converter alone on it. Reading the host's clock lets virtual time pass."""

    def __init__(self, clock: Clock, chip: Converter) -> None:
        self.clock, self.chip = clock, chip

    def try_lock(self) -> bool:
        return True

    def unlock(self) -> None:
        """Nothing to free."""

    def writeto(self, address: int, data: bytes, *, start: int = 0, end: int | None = None, **_: object) -> None:
        assert address == ADDRESS
        self.clock.i2c(len(data))
        self.chip.write(bytes(data[start:end]))

    def readfrom_into(
        self, address: int, buf: bytearray, *, start: int = 0, end: int | None = None, **_: object
    ) -> None:
        self.clock.i2c(len(buf))
        part = buf[start:end]
        buf[start:end] = self.chip.read(len(part))

    def writeto_then_readfrom(self, address: int, out: bytes, inp: bytearray, **span: int) -> None:
        self.writeto(address, out)
        self.readfrom_into(address, inp)


class Steady:
    """Four inputs at fixed voltages."""

    inputs = (1.25, -0.5, 0.1, 3.0)

    def volts(self, pair: tuple[int, int], differential_ohms: float, common_ohms: float, at: int) -> float:
        return self.inputs[pair[0]] - (self.inputs[pair[1]] if pair[1] >= 0 else 0.0)


def converter(**options: object) -> tuple[Clock, Converter, object]:
    clock = Clock()
    chip = Converter(clock, Steady())
    chip.noise = 0.0
    return clock, chip, ads1115.ADS1115(StandInI2c(clock, chip), **options)


@pytest.mark.parametrize(
    ("gain", "full_scale"), [(2 / 3, 6.144), (1, 4.096), (2, 2.048), (4, 1.024), (8, 0.512), (16, 0.256)]
)
def test_an_outside_driver_reads_each_input_at_each_gain_and_sees_clipping(gain, full_scale):
    _, _, driver = converter(gain=gain)
    for number, volts in enumerate(Steady.inputs):
        clipped = max(-full_scale, min(full_scale * 32767 / 32768, volts))
        assert analog_in.AnalogIn(driver, number).voltage == pytest.approx(clipped, abs=full_scale / 32768)


def test_an_outside_driver_reads_the_four_differential_pairs():
    _, _, driver = converter(gain=2 / 3)
    for plus, minus in ((0, 1), (0, 3), (1, 3), (2, 3)):
        expected = Steady.inputs[plus] - Steady.inputs[minus]
        assert analog_in.AnalogIn(driver, plus, minus).voltage == pytest.approx(expected, abs=2e-4)


def test_a_conversion_takes_the_time_of_its_data_rate():
    for rate in (8, 128, 860):
        clock, _, driver = converter(gain=1, data_rate=rate)
        before = clock.now
        analog_in.AnalogIn(driver, 0).value  # noqa: B018 - the reading is what takes the time
        assert 1 / rate <= (clock.now - before) / 1e9 <= 1 / rate + 0.002


def test_an_outside_driver_in_continuous_mode_gets_a_value_of_the_present(monkeypatch):
    clock, _, driver = converter(gain=1, data_rate=860)
    analog_in.AnalogIn(driver, 3).value  # noqa: B018 - this driver chooses an input in single mode only
    driver.mode = 0
    clock.advance(5_000_000)
    assert driver.get_last_result() * 4.096 / 32768 == pytest.approx(3.0, abs=2e-4)
    monkeypatch.setattr(Steady, "inputs", (0, 0, 0, 2.0))
    clock.advance(5_000_000)
    assert driver.get_last_result() * 4.096 / 32768 == pytest.approx(2.0, abs=2e-4)


def test_thresholds_set_by_an_outside_driver_read_back():
    _, _, driver = converter(gain=1)
    driver.comparator_low_threshold, driver.comparator_high_threshold = -1234, 4321
    assert (driver.comparator_low_threshold, driver.comparator_high_threshold) == (-1234, 4321)
