"""Bodies of replies to frames, one function a kind. Each checks that the body is exactly what the request asks for.

Raises ValueError (or struct.error, IndexError) for a body that does not fit; `codec` turns that into `Damaged`.
"""

from __future__ import annotations

import struct
from collections.abc import Callable

from tester.board import frames, readings
from tester.board.frames import Frame

Arguments = tuple[str | tuple[int, ...], ...]
Common = tuple[int, int, int, tuple[bytes, ...], tuple[bytes, ...], tuple[int, ...]]
Read = Callable[[Common, bytes, Arguments], Frame]


def _channels(argument: str | tuple[int, ...]) -> tuple[int, ...]:
    if isinstance(argument, str):
        raise ValueError(f"{argument!r} is no channel list")
    return argument


def _exactly(body: bytes, length: int) -> None:
    if len(body) != length:
        raise ValueError(f"body of {len(body)} bytes, {length} expected")


def _counted(body: bytes, channels: tuple[int, ...], at: int = 0) -> tuple[int, ...]:
    """The channels, whose number the body states at `at`."""
    (said,) = struct.unpack_from("<H", body, at)
    if said != len(channels):
        raise ValueError(f"{said} channels answered, asked for {len(channels)}")
    return channels


def _rows(body: bytes, read: int, rows: int) -> tuple[int, ...]:
    said_read, said_rows = struct.unpack_from("<HH", body)
    if (said_read, said_rows) != (read, rows):
        raise ValueError(f"{said_rows} rows of {said_read} channels, asked for {rows} of {read}")
    width = (read + 7) // 8
    _exactly(body, 4 + rows * width)
    found = tuple(int.from_bytes(body[4 + k * width : 4 + (k + 1) * width], "little") for k in range(rows))
    if any(row >> read for row in found):
        raise ValueError("bits set beyond the last channel")
    return found


def _sync(common: Common, body: bytes, arguments: Arguments) -> Frame:
    _exactly(body, 6)
    nonce, major, minor = struct.unpack("<IBB", body)
    return frames.SyncFrame(*common, nonce, major, minor)


def _lease(common: Common, body: bytes, arguments: Arguments) -> Frame:
    _exactly(body, 2)
    return frames.LeaseFrame(*common, int.from_bytes(body, "little"))


def _state(common: Common, body: bytes, arguments: Arguments) -> Frame:
    pairs = (part.partition("=") for part in body.decode("ascii").split(";") if part)
    return frames.StateFrame(*common, {name.strip(): value for name, _, value in pairs})


def _error(common: Common, body: bytes, arguments: Arguments) -> Frame:
    (number,) = struct.unpack_from("<h", body)
    return frames.ErrorFrame(*common, number, body[2:].decode("ascii", "replace"))


def _walk(common: Common, body: bytes, arguments: Arguments) -> Frame:
    drive, read = _channels(arguments[1]), _channels(arguments[2])
    return frames.WalkFrame(*common, drive, read, _rows(body, len(read), len(drive)))


def _pattern(common: Common, body: bytes, arguments: Arguments) -> Frame:
    read, *driven = (_channels(argument) for argument in arguments[1:])
    return frames.PatternFrame(*common, read, tuple(driven), _rows(body, len(read), len(driven)))


def _timing(common: Common, body: bytes, arguments: Arguments) -> Frame:
    _exactly(body, 8)
    return frames.TimingFrame(*common, *struct.unpack("<II", body))


def _driver(common: Common, body: bytes, arguments: Arguments) -> Frame:
    channels = _counted(body, _channels(arguments[1]))
    _exactly(body, 2 + len(channels))
    return frames.DriverFrame(*common, channels, tuple(body[2:]))


def _voltage(common: Common, body: bytes, arguments: Arguments) -> Frame:
    channels = _counted(body, _channels(arguments[1]))
    _exactly(body, 2 + 4 * len(channels))
    pairs = list(struct.iter_unpack("<hh", body[2:]))
    return frames.VoltageFrame(*common, channels, tuple(p[0] for p in pairs), tuple(p[1] for p in pairs))


def _off(common: Common, body: bytes, arguments: Arguments) -> Frame:
    _exactly(body, 0)
    return frames.OffFrame(*common)


def _scales(*scales: int) -> None:
    """What counts are multiplied with or divided by: with zero, everything would read as 0 ohm or as nothing."""
    if 0 in scales:
        raise ValueError("a scale or a reference of zero")


def _resistance(common: Common, body: bytes, arguments: Arguments) -> Frame:
    _exactly(body, 54)
    a, b, gauge, samples, flags, sense_pv, reference_pv, reference_mohm, gain_ppm = struct.unpack_from(
        "<HHBBHIIIi", body
    )
    if (str(a), str(b)) != arguments[1:3]:
        raise ValueError(f"resistance of {a} and {b}, asked for {arguments[1]} and {arguments[2]}")
    if not 1 <= samples <= 16 or not 1 <= gauge <= 5:
        raise ValueError(f"{samples} samples on range {gauge}")
    _scales(sense_pv, reference_pv, reference_mohm)
    states = [struct.unpack_from("<iiH", body, at) for at in (24, 34, 44)]
    return readings.ResistanceFrame(
        *common,
        a,
        b,
        gauge,
        samples,
        flags,
        sense_pv,
        reference_pv,
        reference_mohm,
        gain_ppm,
        sense=(states[0][0], states[1][0], states[2][0]),
        reference=(states[0][1], states[1][1], states[2][1]),
        spread=(states[0][2], states[1][2], states[2][2]),
    )


def _isolation(common: Common, body: bytes, arguments: Arguments) -> Frame:
    _exactly(body, 28)
    y, count, gauge, samples, flags, pv, mohm, high, low, baseline = struct.unpack("<HHBBHIIiii", body)
    others = _channels(arguments[2])
    if str(y) != arguments[1] or count != len(others):
        raise ValueError(f"isolation of {y} against {count}, asked for {arguments[1]} against {len(others)}")
    if not 1 <= samples <= 16:
        raise ValueError(f"{samples} samples")
    _scales(pv, mohm)
    return readings.IsolationFrame(*common, y, others, gauge, samples, flags, pv, mohm, high, low, baseline)


def _loaded(common: Common, body: bytes, arguments: Arguments) -> Frame:
    _exactly(body, 8)
    read, count, estimate = struct.unpack("<HHI", body)
    channels, patterns = _channels(arguments[1]), arguments[2:]
    if (read, count) != (len(channels), len(patterns)):
        raise ValueError(f"{count} patterns of {read} channels loaded, {len(patterns)} of {len(channels)} sent")
    return readings.WatchLoadFrame(*common, channels, tuple(_channels(each) for each in patterns), estimate)


def _started(common: Common, body: bytes, arguments: Arguments) -> Frame:
    read, count = struct.unpack_from("<HH", body)
    return readings.WatchStartFrame(*common, read, count, _rows(body, read, count))


def _log(common: Common, body: bytes, arguments: Arguments) -> Frame:
    readings_, elapsed, longest, mean, total, kept, running, count, first = struct.unpack_from("<IIIIHHBBH", body)
    _exactly(body, 24 + 12 * count)
    events = tuple(readings.WatchEvent(*each) for each in struct.iter_unpack("<IIHBB", body[24:]))
    return readings.WatchLogFrame(*common, readings_, elapsed, longest, mean, total, kept, bool(running), first, events)


def _self_test(common: Common, body: bytes, arguments: Arguments) -> Frame:
    part, passed, count = struct.unpack_from("<BBH", body)
    if str(part) != arguments[1]:
        raise ValueError(f"self-test of part {part}, asked for {arguments[1]}")
    _exactly(body, 4 + 6 * count)
    found = tuple((where, value) for where, value in struct.iter_unpack("<Hi", body[4:]))
    return readings.SelfTestFrame(*common, part, bool(passed), found)


def _heap(common: Common, body: bytes, arguments: Arguments) -> Frame:
    _exactly(body, 8)
    return readings.HeapFrame(*common, *struct.unpack("<II", body))


def _calibration(common: Common, body: bytes, arguments: Arguments) -> Frame:
    which = body[0]
    if which == 1:
        _exactly(body, 12)
        measured, gain = struct.unpack_from("<ii", body, 4)
        return readings.CalibrationFrame(*common, which, measured_mohm=measured, gain_ppm=gain)
    if which in (2, 3):
        channels = _counted(body, _channels(arguments[1]), 2)
        _exactly(body, 4 + 2 * len(channels))
        values = struct.unpack_from(f"<{len(channels)}h", body, 4)
        if which == 2:
            return readings.CalibrationFrame(*common, which, channels=channels, zeros=values)
        return readings.CalibrationFrame(*common, which, channels=channels, baselines=values)
    if which in (4, 6):
        _exactly(body, 2)
        return readings.CalibrationFrame(*common, which)
    if which != 5:
        raise ValueError(f"calibration reply {which}")
    stored, date, check, gain, flags, count = struct.unpack_from("<xB10sIiBxH", body)
    _exactly(body, 24 + 4 * count)
    pairs = list(struct.iter_unpack("<hh", body[24:]))
    return readings.CalibrationFrame(
        *common,
        which,
        stored=bool(stored),
        date=date.rstrip(b"\0").decode("ascii"),
        check=check,
        gain_ppm=gain,
        flags=flags,
        channels=tuple(range(1, count + 1)),
        zeros=tuple(pair[0] for pair in pairs),
        baselines=tuple(pair[1] for pair in pairs),
    )


def _update(common: Common, body: bytes, arguments: Arguments) -> Frame:
    _exactly(body, 8)
    slot, value = struct.unpack("<B3xI", body)
    if slot not in (0, 97, 98):
        raise ValueError(f"slot {slot}")
    return readings.UpdateFrame(*common, chr(slot) if slot else "", value)


BODIES: dict[str, Read] = {
    "Y": _sync,
    "L": _lease,
    "S": _state,
    "E": _error,
    "W": _walk,
    "P": _pattern,
    "T": _timing,
    "D": _driver,
    "V": _voltage,
    "O": _off,
    "M": _resistance,
    "I": _isolation,
    "G": _loaded,
    "B": _started,
    "K": _log,
    "Q": _log,
    "F": _self_test,
    "X": _heap,
    "C": _calibration,
    "U": _update,
}
