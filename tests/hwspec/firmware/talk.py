"""Talking to the firmware in bodies and numbers: written from protocol.md, not from the firmware."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Sequence
from typing import Any

from tests.support.virtual import VirtualBench

NONCE = 0x00C0FFEE
FULL_LEADS = {c: f"D-{c}" for c in range(1, 33)} | {c: f"H-{c - 32}" for c in range(33, 65)}
STILL = 0xFFFFFFFF


class Refused(Exception):
    """The board answered kind E."""

    def __init__(self, number: int, text: str) -> None:
        super().__init__(f"{number} {text}")
        self.number, self.text = number, text


def channels(wanted: Sequence[int]) -> str:
    return "(@" + ",".join(str(c) for c in wanted) + ")"


class Talk(VirtualBench):
    """A virtual board in this process, and its product queries."""

    def __init__(self, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        self.seq = 0
        self.kind, self.ms, self.state = "", 0, 0
        self.nonce = 0

    def ask_body(self, header: str, *values: object) -> bytes:
        """Body of the reply; checks everything that protocol.md asks a host to check. Raises Refused."""
        self.seq = (self.seq + 1) & 0xFFFF
        unit = header + " " + ",".join([str(self.seq), *map(str, values)])
        block = self.ask(unit)
        assert block[:2] == b"#4" and block[-1:] == b"\n", block
        payload = block[6:-1]
        assert len(payload) == int(block[2:6])
        assert zlib.crc32(payload[:-4]) == int.from_bytes(payload[-4:], "little")
        version, kind, seq, check, self.ms, self.state, zero, length = struct.unpack_from("<BBHIIBBH", payload)
        self.kind = chr(kind)
        body = payload[16:-4]
        if header.upper().startswith("SYST:SYNC") and self.kind == "Y":
            self.nonce = struct.unpack_from("<I", body)[0]
        assert (version, seq, zero, length) == (1, self.seq, 0, len(body))
        assert check == zlib.crc32(struct.pack("<I", self.nonce) + unit.encode())
        if self.kind == "E":
            raise Refused(struct.unpack_from("<h", body)[0], body[2:].decode())
        return body

    def begin(self, voltage: bool = True) -> Talk:
        """Session, lease, voltage check of every channel."""
        self.ask_body("SYST:SYNC?", NONCE)
        self.lease()
        if voltage and self.board.options.build == "full":
            self.check_voltage()
        return self

    def lease(self, ms: int = 500, nonce: int = NONCE) -> int:
        (granted,) = struct.unpack("<H", self.ask_body("SYST:LEAS?", nonce, ms))
        return int(granted)

    @property
    def channel_count(self) -> int:
        return int(self.board.options.channel_count())

    def check_voltage(self) -> dict[int, tuple[int, int]]:
        found: dict[int, tuple[int, int]] = {}
        for first in range(1, self.channel_count + 1, 48):
            found |= self.voltage(range(first, min(first + 47, self.channel_count) + 1))
        return found

    def voltage(self, wanted: Sequence[int]) -> dict[int, tuple[int, int]]:
        body = self.ask_body("MEAS:VOLT?", channels(wanted))
        assert struct.unpack_from("<H", body)[0] == len(wanted)
        return dict(zip(wanted, struct.iter_unpack("<hh", body[2:]), strict=True))

    def rows(self, body: bytes, read: Sequence[int]) -> list[set[int]]:
        nread, count = struct.unpack_from("<HH", body)
        assert nread == len(read)
        width = (nread + 7) // 8
        assert len(body) == 4 + width * count
        numbers = [int.from_bytes(body[4 + n * width : 4 + (n + 1) * width], "little") for n in range(count)]
        assert all(number >> nread == 0 for number in numbers)
        return [{c for i, c in enumerate(read) if number >> i & 1} for number in numbers]

    def walk(self, drive: Sequence[int], read: Sequence[int]) -> dict[int, set[int]]:
        body = self.ask_body("SCAN:WALK?", channels(drive), channels(read))
        return dict(zip(drive, self.rows(body, read), strict=True))

    def patterns(self, read: Sequence[int], *driven: Sequence[int]) -> list[set[int]]:
        return self.rows(self.ask_body("SCAN:PATT?", channels(read), *map(channels, driven)), read)

    def drivers(self, wanted: Sequence[int]) -> list[int]:
        body = self.ask_body("DIAG:DRIV?", channels(wanted))
        assert struct.unpack_from("<H", body)[0] == len(wanted)
        return list(body[2:])

    def resistance(self, a: int, b: int, *more: int) -> dict[str, Any]:
        """Ohm both ways and each way (None where nothing conducts), with the raw fields, by the formula of M."""
        body = self.ask_body("MEAS:RES?", a, b, *more)
        fields = struct.unpack("<HHBBHIIIi" + "iiH" * 3, body)
        assert fields[:2] == (a, b)
        pga, n, flags, sense_pv, reference_pv, rref, ppm = fields[2:9]
        s = [fields[9 + 3 * k] / n * sense_pv * 1e-12 for k in range(3)]
        r = [fields[10 + 3 * k] / n * reference_pv * 1e-12 for k in range(3)]
        spread = [fields[11 + 3 * k] for k in range(3)]

        def ohm(volts: float, into_reference: float) -> float | None:
            through = 1.00097 * into_reference / (rref / 1000) - 5.0e-6
            return volts / through * (1 + ppm / 1e6) if through > 20e-6 else None

        return {
            "ohm": ohm((s[0] - s[2]) / 2, (r[0] + r[2]) / 2 - r[1]),
            "ab": ohm(s[0] - s[1], r[0] - r[1]),
            "ba": ohm(s[1] - s[2], r[2] - r[1]),
            "range": pga,
            "samples": n,
            "flags": flags,
            "ppm": ppm,
            "spread": spread,
        }

    def isolation(self, y: int, others: Sequence[int], *more: int, points: int = 1) -> dict[str, Any]:
        """Ohm between y and all others by the formula of I; None where no current flows."""
        body = self.ask_body("MEAS:ISOL?", y, channels(others), *more)
        of, count, pga, n, flags, pv, rref, high, low, baseline = struct.unpack("<HHBBHIIiii", body)
        assert (of, count) == (y, len(others))
        current = (high - low) / n * pv * 1e-12 / (rref / 1000) - baseline * 1e-9
        ohm = 3.3 / current / (1 + 1140 * points / 330e3) - 2310 if current > 1e-7 else None
        return {"ohm": ohm, "na": current * 1e9, "range": pga, "flags": flags, "baseline": baseline}

    def log(self, first: int = 0) -> dict[str, Any]:
        return log_of(self.ask_body("WATC:LOG?", first))

    def self_test(self, part: int, *card: int) -> tuple[bool, list[tuple[int, int]]]:
        body = self.ask_body("DIAG:SELF?", part, *card)
        assert body[0] == part and len(body) == 4 + 6 * struct.unpack_from("<H", body, 2)[0]
        return bool(body[1]), list(struct.iter_unpack("<Hi", body[4:]))


def log_of(body: bytes) -> dict[str, Any]:
    """Fields of K and Q."""
    names = ("readings", "ms", "longest_us", "mean_us", "total", "kept", "running", "n", "first")
    found: dict[str, Any] = dict(zip(names, struct.unpack_from("<IIIIHHBBH", body), strict=True))
    found["events"] = list(struct.iter_unpack("<IIHBB", body[24:]))
    assert len(found["events"]) == found["n"]
    return found
