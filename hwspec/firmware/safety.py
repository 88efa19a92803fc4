"""What must be known before the board drives: each driven channel was seen free of voltage since the lease began."""

from .errors import ScpiError
from .limits import FLOATING_HIGH_MV, HELD_DIFFERENCE_MV, VOLTAGE_HIGH_MV, VOLTAGE_LOW_MV


def is_stray(low_mv: int, high_mv: int) -> bool:
    """A channel carries a voltage. `low_mv`, `high_mv`: readings with the rail low and high.

    A channel that the rail cannot move is held from outside; held near 0 V it is grounded, which is no voltage.
    """
    if low_mv < VOLTAGE_LOW_MV or low_mv > FLOATING_HIGH_MV:
        return True
    difference = high_mv - low_mv
    held = -HELD_DIFFERENCE_MV < difference < HELD_DIFFERENCE_MV
    return held and low_mv > VOLTAGE_HIGH_MV


class Safety:
    """Outcome of the voltage checks of this lease. `needed` is False on a board without a converter."""

    def __init__(self, channels: int, needed: bool) -> None:
        self.needed = needed
        self._clean = bytearray(channels + 1)
        self._stray: dict[int, int] = {}

    def forget(self) -> None:
        """The lease ended: nothing is known any more."""
        for i in range(len(self._clean)):
            self._clean[i] = 0
        self._stray = {}

    def note(self, channel: int, low_mv: int, high_mv: int) -> None:
        """Take in a fresh reading of one channel, in millivolt."""
        if is_stray(low_mv, high_mv):
            self._stray[channel] = low_mv
            self._clean[channel] = 0
        else:
            self._stray.pop(channel, None)
            self._clean[channel] = 1

    def require(self, driven: "list[int]") -> None:
        """Refuse to drive: -240 while any channel carries a voltage, -221 where a channel was not checked."""
        if not self.needed:
            return
        if self._stray:
            channel = min(self._stray)
            mv = self._stray[channel]
            sign = "-" if mv < 0 else ""
            raise ScpiError(-240, "%s%d.%02d V on channel %d" % (sign, abs(mv) // 1000, abs(mv) % 1000 // 10, channel))
        for channel in driven:
            if not self._clean[channel]:
                raise ScpiError(-221, "voltage not checked on channel %d" % channel)
