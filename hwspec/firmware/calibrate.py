"""Calibration runs: a known resistor, a shorting plug, nothing plugged in."""

from .analog import GAIN_PPM, LSB_PV, PGA_0256
from .block import Reply
from .errors import ScpiError
from .limits import BASELINE_MOST_NA, REFERENCE_MOHM
from .resistance import Ohmmeter

REFERENCE = 1
ZERO = 2
BASELINE = 3
SAVE = 4
DATA = 5
CLEAR = 6

PLUG_CHANNELS_MIN = 3
PLUG_CHANNELS_MAX = 7
BASELINE_CHANNELS_MAX = 6
_BASELINE_SAMPLES = 6
_PLUG_MOST = 20000
_MILLION = 1000000


def rounded(numerator: int, denominator: int) -> int:
    """Nearest whole number of a fraction; whole numbers only, so that every interpreter gives the same."""
    if denominator < 0:
        numerator, denominator = -numerator, -denominator
    return (2 * numerator + denominator) // (2 * denominator)


class Calibrator:
    """The runs; values go into `ohmmeter.calibration`."""

    def __init__(self, ohmmeter: Ohmmeter) -> None:
        self.ohmmeter = ohmmeter
        self.values = ohmmeter.calibration

    def _tenths(self, a: int, b: int, gain_ppm: int) -> int:
        """Resistance between two channels, tenths of a milliohm. Raises -240 when no current flows."""
        upper, lower = self.ohmmeter.read(a, b, PGA_0256, 2).ratio()
        if lower <= 0:
            raise ScpiError(-240, "no current from channel %d to %d" % (a, b))
        return rounded(upper * 10 * (_MILLION + gain_ppm), lower * _MILLION)

    def reference(self, a: int, b: int, milliohm: int, reply: Reply) -> None:
        """CALibration:REFerence?: gain from a resistor of known value between a and b."""
        if not 1000 <= milliohm <= 150000:
            raise ScpiError(-222, "%d milliohm: not 1000 to 150000" % milliohm)
        upper, lower = self.ohmmeter.read(a, b, PGA_0256, 8).ratio()
        if lower <= 0 or upper <= 0:
            raise ScpiError(-240, "no current from channel %d to %d" % (a, b))
        nominal = GAIN_PPM[PGA_0256]
        measured = rounded(upper * (_MILLION + nominal), lower * _MILLION)
        true_tenths = 10 * milliohm + (self.values.zeros[a] or 0) + (self.values.zeros[b] or 0)
        gain = rounded(true_tenths * lower * _MILLION, 10 * upper) - _MILLION
        if not -50000 < gain - nominal < 50000:
            raise ScpiError(-240, "reference reads %d milliohm" % measured)
        self.values.gain_ppm = gain
        reply.u8(REFERENCE)
        reply.raw(bytes(3))
        reply.i32(measured)
        reply.i32(gain)

    def zero(self, channels: "list[int]", reply: Reply) -> None:
        """CALibration:ZERO?: lead and contact resistance of channels that one shorting plug joins."""
        if not PLUG_CHANNELS_MIN <= len(channels) <= PLUG_CHANNELS_MAX:
            raise ScpiError(-222, "%d channels: not %d to %d" % (len(channels), PLUG_CHANNELS_MIN, PLUG_CHANNELS_MAX))
        gain = self.ohmmeter.gain_ppm(PGA_0256)
        first = channels[0]
        star = [self._plugged(first, c, gain) for c in channels[1:]]
        across = self._plugged(channels[1], channels[2], gain)
        own = rounded(star[0] + star[1] - across, 2)
        reply.u8(ZERO)
        reply.u8(0)
        reply.u16(len(channels))
        reply.i16(self.values.set_zero(first, own))
        for i in range(len(star)):
            reply.i16(self.values.set_zero(channels[i + 1], star[i] - own))

    def _plugged(self, a: int, b: int, gain_ppm: int) -> int:
        tenths = self._tenths(a, b, gain_ppm)
        if not -_PLUG_MOST < tenths < _PLUG_MOST:
            raise ScpiError(-240, "no shorting plug between channels %d and %d" % (a, b))
        return tenths

    def baseline(self, channels: "list[int]", others: "list[int]", reply: Reply) -> None:
        """CALibration:BASeline?: what the empty fixture leaks into each channel."""
        if len(channels) > BASELINE_CHANNELS_MAX:
            raise ScpiError(-222, "more than %d channels" % BASELINE_CHANNELS_MAX)
        currents = []
        for y in channels:
            pga, flags, high, low = self.ohmmeter.sink(y, [c for c in others if c != y], _BASELINE_SAMPLES)
            if flags:
                raise ScpiError(-240, "channel %d is joined to another" % y)
            current = rounded((high - low) * LSB_PV[pga], _BASELINE_SAMPLES * REFERENCE_MOHM)
            if not -BASELINE_MOST_NA <= current <= BASELINE_MOST_NA:
                raise ScpiError(-240, "channel %d leaks %d nA; the fixture is not empty or not dry" % (y, current))
            currents.append(current)
        reply.u8(BASELINE)
        reply.u8(0)
        reply.u16(len(channels))
        for i in range(len(channels)):
            reply.i16(self.values.set_baseline(channels[i], currents[i]))
