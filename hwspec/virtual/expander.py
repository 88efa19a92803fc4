"""MCP23S17, register level: what of it the board uses, and what an outside driver library touches.

BANK = 0, sequential or byte mode, IODIR, IPOL, GPPU, GPIO, OLAT, IOCON with the hardware address enable, RESET.
The interrupt registers can be written and read back but never fire. Source: data sheet DS20001952, tables 3-1 to 3-5
(from memory; an outside driver library checks the map in tests/hwspec/virtual).
"""

from __future__ import annotations

from collections.abc import Callable

from hwspec.virtual.faults import AddressModeUnset, NotModelled

IODIRA, IODIRB, IPOLA, GPPUA, GPPUB = 0x00, 0x01, 0x02, 0x0C, 0x0D
IOCON, IOCON_B, GPIOA, GPIOB, OLATA, OLATB = 0x0A, 0x0B, 0x12, 0x13, 0x14, 0x15
INTFA, INTCAPB = 0x0E, 0x11
_COUNT = 0x16
_BANK, _SEQOP, _HAEN = 0x80, 0x20, 0x08
_WRITABLE_IOCON = 0x7E

PinsChanged = Callable[[int, int, int, int, int], None]


class Expander:
    """One chip. `index`: its number on the board, `address`: its hardware address pins (0..7).

    `levels(index)` gives the 16 pin levels; `changed(index, mask, iodir, olat, gppu)` is told of pins in `mask`.
    """

    def __init__(self, index: int, address: int, levels: Callable[[int], int], changed: PinsChanged) -> None:
        self.index = index
        self.address = address
        self.held = True
        self.registers = bytearray(_COUNT)
        self._levels = levels
        self._changed = changed
        self._clear()

    def _clear(self) -> None:
        self.registers[:] = bytes(_COUNT)
        self.registers[IODIRA] = self.registers[IODIRB] = 0xFF

    @property
    def haen(self) -> bool:
        """True once the hardware address is enabled."""
        return bool(self.registers[IOCON] & _HAEN)

    def hold_reset(self, held: bool) -> None:
        """RESET line low (held) or high. Reset clears all registers and makes every pin an input."""
        self.held = held
        if held:
            driven = self._word(IODIRA) ^ 0xFFFF
            pulled = self._word(GPPUA)
            self._clear()
            if driven | pulled:
                self._changed(self.index, driven | pulled, 0xFFFF, 0, 0)

    def _word(self, register: int) -> int:
        return self.registers[register] | self.registers[register + 1] << 8

    def write(self, register: int, data: bytes) -> None:
        """A write transaction after its opcode and register byte."""
        before = self._word(IODIRA), self._word(OLATA), self._word(GPPUA)
        for value in data:
            self._write_one(register, value)
            register = self._next(register)
        iodir, olat, gppu = self._word(IODIRA), self._word(OLATA), self._word(GPPUA)
        driven = ~iodir & 0xFFFF
        mask = (before[0] ^ iodir) | ((before[1] ^ olat) & driven) | (before[2] ^ gppu)
        if mask:
            self._changed(self.index, mask, iodir, olat, gppu)

    def _write_one(self, register: int, value: int) -> None:
        if register >= _COUNT or INTFA <= register <= INTCAPB:
            return
        if register in (IOCON, IOCON_B):
            if value & _BANK:
                raise NotModelled(f"expander {self.index}: IOCON.BANK = 1")
            self.registers[IOCON] = self.registers[IOCON_B] = value & _WRITABLE_IOCON
        elif register in (GPIOA, GPIOB):
            self.registers[register + 2] = value
        else:
            self.registers[register] = value

    def _next(self, register: int) -> int:
        if self.registers[IOCON] & _SEQOP:
            return register ^ 1
        return register + 1 if register < _COUNT - 1 else 0

    def read(self, register: int, count: int) -> bytes:
        """`count` bytes from `register` on."""
        found = bytearray(count)
        levels = -1
        for place in range(count):
            if register in (GPIOA, GPIOB):
                if levels < 0:
                    levels = self._levels(self.index)
                port = register - GPIOA
                found[place] = (levels >> (8 * port) & 0xFF) ^ self.registers[IPOLA + port]
            elif register < _COUNT:
                found[place] = self.registers[register]
            register = self._next(register)
        return bytes(found)


class ExpanderBus:
    """All chips on one chip select. Answers like the wire: a chip that is not addressed stays silent (zeros)."""

    def __init__(self, chips: list[Expander]) -> None:
        self.chips = chips
        self._by_address = {chip.address: chip for chip in chips}
        self._all_addressed = False

    def hold_reset(self, held: bool) -> None:
        """RESET of all chips on this chip select."""
        self._all_addressed = False
        for chip in self.chips:
            chip.hold_reset(held)

    def transfer(self, out: bytes, inp: bytearray | None) -> None:
        """One transaction: chip select low, `out` clocked out while `inp` is clocked in, chip select high."""
        size = len(out)
        if inp is not None:
            inp[:] = bytes(size)
        if size < 3 or not self.chips or self.chips[0].held or out[0] & 0xF0 != 0x40:
            return
        reading = out[0] & 1
        address = out[0] >> 1 & 7
        if self._all_addressed:
            chip = self._by_address.get(address)
            heard = [] if chip is None else [chip]
        else:
            heard = [c for c in self.chips if address == (c.address if c.haen else 0)]
            self._refuse_unaddressed(heard, reading, out[1])
        for chip in heard:
            if reading:
                if inp is not None:
                    inp[2:] = chip.read(out[1], size - 2)
            else:
                chip.write(out[1], out[2:])
        if not reading and out[1] <= IOCON_B < out[1] + size:
            self._all_addressed = all(chip.haen for chip in self.chips)

    def _refuse_unaddressed(self, heard: list[Expander], reading: int, register: int) -> None:
        unset = [chip.index for chip in heard if not chip.haen]
        if unset and len(self.chips) > 1 and (reading or register not in (IOCON, IOCON_B)):
            verb = "read" if reading else "written"
            raise AddressModeUnset(
                f"register 0x{register:02X} {verb} while IOCON.HAEN is not set in expanders "
                f"{', '.join(map(str, unset))}: they all answer to address 0"
            )
