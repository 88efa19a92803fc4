"""Measurements with the converter: the voltage check before driving."""

from struct import unpack_from

from .analog import AIN_SINGLE, PGA_4096, Converter, Trees
from .block import Reply
from .errors import ScpiError
from .expander import Expanders
from .guard import Guard
from .limits import VOLTAGE_SETTLE_US
from .safety import Safety

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .hal import Hal


VOLTAGE_CHANNELS_MAX = 48


def millivolt(counts: int) -> int:
    """Counts of the 4.096 V range (125 microvolt each) to whole millivolt, rounded."""
    return (counts + 4) // 8


class Meter:
    """The measuring commands of the full build."""

    def __init__(self, hal: "Hal", guard: Guard, driver: Expanders, safety: Safety) -> None:
        self.hal = hal
        self.guard = guard
        self.driver = driver
        self.safety = safety
        self.trees = Trees(hal, guard)
        self.converter = Converter(hal, guard)

    def rest(self) -> None:
        """Trees off, rail high: the state between commands."""
        self.trees.off()
        self.hal.rail(1)

    def voltage(self, channels: "list[int]", reply: Reply) -> None:
        """Body: u16 n, n x (i16 mV with the rail low, i16 mV with the rail high). Nothing is driven."""
        if len(channels) > VOLTAGE_CHANNELS_MAX:
            raise ScpiError(-222, "more than %d channels" % VOLTAGE_CHANNELS_MAX)
        self.driver.ready()
        n = len(channels)
        reply.u16(n)
        at = reply.at
        try:
            for level in (0, 1):
                self.hal.rail(level)
                self.guard.wait(VOLTAGE_SETTLE_US)
                for i in range(n):
                    self.trees.select(channels[i], 0, 0)
                    reply.at = at + 4 * i + 2 * level
                    reply.i16(millivolt(self.converter.sample(AIN_SINGLE, PGA_4096)))
        finally:
            self.rest()
        for i in range(n):
            self.guard.pump()
            low, high = unpack_from("<hh", reply.buffer, at + 4 * i)
            self.safety.note(channels[i], low, high)
