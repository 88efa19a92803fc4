"""Starter build: up to 24 channels straight on the processor's pins, behind the same calls as the expanders.

There is no dead-man hardware; the HAL's `arm` feeds the processor's watchdog, whose reset releases every pin.
There is no converter either: before driving, the pull-downs show a channel that something outside holds high.
"""

from .errors import ScpiError
from .guard import Guard
from .limits import VOLTAGE_SETTLE_US
from .programme import Programme, play

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .hal import Hal


class Pins:
    """The channels of the starter build. At rest every pin is an input and its level latch is low."""

    def __init__(self, hal: "Hal", guard: Guard) -> None:
        self.hal = hal
        self.guard = guard
        self.channels = hal.pins
        self._every = (1 << hal.pins) - 1
        self._kept = 0

    def ready(self) -> None:
        """Everything released, pulled up, and nothing held high from outside. Raises -221, -240."""
        if not self.guard.held:
            raise ScpiError(-221, "no lease")
        self.guard.begin()
        self.guard.doubt = False
        self.release()
        self.hal.rail(0)
        self.guard.wait(VOLTAGE_SETTLE_US)
        held = self.hal.gpio_get() & self._every
        self.hal.rail(1)
        if held:
            channel = 1
            while not held >> (channel - 1) & 1:
                channel += 1
            raise ScpiError(-240, "voltage on channel %d: high although pulled down" % channel)
        self.guard.wait(VOLTAGE_SETTLE_US)

    def release(self) -> None:
        """Everything input and latch low, at once."""
        self.hal.gpio_set(0, 0)

    def want(self, read: "list[int]") -> None:
        """Which channels the following scans read: always all."""

    def row_ports(self) -> "list[int]":
        """Port (of eight channels) of each result byte of one read."""
        return [0, 1, 2]

    def read_into(self, result: bytearray) -> None:
        """Read all channels now. Allocates nothing."""
        levels = self.hal.gpio_get()
        result[0] = levels & 255
        result[1] = levels >> 8 & 255
        result[2] = levels >> 16 & 255

    def keep(self, driven: "list[int]") -> None:
        """Which channels stay driven low around `let_go`."""
        self._kept = self._mask(driven)

    def leave_out(self, mask: bytearray) -> None:
        """All channels are read at once: nothing to leave out."""

    def let_go(self, group: int, a: int, b: int, release_us: int, fall_us: int) -> int:
        """Read 16 channels with some of the kept ones driven high and then let go; they are low again afterwards."""
        mask = (a | b << 8) << 16 * group
        self.hal.gpio_set(self._kept, mask)
        self.guard.wait(release_us)
        self.hal.gpio_set(self._kept & ~mask, 0)
        self.guard.wait(fall_us)
        levels = self.hal.gpio_get() >> 16 * group & 0xFFFF
        self.hal.gpio_set(self._kept, 0)
        return levels

    def emit_read(self, programme: Programme) -> None:
        """Read all channels."""
        programme.pins_get()

    def emit_read_of(self, programme: Programme, channel: int) -> int:
        """Read all channels; which of the three result bytes holds this one."""
        programme.pins_get()
        return (channel - 1) // 8

    def emit_drive_one(self, programme: Programme, channel: int) -> None:
        """Drive one channel low."""
        programme.pins_set(1 << channel - 1, 0)

    def emit_release_one(self, programme: Programme, channel: int, release_us: int) -> None:
        """Active release of the one driven channel."""
        bit = 1 << channel - 1
        programme.pins_set(bit, bit)
        programme.wait(release_us)
        programme.pins_set(0, 0)

    def emit_drive(self, programme: Programme, driven: "list[int]") -> None:
        """Drive several channels low."""
        programme.pins_set(self._mask(driven), 0)

    def emit_release(self, programme: Programme, driven: "list[int]", release_us: int) -> None:
        """Active release of several channels."""
        mask = self._mask(driven)
        programme.pins_set(mask, mask)
        programme.wait(release_us)
        programme.pins_set(0, 0)

    def _mask(self, driven: "list[int]") -> int:
        mask = 0
        for c in driven:
            mask |= 1 << c - 1
        return mask

    def run(self, programme: Programme) -> None:
        """Play a programme; whatever happens, everything is released afterwards."""
        try:
            play(programme, self.hal, self.guard)
        except Exception:
            self.release()
            raise
