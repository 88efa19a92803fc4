"""Four-wire resistance with current reversal, and isolation by the sink method."""

from .analog import (
    AIN_PAIR,
    AIN_REFERENCE,
    CLIPPED,
    GAIN_PPM,
    LSB_PV,
    PGA_0256,
    PGA_4096,
)
from .block import Reply
from .calibration import Calibration
from .errors import ScpiError
from .limits import MEASURE_SETTLE_US, PULLUP_CURRENT_NA, REFERENCE_MOHM
from .measure import Meter

SAMPLES_MAX = 16
FLAG_CLIPPED = 1
FLAG_REFERENCE_CLIPPED = 2
FLAG_BASELINE = 2


class Reading:
    """Sums of counts in the states +I, zero, -I: `sense`, `reference`; `spread` of the sense counts.

    In the zero state the force tree is off too, so that the reference then shows the converter's offset alone.
    """

    def __init__(self, pga: int, samples: int) -> None:
        self.pga = pga
        self.samples = samples
        self.sense = [0, 0, 0]
        self.reference = [0, 0, 0]
        self.spread = [0, 0, 0]
        self.flags = 0

    def ratio(self) -> "tuple[int, int]":
        """Milliohm before gain correction as numerator and denominator; the latter is not positive without current.

        Current through the harness: 1.00097 x (R+ + R- - 2 R0) / (2 Rref) less the sunk channel's own pull-up.
        """
        sense = (self.sense[0] - self.sense[2]) * LSB_PV[self.pga]
        reference = (self.reference[0] + self.reference[2] - 2 * self.reference[1]) * LSB_PV[PGA_0256]
        own = 2 * self.samples * PULLUP_CURRENT_NA * REFERENCE_MOHM
        return sense * REFERENCE_MOHM * 100000, reference * 100097 - own * 100000


class Ohmmeter:
    """The measurements that send a current through the harness."""

    def __init__(self, meter: Meter, calibration: Calibration) -> None:
        self.meter = meter
        self.calibration = calibration
        self.driver = meter.driver
        self.trees = meter.trees
        self.converter = meter.converter
        self.guard = meter.guard
        self.hal = meter.hal

    def gain_ppm(self, pga: int) -> int:
        """Gain correction of a range: calibrated where that was done, else nominal."""
        gain = self.calibration.gain_ppm
        return GAIN_PPM[pga] if gain is None or pga < 4 else gain

    def _state(self, reading: Reading, n: int) -> None:
        """Take one of the three states."""
        self.guard.wait(MEASURE_SETTLE_US)
        lowest = 32767
        highest = -32768
        for _ in range(reading.samples):
            sense = self.converter.sample(AIN_PAIR, reading.pga)
            reference = self.converter.sample(AIN_REFERENCE, PGA_0256)
            reading.sense[n] += sense
            reading.reference[n] += reference
            lowest = sense if sense < lowest else lowest
            highest = sense if sense > highest else highest
            if not -CLIPPED < sense < CLIPPED:
                reading.flags |= FLAG_CLIPPED
            if not -CLIPPED < reference < CLIPPED:
                reading.flags |= FLAG_REFERENCE_CLIPPED
        reading.spread[n] = highest - lowest

    def read(self, a: int, b: int, pga: int, samples: int) -> Reading:
        """Current from a to b, none, from b to a. `pga` 0: the finest range that holds. Nothing stays driven."""
        self.driver.ready()
        self.hal.rail(2)
        try:
            if pga == 0:
                probe = self._sweep(a, b, PGA_0256, 1, False)
                pga = PGA_4096 if probe.flags & FLAG_CLIPPED else PGA_0256
            return self._sweep(a, b, pga, samples, True)
        finally:
            self.driver.release()
            self.meter.rest()

    def _sweep(self, a: int, b: int, pga: int, samples: int, zero: bool) -> Reading:
        reading = Reading(pga, samples)
        self.trees.select(a, b, b)
        self.driver.hold(a, 1)
        self._state(reading, 0)
        self.driver.release()
        if zero:
            self.trees.select(a, b, 0)
            self._state(reading, 1)
        self.trees.select(a, b, a)
        self.driver.hold(b, 1)
        self._state(reading, 2)
        self.driver.release()
        return reading

    def resistance(self, a: int, b: int, pga: int, samples: int, reply: Reply) -> None:
        """MEASure:RESistance?"""
        if not 0 <= pga <= PGA_0256:
            raise ScpiError(-222, "range %d: not 0 to 5" % pga)
        self._check_samples(samples)
        reading = self.read(a, b, pga, samples)
        reply.u16(a)
        reply.u16(b)
        reply.u8(reading.pga)
        reply.u8(samples)
        reply.u16(reading.flags)
        reply.u32(LSB_PV[reading.pga])
        reply.u32(LSB_PV[PGA_0256])
        reply.u32(REFERENCE_MOHM)
        reply.i32(self.gain_ppm(reading.pga))
        for n in range(3):
            reply.i32(reading.sense[n])
            reply.i32(reading.reference[n])
            reply.u16(reading.spread[n])

    def _check_samples(self, samples: int) -> None:
        if not 1 <= samples <= SAMPLES_MAX:
            raise ScpiError(-222, "%d samples: not 1 to %d" % (samples, SAMPLES_MAX))

    def sink(self, y: int, others: "list[int]", samples: int) -> "tuple[int, int, int, int]":
        """Range, flags and sums of reference counts with the other channels high and low; y goes into Rref.

        The rail is held low: released, the driven circuits would lift it and with it y's own pull-ups.
        """
        self.driver.ready()
        self.hal.rail(0)
        try:
            self.trees.select(0, 0, y)
            pga = PGA_0256
            sums = self._high_and_low(others, pga, samples)
            if sums[0]:
                pga = PGA_4096
                sums = self._high_and_low(others, pga, samples)
            return pga, sums[0], sums[1], sums[2]
        finally:
            self.driver.release()
            self.meter.rest()

    def _high_and_low(self, others: "list[int]", pga: int, samples: int) -> "tuple[int, int, int]":
        flags = 0
        sums = []
        for level in (1, 0):
            self.driver.hold_all(others, level)
            self.guard.wait(MEASURE_SETTLE_US)
            total = 0
            for _ in range(samples):
                counts = self.converter.sample(AIN_REFERENCE, pga)
                total += counts
                if not -CLIPPED < counts < CLIPPED:
                    flags = FLAG_CLIPPED
                    break
            sums.append(total)
            self.driver.release()
        return flags, sums[0], sums[1]

    def isolation(self, y: int, others: "list[int]", samples: int, reply: Reply) -> None:
        """MEASure:ISOLation?"""
        self._check_samples(samples)
        pga, flags, high, low = self.sink(y, others, samples)
        baseline = self.calibration.baselines[y]
        reply.u16(y)
        reply.u16(len(others))
        reply.u8(pga)
        reply.u8(samples)
        reply.u16(flags if baseline is None else flags | FLAG_BASELINE)
        reply.u32(LSB_PV[pga])
        reply.u32(REFERENCE_MOHM)
        reply.i32(high)
        reply.i32(low)
        reply.i32(baseline or 0)
