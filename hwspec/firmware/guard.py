"""Lease and dead-man: the board drives only while a host holds it, and the pump runs only in these loops."""

from .compat import const
from .limits import ARM_MS

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .hal import Hal


_HALF_US = const(150)
_PIECE_US = const(250)
_LOST_US = const(12000)
PAUSED = "paused while it measured: nothing of it counts"


class Guard:
    """Lease clock, pump pin and board clock.

    `doubt` is set when the pump paused so long that the expanders may have fallen into reset; whoever drives must then
    set them up again; `lapses` counts such pauses.
    """

    def __init__(self, hal: "Hal") -> None:
        self.hal = hal
        self.held = False
        self.holder = 0
        self.length_us = 0
        self.doubt = True
        self.lapses = 0
        self.pumping = False
        self._renewed = 0
        self._level = 0
        self._toggled = hal.ticks_us()
        self._last = self._toggled
        self._rest = 0
        self._ms = 0

    def pump(self) -> None:
        """Toggle the pump pin when it is due. Allocates nothing."""
        if self.pumping:
            hal = self.hal
            now = hal.ticks_us()
            gap = hal.ticks_diff(now, self._toggled)
            if gap >= _HALF_US:
                if gap > _LOST_US:
                    self.doubt = True
                    self.lapses += 1
                self._level ^= 1
                hal.arm(self._level)
                self._toggled = now

    def wait(self, us: int) -> None:
        """Wait with the pump running. Allocates nothing."""
        hal = self.hal
        while us > _PIECE_US:
            hal.wait_us(_PIECE_US)
            us -= _PIECE_US
            self.pump()
        if us > 0:
            hal.wait_us(us)
        self.pump()

    def wait_rest(self, since: int, us: int) -> None:
        """Wait until `us` microseconds after the moment `since` of `ticks_us`. Pumps only while it is long.
        Allocates nothing.
        """
        left = us - self.hal.ticks_diff(self.hal.ticks_us(), since)
        if left > _PIECE_US:
            self.wait(left)
        elif left > 0:
            self.hal.wait_us(left)

    def begin(self) -> None:
        """Let the pump run. The rest before is no pause of it."""
        if not self.pumping:
            self.pumping = True
            self._toggled = self.hal.ticks_us()

    def arm(self) -> None:
        """Pump until the board is surely armed."""
        self.pumping = False
        self.begin()
        self.wait(ARM_MS * 1000)

    def milliseconds(self) -> int:
        """Board clock, counted from power on; to be asked at least every few minutes."""
        now = self.hal.ticks_us()
        self._rest += self.hal.ticks_diff(now, self._last)
        self._last = now
        self._ms += self._rest // 1000
        self._rest %= 1000
        return self._ms

    def grant(self, holder: int, ms: int) -> None:
        """Begin or prolong the lease."""
        self.held = True
        self.holder = holder
        self.length_us = ms * 1000
        self.renew()

    def renew(self) -> None:
        """Restart the lease time."""
        self._renewed = self.hal.ticks_us()

    def expired(self) -> bool:
        """The holder has been silent for longer than the lease."""
        return self.held and self.hal.ticks_diff(self.hal.ticks_us(), self._renewed) > self.length_us

    def drop(self) -> None:
        """End the lease; the pump stops and the hardware falls into reset by itself."""
        self.held = False
        self.holder = 0
        self.pumping = False
        self.doubt = True
