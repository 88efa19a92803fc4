"""DIAGnostic:SELF?: expanders, multiplexers, reference cell, crosstalk."""

from .analog import AIN_MINUS, AIN_PAIR, AIN_REFERENCE, AIN_SINGLE, LSB_PV, PGA_0256, PGA_4096
from .block import Reply
from .calibrate import rounded
from .errors import ScpiError
from .limits import CHANNELS_PER_CARD, MEASURE_SETTLE_US, REFERENCE_CELL_MOHM, REFERENCE_MOHM, RELEASE_US
from .measure import millivolt
from .resistance import Ohmmeter
from .scan import Scanner

EXPANDERS = 0
MULTIPLEXERS = 1
CELL = 2
CROSSTALK = 3

_DEFVAL = 0x06
_PATTERNS = (0x55AA, 0xAA55, 0x0000)
_ADDRESSES = (4, 10, 9)
"""Three addresses that tell any two of the four address lines apart, each seen high and low."""
_LOW_MV = 700
_HIGH_MV = 2500
_FORCE_COUNTS = 60
_CELL_SAMPLES = 8
_CURRENT_COUNTS = 256
"""20 uA through the reference resistor: below it nothing conducts."""
_CELL_TOLERANCE_MOHM = 250
_MOST = 300


class SelfTest:
    """The parts of the self-test; each appends its body."""

    def __init__(self, ohmmeter: Ohmmeter, scanner: Scanner) -> None:
        self.ohmmeter = ohmmeter
        self.scanner = scanner
        self.driver = ohmmeter.driver
        self.trees = ohmmeter.trees
        self.converter = ohmmeter.converter
        self.hal = ohmmeter.hal
        self.guard = ohmmeter.guard

    def channels(self, part: int, card: int) -> "list[int]":
        """Channels that a part drives. Raises -222."""
        if not EXPANDERS <= part <= CROSSTALK:
            raise ScpiError(-222, "part %d: not 0 to 3" % part)
        if not 1 <= card <= self.hal.cards:
            raise ScpiError(-222, "card %d: not 1 to %d" % (card, self.hal.cards))
        first = CHANNELS_PER_CARD * (card - 1) + 1
        if part == CROSSTALK:
            return list(range(first, first + CHANNELS_PER_CARD))
        if part == MULTIPLEXERS:
            return [first + 16 * chip + address for chip in range(4) for address in _ADDRESSES]
        return []

    def run(self, part: int, card: int, reply: Reply) -> None:
        """One part; what it drives was checked before."""
        self.driver.ready()
        if part == EXPANDERS:
            found = self._expanders()
            passed = not any([bits for _, bits in found])
        elif part == MULTIPLEXERS:
            found = self._multiplexers(self.channels(part, card))
            passed = not found
        elif part == CELL:
            found = self._cell()
            passed = abs(found[0][1] - REFERENCE_CELL_MOHM) <= _CELL_TOLERANCE_MOHM
        else:
            found = self._crosstalk(self.channels(part, card), reply)
            passed = not found
        reply.start()
        reply.u8(part)
        reply.u8(1 if passed else 0)
        reply.u16(min(len(found), _MOST))
        for where, value in found[:_MOST]:
            reply.u16(where)
            reply.i32(value)

    def _expanders(self) -> "list[tuple[int, int]]":
        """Each expander with the bits of a spare register that did not hold."""
        found = []
        for chip in range(self.driver.chips):
            self.guard.pump()
            wrong = 0
            for pattern in _PATTERNS:
                self.driver.write2(chip, _DEFVAL, pattern & 255, pattern >> 8)
                wrong |= self.driver.read2(chip, _DEFVAL) ^ pattern
            found.append((chip + 1, wrong))
        return found

    def _multiplexers(self, channels: "list[int]") -> "list[tuple[int, int]]":
        """Each tree must find a channel low while it is driven low, and high (force: its pull-up current) after."""
        found: list[tuple[int, int]] = []
        try:
            for channel in channels:
                self.driver.hold(channel, 0)
                self._look(channel, False, found)
                self.trees.off()
                self.driver.hold(channel, 1)
                self.guard.wait(RELEASE_US)
                self.driver.release()
                self._look(channel, True, found)
        finally:
            self.driver.release()
            self.ohmmeter.meter.rest()
        return found

    def _look(self, channel: int, high: bool, found: "list[tuple[int, int]]") -> None:
        for tree, ain in ((0, AIN_SINGLE), (1, AIN_MINUS)):
            self.trees.select(channel if tree == 0 else 0, channel if tree == 1 else 0, 0)
            mv = millivolt(self.converter.sample(ain, PGA_4096))
            if (mv < _HIGH_MV) if high else (mv > _LOW_MV):
                found.append((1000 * tree + channel, mv))
        self.trees.select(0, 0, channel)
        counts = self.converter.sample(AIN_REFERENCE, PGA_0256)
        if (counts < _FORCE_COUNTS) if high else (counts > _FORCE_COUNTS):
            found.append((2000 + channel, counts * LSB_PV[PGA_0256] // 1000000000))

    def _cell(self) -> "list[tuple[int, int]]":
        """The reference cell, milliohm; -1 when no current flows."""
        self.trees.off()
        self.hal.rail(2)
        sums = []
        try:
            for state in (1, 2):
                self.hal.reference(state)
                self.guard.wait(MEASURE_SETTLE_US)
                sense = 0
                reference = 0
                for _ in range(_CELL_SAMPLES):
                    sense += self.converter.sample(AIN_PAIR, PGA_0256)
                    reference += self.converter.sample(AIN_REFERENCE, PGA_0256)
                sums.append((sense, reference))
        finally:
            self.hal.reference(0)
            self.ohmmeter.meter.rest()
        upper = sums[0][0] - sums[1][0]
        lower = sums[0][1] - sums[1][1]
        if lower < _CELL_SAMPLES * _CURRENT_COUNTS:
            return [(0, -1)]
        gain = self.ohmmeter.gain_ppm(PGA_0256)
        return [(0, rounded(upper * REFERENCE_MOHM * (1000000 + gain), lower * 1000000))]

    def _crosstalk(self, channels: "list[int]", reply: Reply) -> "list[tuple[int, int]]":
        """Each channel driven low with nothing plugged in: whichever other channel follows it."""
        reply.start()
        start = reply.at + 4
        self.scanner.walk(channels, channels, reply)
        found: list[tuple[int, int]] = []
        row = len(channels) // 8
        for i in range(len(channels)):
            self.guard.pump()
            for j in range(len(channels)):
                if len(found) < _MOST and i != j and reply.buffer[start + i * row + j // 8] >> j % 8 & 1:
                    found.append((channels[i], channels[j]))
        return found
