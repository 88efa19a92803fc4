"""A client for the scan board written from hwspec/protocol.md alone, on PyVISA; no code of the product in here.

python tests/outside/visa_client.py /dev/ttyACM0 1 2 33 34      whole test of these channels, printed
"""

from __future__ import annotations

import itertools
import struct
import sys
import zlib
from dataclasses import dataclass

import pyvisa


class Refused(Exception):
    """An E block. `number`: SCPI error number."""

    def __init__(self, number: int, text: str) -> None:
        super().__init__(f"{number}, {text}")
        self.number = number


@dataclass
class Reply:
    """Fields of one payload (protocol.md section 1)."""

    kind: str
    seq: int
    ms: int
    state: int
    body: bytes


class ScanBoard:
    """One board behind a VISA resource; checks every block itself."""

    def __init__(self, port: str, nonce: int = 0x1234ABCD) -> None:
        self.visa = pyvisa.ResourceManager("@py").open_resource(f"ASRL{port}::INSTR")
        self.visa.baud_rate, self.visa.timeout = 115200, 2000
        self.visa.read_termination = self.visa.write_termination = "\n"
        self.nonce, self.seq = nonce, 100
        self.visa.write("")  # section 6, step 1
        self.visa.flush(pyvisa.constants.BufferOperation.discard_read_buffer)

    def close(self) -> None:
        self.visa.close()

    def text(self, query: str) -> str:
        return self.visa.query(query)

    def block(self, header: str, *parameters: str) -> Reply:
        """Ask a product query; the block's length, check sum, number and request check are verified here."""
        self.seq += 1
        unit = f"{header} {','.join([str(self.seq), *parameters])}"
        payload = self.visa.query_binary_values(unit, datatype="B", container=bytes, header_fmt="ieee")
        assert int.from_bytes(payload[-4:], "little") == zlib.crc32(payload[:-4]), "CRC of the block"
        version, kind, seq, asked, ms, state, zero, length = struct.unpack_from("<BBHIIBBH", payload)
        assert (version, zero) == (1, 0)
        assert length == len(payload) - 20
        body = payload[16:-4]
        if kind == ord("E"):
            raise Refused(int.from_bytes(body[:2], "little", signed=True), body[2:].decode())
        assert seq == self.seq
        assert asked == zlib.crc32(struct.pack("<I", self.nonce) + unit.encode()), "request check"
        return Reply(chr(kind), seq, ms, state, body)

    def begin(self) -> dict[str, str]:
        """Session, state, lease (section 6, steps 2 to 5)."""
        assert self.text("*IDN?").startswith("Loomwright,")
        self.visa.write("*CLS")
        nonce, major, _ = struct.unpack("<IBB", self.block("SYSTem:SYNC?", str(self.nonce)).body)
        assert (nonce, major) == (self.nonce, 1)
        state = dict(part.split("=") for part in self.block("SYST:STAT?").body.decode().split(";"))
        self.lease()
        return state

    def lease(self, ms: int = 500) -> int:
        return struct.unpack("<H", self.block("SYST:LEAS?", str(self.nonce), str(ms)).body)[0]

    def end(self) -> None:
        self.block("OUTP:OFF?")
        assert self.lease(0) == 0

    def voltages(self, channels: list[int]) -> dict[int, tuple[int, int]]:
        found = {}
        for at in range(0, len(channels), 48):
            part = channels[at : at + 48]
            body = self.block("MEAS:VOLT?", channel_list(part)).body
            assert struct.unpack_from("<H", body)[0] == len(part)
            found |= dict(zip(part, struct.iter_unpack("<hh", body[2:]), strict=True))
        return found

    def walk(self, channels: list[int]) -> dict[int, set[int]]:
        """Which channels read low with each driven."""
        found = {}
        width = (len(channels) + 7) // 8
        for at in range(0, len(channels), 48):
            part = channels[at : at + 48]
            body = self.block("SCAN:WALK?", channel_list(part), channel_list(channels)).body
            assert struct.unpack_from("<HH", body) == (len(channels), len(part))
            for n, driven in enumerate(part):
                row = int.from_bytes(body[4 + n * width : 4 + (n + 1) * width], "little")
                found[driven] = {channel for i, channel in enumerate(channels) if row >> i & 1}
        return found

    def ohms(self, a: int, b: int) -> float:
        """Four-wire resistance with current reversal (section 3, M)."""
        body = self.block("MEAS:RES?", str(a), str(b)).body
        said_a, said_b, _, _, flags, sense_pv, reference_pv, reference_mohm, ppm = struct.unpack_from(
            "<HHBBHIIIi", body
        )
        assert (said_a, said_b, flags) == (a, b, 0)
        (s_plus, r_plus, _), (_, r_zero, _), (s_minus, r_minus, _) = (
            struct.unpack_from("<iiH", body, at) for at in (24, 34, 44)
        )
        ratio = (s_plus - s_minus) * sense_pv / ((r_plus + r_minus - 2 * r_zero) * reference_pv)
        return ratio * reference_mohm / 1000 * (1 + ppm / 1e6)


def channel_list(channels: list[int]) -> str:
    return f"(@{','.join(map(str, channels))})"


def circuits(walk: dict[int, set[int]]) -> list[list[int]]:
    """Channels joined, both ways, as sorted lists."""
    left, found = set(walk), []
    while left:
        circuit, fresh = set(), {min(left)}
        while fresh:
            circuit |= fresh
            fresh = {b for a in fresh for b in walk[a] if a in walk[b]} - circuit
        left -= circuit
        found.append(sorted(circuit))
    return found


def whole_test(port: str, channels: list[int]) -> dict[str, object]:
    """Voltage check, scan, resistance of each link of the circuits found."""
    board = ScanBoard(port)
    try:
        state = board.begin()
        live = {c: mv for c, mv in board.voltages(channels).items() if mv[0] < -150 or mv[0] > 600}
        if live:
            board.end()
            return {"live": live}
        found = circuits(board.walk(channels))
        ohms = {}
        if "resistance" in state["can"]:
            for circuit in found:
                for a, b in itertools.pairwise(circuit):
                    ohms[a, b] = board.ohms(a, b)
        board.end()
        return {"circuits": found, "ohms": ohms, "can": state["can"]}
    finally:
        board.close()


if __name__ == "__main__":
    for name, value in whole_test(sys.argv[1], [int(c) for c in sys.argv[2:]]).items():
        print(name, value)
