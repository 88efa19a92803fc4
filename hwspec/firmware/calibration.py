"""Calibration values: gain, zero and isolation baseline of each channel; stored with date and check sum."""

from binascii import crc32
from struct import pack, unpack_from

from .block import Reply
from .errors import ScpiError
from .guard import Guard

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .hal import Hal


NAME = "cal"
NONE = -32768
_MARK = b"LWC1"
_HEAD = "<4s10sBxiH"
_HEAD_SIZE = 22

HAS_GAIN = 1
HAS_ZEROS = 2
HAS_BASELINES = 4


def _i16(value: int) -> int:
    """The nearest number that fits, NONE kept free."""
    return max(-32767, min(32767, value))


class Calibration:
    """Values in force. `gain_ppm` None, `zeros[c]` and `baselines[c]` None where not calibrated.

    Zeros are tenths of a milliohm, baselines nanoampere. New values are in force at once, and lost at power-off
    unless saved.
    """

    def __init__(self, hal: "Hal", channels: int, guard: Guard) -> None:
        self.hal = hal
        self.guard = guard
        self.channels = channels
        self._blank()
        self._load()

    def _blank(self) -> None:
        self.valid = False
        self.date = ""
        self.check = 0
        self.gain_ppm: int | None = None
        self.zeros: list[int | None] = [None] * (self.channels + 1)
        self.baselines: list[int | None] = [None] * (self.channels + 1)

    def _load(self) -> None:
        """Take the stored record when it is whole and of this many channels."""
        record = self.hal.store_read(NAME)
        if record is None or len(record) != _HEAD_SIZE + 4 * self.channels + 4:
            return
        (check,) = unpack_from("<I", record, len(record) - 4)
        mark, date, flags, gain, n = unpack_from(_HEAD, record, 0)
        if mark != _MARK or n != self.channels or crc32(record[:-4]) & 0xFFFFFFFF != check:
            return
        self.valid = True
        self.check = check
        self.date = date.decode()
        self.gain_ppm = gain if flags & HAS_GAIN else None
        for c in range(1, n + 1):
            zero, baseline = unpack_from("<hh", record, _HEAD_SIZE + 4 * (c - 1))
            self.zeros[c] = None if zero == NONE else zero
            self.baselines[c] = None if baseline == NONE else baseline

    def flags(self) -> int:
        """Which kinds of value there are."""
        found = 0 if self.gain_ppm is None else HAS_GAIN
        for c in range(1, self.channels + 1):
            if not c & 31:
                self.guard.pump()
            if self.zeros[c] is not None:
                found |= HAS_ZEROS
            if self.baselines[c] is not None:
                found |= HAS_BASELINES
        return found

    def _values(self) -> bytes:
        values = b""
        for c in range(1, self.channels + 1):
            if not c & 31:
                self.guard.pump()
            zero = self.zeros[c]
            baseline = self.baselines[c]
            values += pack("<hh", NONE if zero is None else zero, NONE if baseline is None else baseline)
        return values

    def save(self, date: str) -> None:
        """Store what is in force. Raises -224 for what is no date, -240 when it does not read back."""
        parts = date.split("-")
        if [len(part) for part in parts] != [4, 2, 2] or not all([c in "0123456789" for c in "".join(parts)]):
            raise ScpiError(-224, "date %s: not yyyy-mm-dd" % date[:20])
        if not self.flags():
            raise ScpiError(-221, "nothing calibrated")
        record = pack(_HEAD, _MARK, date.encode(), self.flags(), self.gain_ppm or 0, self.channels) + self._values()
        record += pack("<I", crc32(record) & 0xFFFFFFFF)
        self.hal.store_write(NAME, record)
        self._blank()
        self._load()
        if not self.valid:
            raise ScpiError(-240, "calibration did not read back")

    def clear(self) -> None:
        """Forget everything, on the board too."""
        self.hal.store_write(NAME, b"")
        self._blank()

    def data(self, reply: Reply) -> None:
        """CALibration:DATA?, after its first byte."""
        reply.u8(1 if self.valid else 0)
        reply.raw(self.date.encode() if self.date else bytes(10))
        reply.u32(self.check)
        reply.i32(self.gain_ppm or 0)
        reply.u8(self.flags())
        reply.u8(0)
        reply.u16(self.channels)
        reply.raw(self._values())

    def set_zero(self, channel: int, tenths: int) -> int:
        """Zero of one channel; the value taken."""
        value = _i16(tenths)
        self.zeros[channel] = value
        return value

    def set_baseline(self, channel: int, nanoampere: int) -> int:
        """Baseline of one channel; the value taken."""
        value = _i16(nanoampere)
        self.baselines[channel] = value
        return value
