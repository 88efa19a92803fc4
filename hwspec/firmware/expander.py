"""MCP23S17 expanders of the full build: set-up after arming, and the pieces that scans are compiled from.

Channel c (1..256): k = c - 1; port k // 8 (two ports a chip), chip k // 16, card k // 64.
Chip select = card // 2, hardware address = (card % 2) * 4 + chip of the card.
"""

from .compat import const
from .errors import ScpiError
from .guard import PAUSED, Guard
from .limits import CHANNELS_PER_CARD
from .programme import Programme, play

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .hal import Hal


_IODIR = const(0x00)
_GPINTEN = const(0x04)
_IOCON = const(0x0A)
_GPPU = const(0x0C)
_GPIO = const(0x12)
_OLAT = const(0x14)
_HAEN = const(0x08)


class Expanders:
    """All expanders of all cards. At rest every channel is an input with its latch low."""

    def __init__(self, hal: "Hal", guard: Guard) -> None:
        self.hal = hal
        self.guard = guard
        self.channels = CHANNELS_PER_CARD * hal.cards
        self.chips = 4 * hal.cards
        self._reads: list[int] = []
        self._looked: list[int] = []
        self._kept = bytearray(2 * self.chips)
        self._out = bytearray(4)
        self._inp = bytearray(4)
        self._pair = bytearray(2)

    def opcode(self, chip: int) -> int:
        """Write opcode of chip 0..15 on its chip select."""
        return 0x40 | (chip // 4 % 2 * 4 + chip % 4) << 1

    def write2(self, chip: int, register: int, a: int, b: int) -> None:
        """Write both ports of a register at once."""
        out = self._out
        out[0] = self.opcode(chip)
        out[1] = register
        out[2] = a
        out[3] = b
        self.hal.spi(chip // 8, out, None)

    def read2(self, chip: int, register: int) -> int:
        """Read both ports of a register: port A in the low byte."""
        out = self._out
        out[0] = self.opcode(chip) | 1
        out[1] = register
        out[2] = 0
        out[3] = 0
        self.hal.spi(chip // 8, out, self._inp)
        return self._inp[2] | self._inp[3] << 8

    def ready(self) -> None:
        """Make sure that the expanders are armed, addressed and released. Raises -221 without a lease, -240.

        What may still be driven is let go before the pump begins: the pump would keep it alive. Where an expander
        does not answer, the pump stops, and the hardware lets go.
        """
        if not self.guard.held:
            raise ScpiError(-221, "no lease")
        if self.guard.doubt or not self._as_set_up():
            self.guard.doubt = True
            self.release()
            self.guard.arm()
            try:
                self._set_up()
            except ScpiError:
                self.guard.pumping = False
                raise
        self.hal.rail(1)

    def _as_set_up(self) -> bool:
        for chip in range(self.chips):
            self.guard.pump()
            if self.read2(chip, _IOCON) & 0xFF != _HAEN or self.read2(chip, _IODIR) != 0xFFFF:
                return False
        return True

    def _set_up(self) -> None:
        """Address mode first (reset clears it), then everything input and low, then read back."""
        if not self.chips:
            raise ScpiError(-240, "no card answers")
        self._address()
        for chip in range(self.chips):
            self.guard.pump()
            self.write2(chip, _IOCON, _HAEN, _HAEN)
            self.write2(chip, _IODIR, 0xFF, 0xFF)
            self.write2(chip, _OLAT, 0, 0)
            self.write2(chip, _GPPU, 0, 0)
            self.write2(chip, _GPINTEN, 0, 0)
        for chip in range(self.chips):
            self.guard.pump()
            if self.read2(chip, _IODIR) != 0xFFFF or self.read2(chip, _IOCON) & 0xFF != _HAEN:
                raise ScpiError(-240, "expander %d does not answer" % (chip + 1))
        self.guard.doubt = False

    def _address(self) -> None:
        """Every chip that a reset left without its own address hears this."""
        for chip in range(0, self.chips, 8):
            out = bytearray((0x40, _IOCON, _HAEN))
            self.hal.spi(chip // 8, out, None)

    def release(self) -> None:
        """Everything input and latch low, at once, also where the pump paused and it is not known what a reset left."""
        if self.guard.doubt:
            self._address()
        for chip in range(self.chips):
            self.write2(chip, _IODIR, 0xFF, 0xFF)
            self.write2(chip, _OLAT, 0, 0)
        self.guard.pump()

    def want(self, read: "list[int]") -> None:
        """Which channels the following scans read."""
        self._reads = sorted(set([(c - 1) // 16 for c in read]))
        self._looked = list(range(len(self._reads)))

    def row_ports(self) -> "list[int]":
        """Port (of eight channels) of each result byte of one read."""
        ports: list[int] = []
        for chip in self._reads:
            ports.extend((2 * chip, 2 * chip + 1))
        return ports

    def read_into(self, result: bytearray) -> None:
        """Read all wanted chips now but those left out, two result bytes each. Allocates nothing."""
        hal = self.hal
        out = self._out
        inp = self._inp
        out[1] = _GPIO
        out[2] = 0
        out[3] = 0
        reads = self._reads
        for place in self._looked:
            chip = reads[place]
            out[0] = 0x41 | (chip & 7) << 1
            hal.spi(chip >> 3, out, inp)
            result[2 * place] = inp[2]
            result[2 * place + 1] = inp[3]

    def emit_read(self, programme: Programme) -> None:
        """Read all wanted chips."""
        for chip in self._reads:
            programme.read(chip // 8, self.opcode(chip) | 1, _GPIO)

    def emit_read_of(self, programme: Programme, channel: int) -> int:
        """Read the chip of one channel; which of the two result bytes holds it."""
        chip = (channel - 1) // 16
        programme.read(chip // 8, self.opcode(chip) | 1, _GPIO)
        return (channel - 1) // 8 % 2

    def emit_drive_one(self, programme: Programme, channel: int) -> None:
        """Drive one channel low; everything else is at rest."""
        k = channel - 1
        programme.write3(k // 128, self.opcode(k // 16), _IODIR + k // 8 % 2, 0xFF ^ 1 << k % 8)

    def emit_release_one(self, programme: Programme, channel: int, release_us: int) -> None:
        """Active release of the one driven channel: latch high for the release time, input, latch low."""
        k = channel - 1
        cs = k // 128
        opcode = self.opcode(k // 16)
        port = k // 8 % 2
        programme.write3(cs, opcode, _OLAT + port, 1 << k % 8)
        programme.wait(release_us)
        programme.write3(cs, opcode, _IODIR + port, 0xFF)
        programme.write3(cs, opcode, _OLAT + port, 0)

    def _masks(self, driven: "list[int]") -> "list[tuple[int, int, int]]":
        masks: dict[int, int] = {}
        for i in range(len(driven)):
            c = driven[i]
            chip = (c - 1) // 16
            if not i & 31:
                self.guard.pump()
            masks[chip] = masks.get(chip, 0) | 1 << (c - 1) % 16
        return [(chip, masks[chip] & 255, masks[chip] >> 8) for chip in sorted(masks)]

    def emit_drive(self, programme: Programme, driven: "list[int]") -> None:
        """Drive several channels low; everything else is at rest."""
        for chip, a, b in self._masks(driven):
            programme.write4(chip // 8, self.opcode(chip), _IODIR, 0xFF ^ a, 0xFF ^ b)

    def emit_release(self, programme: Programme, driven: "list[int]", release_us: int) -> None:
        """Active release of several channels, so that none is ever high while another is still low."""
        masks = self._masks(driven)
        for chip, _, _ in masks:
            programme.write4(chip // 8, self.opcode(chip), _IODIR, 0xFF, 0xFF)
        self.guard.pump()
        for chip, a, b in masks:
            programme.write4(chip // 8, self.opcode(chip), _OLAT, a, b)
        for chip, a, b in masks:
            programme.write4(chip // 8, self.opcode(chip), _IODIR, 0xFF ^ a, 0xFF ^ b)
        self.guard.pump()
        programme.wait(release_us)
        for chip, _, _ in masks:
            programme.write4(chip // 8, self.opcode(chip), _IODIR, 0xFF, 0xFF)
        for chip, _, _ in masks:
            programme.write4(chip // 8, self.opcode(chip), _OLAT, 0, 0)

    def keep(self, driven: "list[int]") -> None:
        """Which channels stay driven low around `let_go`."""
        for i in range(len(self._kept)):
            self._kept[i] = 0
        for c in driven:
            self._kept[(c - 1) // 8] |= 1 << (c - 1) % 8

    def leave_out(self, mask: bytearray) -> None:
        """Let `read_into` leave out chips of whose read channels (`mask`, by result byte) each is kept driven."""
        looked = []
        for place in range(len(self._reads)):
            chip = self._reads[place]
            if mask[2 * place] & ~self._kept[2 * chip] or mask[2 * place + 1] & ~self._kept[2 * chip + 1]:
                looked.append(place)
        if looked:
            self._looked = looked

    def let_go(self, group: int, a: int, b: int, release_us: int, fall_us: int) -> int:
        """Read one chip with these of its kept channels driven high and then let go; they are low again afterwards,
        and read low `fall_us` later. Allocates nothing.
        """
        guard = self.guard
        hal = self.hal
        cs = group >> 3
        out = self._out
        kept_a = 0xFF ^ self._kept[2 * group]
        kept_b = 0xFF ^ self._kept[2 * group + 1]
        out[0] = 0x40 | (group & 7) << 1
        out[1] = _OLAT
        out[2] = a
        out[3] = b
        hal.spi(cs, out, None)
        hal.wait_us(release_us)
        out[1] = _IODIR
        out[2] = kept_a | a
        out[3] = kept_b | b
        hal.spi(cs, out, None)
        since = hal.ticks_us()
        out[1] = _OLAT
        out[2] = 0
        out[3] = 0
        hal.spi(cs, out, None)
        guard.wait_rest(since, fall_us)
        inp = self._inp
        out[0] |= 1
        out[1] = _GPIO
        hal.spi(cs, out, inp)
        out[0] &= 0xFE
        out[1] = _IODIR
        out[2] = kept_a
        out[3] = kept_b
        hal.spi(cs, out, None)
        return inp[2] | inp[3] << 8

    def _sure(self) -> None:
        """After a pause of the pump a reset may have left the chips without addresses: all would hear. Raises -240."""
        if self.guard.doubt:
            raise ScpiError(-240, PAUSED)

    def hold(self, channel: int, level: int) -> None:
        """Drive one channel high or low and leave it so, every other channel of its chip released. Raises -240."""
        self._sure()
        k = channel - 1
        bit = 1 << k % 16
        latch = bit if level else 0
        self.write2(k // 16, _OLAT, latch & 255, latch >> 8)
        self.write2(k // 16, _IODIR, 0xFF ^ bit & 255, 0xFF ^ bit >> 8)

    def hold_all(self, driven: "list[int]", level: int) -> None:
        """Drive several channels to one level and leave them so. Raises -240."""
        for chip, a, b in self._masks(driven):
            self.guard.pump()
            self._sure()
            self.write2(chip, _OLAT, a if level else 0, b if level else 0)
            self.write2(chip, _IODIR, 0xFF ^ a, 0xFF ^ b)

    def run(self, programme: Programme) -> None:
        """Play a programme; whatever happens, everything is released afterwards."""
        try:
            play(programme, self.hal, self.guard)
        except Exception:
            self.release()
            raise
