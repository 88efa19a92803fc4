"""The definite-length block that answers every product query: built in one buffer that lives as long as the board."""

from binascii import crc32
from struct import pack_into

HEAD = 16
BODY_MAX = 2064
VERSION = 1
PREFIX = 6

LEASE_HELD = 1
ARMED = 2
DRIVEN = 4
CALIBRATED = 8
ERROR_QUEUED = 16


def unit_crc(nonce: int, unit: bytes) -> int:
    """CRC-32/ISO-HDLC of the session nonce (u32, little-endian) followed by the unit as received."""
    salt = bytearray(4)
    pack_into("<I", salt, 0, nonce)
    return crc32(unit, crc32(salt)) & 0xFFFFFFFF


class Reply:
    """Body under construction, then the whole block.

    Handlers append to the body with u8, u16 and so on, or write `buffer` at `at` themselves and move `at`.
    """

    def __init__(self) -> None:
        self.buffer = bytearray(PREFIX + HEAD + BODY_MAX + 5)
        self.view = memoryview(self.buffer)
        self.at = PREFIX + HEAD

    def start(self) -> None:
        """Begin an empty body."""
        self.at = PREFIX + HEAD

    def u8(self, value: int) -> None:
        """Append one byte."""
        self.buffer[self.at] = value
        self.at += 1

    def u16(self, value: int) -> None:
        """Append an unsigned 16-bit number."""
        pack_into("<H", self.buffer, self.at, value)
        self.at += 2

    def i16(self, value: int) -> None:
        """Append a signed 16-bit number."""
        pack_into("<h", self.buffer, self.at, value)
        self.at += 2

    def u32(self, value: int) -> None:
        """Append an unsigned 32-bit number."""
        pack_into("<I", self.buffer, self.at, value)
        self.at += 4

    def i32(self, value: int) -> None:
        """Append a signed 32-bit number."""
        pack_into("<i", self.buffer, self.at, value)
        self.at += 4

    def raw(self, data: "bytes | bytearray") -> None:
        """Append bytes as they are."""
        self.buffer[self.at : self.at + len(data)] = data
        self.at += len(data)

    def finish(self, kind: int, seq: int, crc: int, ms: int, state: int) -> memoryview:
        """Frame the body; the block without the final line feed, valid until the next `start`."""
        body = self.at - PREFIX - HEAD
        buffer = self.buffer
        length = HEAD + body + 4
        buffer[0] = 0x23
        buffer[1] = 0x34
        for i in range(4):
            buffer[5 - i] = 0x30 + length % 10
            length //= 10
        pack_into("<BBHIIBBH", buffer, PREFIX, VERSION, kind, seq, crc, ms & 0xFFFFFFFF, state, 0, body)
        end = PREFIX + HEAD + body
        pack_into("<I", buffer, end, crc32(self.view[PREFIX:end]) & 0xFFFFFFFF)
        return self.view[: end + 4]
