"""One virtual board: chips, circuit, clock and trace put together the way the real one is wired."""

from __future__ import annotations

import random
from collections.abc import MutableMapping
from dataclasses import dataclass, field

from hwspec.circuit import starter
from hwspec.virtual import defects, faults
from hwspec.virtual.circuit import RAIL_RELEASED, Circuit
from hwspec.virtual.clock import Clock
from hwspec.virtual.component import Component
from hwspec.virtual.converter import ADDRESS, Converter
from hwspec.virtual.expander import Expander, ExpanderBus
from hwspec.virtual.harness import Harness
from hwspec.virtual.leads import Leads
from hwspec.virtual.multiplexer import TREES, Multiplexers
from hwspec.virtual.parts import PER_CARD, Parts
from hwspec.virtual.pump import Pump
from hwspec.virtual.trace import Trace
from hwspec.virtual.wiring import BOARD_GROUND, build, point

STARTER_CHANNELS = starter.CHANNELS


@dataclass
class Options:
    """How a board is made. `parts`: None draws them from the seed. `overhead_us`: cost of one bus call.

    `defects`: texts of `defects.py`.
    """

    build: str = "full"
    cards: int = 1
    channels: int | None = None
    seed: int = 0
    parts: Parts | None = None
    overhead_us: float = 25.0
    worst_leakage: bool = False
    defects: tuple[str, ...] = ()
    store: MutableMapping[str, bytes] = field(default_factory=dict)

    def channel_count(self) -> int:
        """Test points on this board."""
        full = STARTER_CHANNELS if self.build == "starter" else PER_CARD * self.cards
        return full if self.channels is None else min(full, self.channels)

    def drawn(self) -> Parts:
        """The parts that the seed gives."""
        if self.build == "starter":
            return Parts.starter(self.seed, self.worst_leakage)
        return Parts.drawn(PER_CARD * self.cards, self.seed, self.worst_leakage)

    def nominal(self) -> Parts:
        """Every part at its nominal value."""
        return Parts.starter() if self.build == "starter" else Parts.nominal(PER_CARD * self.cards)


class VirtualBoard:
    """The hardware below the firmware. `circuit`, `clock`, `trace`, `pump` and the chips are open to tests."""

    def __init__(self, harness: Harness, leads: Leads | None, options: Options, trace: Trace | None = None) -> None:
        self.options = options
        self.clock = Clock(int(options.overhead_us * 1000))
        self.trace = trace or Trace()
        self.harness, self.leads = harness, leads
        self.touches: list[tuple[str, str]] = []
        self.powered = True
        self.parts = options.parts or options.drawn()
        self.defects = defects.apply(self.parts, options.defects)
        self.circuit = Circuit(self.parts, self._pieces(), self.clock, self.trace, options.seed + harness.noise_seed)
        self.converter = Converter(self.clock, self.circuit, random.Random(f"hiss {options.seed}"))
        self.parts.fit(self.converter)
        self.pump = Pump(self.clock, self.parts.pump_on, self.parts.pump_off)
        self.clock.on_alarm = self._pump_ran_down
        self.pump_level = 0
        self._rail = RAIL_RELEASED
        full = options.build == "full"
        self.expanders = [
            Expander(n, n // 4 % 2 * 4 + n % 4, self.circuit.levels, self.circuit.set_pins)
            for n in range(4 * options.cards if full else 0)
        ]
        alive = [[chip for chip in pair if chip.index not in self.defects.dead] for pair in self._pairs()]
        self.buses = [ExpanderBus(chips) for chips in alive]
        self.multiplexers = Multiplexers(options.cards if full else 0, self._mux_selected)
        if not full:
            self.circuit.set_rail(RAIL_RELEASED)

    def _pieces(self) -> list[Component]:
        cards = (len(self.parts.cells) + PER_CARD - 1) // PER_CARD
        bridges = [(point(a), point(b)) for a, b in self.defects.bridges]
        return build(self.parts, self.leads, self.harness, cards, self.touches + bridges)

    def _pairs(self) -> tuple[list[Expander], list[Expander]]:
        """Expanders by chip select: two cards each."""
        return self.expanders[0:8], self.expanders[8:16]

    # -- dead man -----------------------------------------------------------------------------------------------------

    def arm_pin(self, level: int) -> None:
        """The pump pin changed. Nothing hangs on it on the starter board, whose call feeds the processor's watchdog."""
        if level != self.pump_level and self.options.build == "full":
            self.pump_level = level
            if self.pump.edge(level):
                self._armed(True)
            self.clock.alarm = self.pump.drops_at()

    def _pump_ran_down(self) -> None:
        self.pump.armed = False
        self._armed(False)

    def _armed(self, armed: bool) -> None:
        self.trace.add(self.clock.now, "reset", "all", "high" if armed else "low")
        for bus in self.buses:
            bus.hold_reset(not armed)
        self.multiplexers.enable_outputs(armed)
        self.circuit.set_rail(self._rail if armed else RAIL_RELEASED)

    def rail_pins(self, state: int) -> None:
        """Level and enable of the rail buffer; the enable also needs ARM. Starter: the pin itself, no ARM."""
        self._rail = state
        if self.pump.armed or self.options.build == "starter":
            self.circuit.set_rail(state)

    def _mux_selected(self, tree: int, channel: int) -> None:
        self.trace.add(self.clock.now, "mux", TREES[tree], str(channel + 1) if channel >= 0 else "off")
        self.circuit.set_mux(tree, channel)

    # -- traffic ------------------------------------------------------------------------------------------------------

    def spi(self, cs: int, out: bytes, inp: bytearray | None) -> None:
        """One transaction with the expanders on a chip select; bits arrive, then it takes effect."""
        self.clock.spi(len(out))
        self.buses[cs].transfer(out, inp)

    def mux(self, out: bytes) -> None:
        """Shift into the chain of registers and latch."""
        self.clock.spi(len(out))
        self.multiplexers.shift(out)
        self.multiplexers.latch()

    def i2c_write(self, address: int, data: bytes) -> None:
        """I2C write; OSError when nobody answers."""
        self.clock.i2c(len(data))
        self._answering(address).write(data)

    def i2c_read(self, address: int, count: int) -> bytes:
        """I2C read; OSError when nobody answers."""
        self.clock.i2c(count)
        return self._answering(address).read(count)

    def _answering(self, address: int) -> Converter:
        if address != ADDRESS or self.options.build != "full" or self.defects.no_converter:
            raise OSError(5, "no device answers on the bus")
        return self.converter

    def reference(self, state: int) -> None:
        """Spare reference cell on the main board."""
        self.clock.advance(self.clock.overhead_ns)
        self.circuit.set_reference(state)

    def gpio_set(self, enable: int, level: int) -> None:
        """Starter build: all pins at once."""
        self.clock.advance(2000)
        for channel in range(len(self.parts.cells)):
            bit = 1 << channel
            self.circuit.set_pin(channel, 0 if not enable & bit else 2 if level & bit else 1)

    def gpio_get(self) -> int:
        """Starter build: all levels."""
        self.clock.advance(2000)
        return self.circuit.levels(0) | self.circuit.levels(1) << 16

    # -- the bench ----------------------------------------------------------------------------------------------------

    def plug(self, harness: Harness) -> None:
        """Another harness on the same leads."""
        self.harness = harness
        self._rewire("another harness is plugged in")

    def wire(self, leads: Leads) -> None:
        """The same harness on other leads."""
        self.leads = leads
        self._rewire("other leads are plugged in")

    def touch(self, cavity: str | None, other: str | None = None) -> None:
        """Hold a probe to a cavity, against `other`, else the leads' probe channel, else board ground. None: off."""
        self.touches = []
        if cavity is not None:
            probe = self.leads.probe if self.leads is not None else None
            against = other or (point(probe) if probe is not None else BOARD_GROUND)
            self.touches = [(cavity, against)]
        self._rewire(f"probe at {cavity}" if cavity else "probe off")

    def _rewire(self, what: str) -> None:
        self.circuit.install(self._pieces())
        self.trace.add(self.clock.now, "harness", what, "")

    def power_off(self) -> None:
        """USB unplugged: everything dead at once; chips restart blank with `power_on`."""
        self.powered = False
        self.pump.discharge()
        self.pump_level, self._rail = 0, RAIL_RELEASED
        self.clock.alarm = self.pump.drops_at()
        self._armed(False)
        self.circuit.set_reference(0)
        self.multiplexers.shift(bytes([0xF0] * (3 * self.options.cards)))
        self.multiplexers.latch()
        if self.options.build == "starter":
            self.gpio_set(0, 0)

    def power_on(self) -> None:
        """USB plugged in again."""
        self.powered = True
        self.converter.power_on()

    def blow(self, fault: faults.ElectricalFault) -> None:
        """Note a fault in the trace."""
        fault.at_us = fault.at_us or self.clock.us
        self.trace.add(self.clock.now, "fault", type(fault).__name__, fault.message)
        self.trace.flush()
