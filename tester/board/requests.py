"""Requests as the board reads them: one ASCII line each, with a sequence number and its check sum.

Lists of channels are written as SCPI channel lists, `(@1:3,7)` (SCPI-99 8.3.2), runs shortened so that a list of all
channels stays a few bytes long.
"""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

CHANNELS_MOST = 256
NONCE_MOST = 0xFFFFFFFF
LINE_LIMIT = 4096  # longest request, line feed included

Argument = int | float | str | Sequence[int]


@dataclass(frozen=True)
class Request:
    """One product query. `unit`: its bytes without line end. `seq`: number that the reply must carry."""

    seq: int
    unit: bytes

    @property
    def line(self) -> bytes:
        """What goes to the wire."""
        return self.unit + b"\n"


def crc32(data: bytes) -> int:
    """CRC-32/ISO-HDLC: polynomial 0x04C11DB7 reflected, start and final xor 0xFFFFFFFF."""
    return zlib.crc32(data) & 0xFFFFFFFF


def unit_crc(nonce: int, unit: bytes) -> int:
    """Check sum that a reply carries of its request: CRC-32 of the session number (u32, little-endian) and the unit."""
    return zlib.crc32(unit, zlib.crc32(struct.pack("<I", nonce))) & 0xFFFFFFFF


def channel_list(channels: Iterable[int]) -> str:
    """`(@1:3,7)` for 1, 2, 3, 7. Order is kept; only rising runs of three or more are shortened.

    Raises ValueError when there is none: a list names at least one channel.
    """
    parts: list[str] = []
    run: list[int] = []

    def close() -> None:
        if len(run) >= 3:
            parts.append(f"{run[0]}:{run[-1]}")
        else:
            parts.extend(str(channel) for channel in run)
        run.clear()

    for channel in channels:
        if run and channel != run[-1] + 1:
            close()
        run.append(channel)
    close()
    if not parts:
        raise ValueError("a list of no channels")
    return f"(@{','.join(parts)})"


def read_channel_list(text: str) -> tuple[int, ...]:
    """1, 2, 3, 7 for `(@1:3,7)`. Raises ValueError when the text is no such list."""
    compact = text.replace(" ", "").replace("\t", "")
    if re.fullmatch(r"\(@\d{1,5}(:\d{1,5})?(,\d{1,5}(:\d{1,5})?)*\)", compact) is None:
        raise ValueError(f"{text!r} is not a channel list; (@1:3,7) would be one")
    channels: list[int] = []
    for part in compact[2:-1].split(","):
        first, _, last = part.partition(":")
        low, high = int(first), int(last or first)
        if max(low, high) > CHANNELS_MOST or min(low, high) < 1:
            raise ValueError(f"{text!r} names a channel that no board has; 1 to {CHANNELS_MOST}")
        channels.extend(range(low, high + 1) if low <= high else range(low, high - 1, -1))
    return tuple(channels)


def build(header: str, seq: int, *arguments: Argument) -> Request:
    """The request `HEADER seq,argument,...`; sequences become channel lists."""
    shown = [str(seq)]
    for argument in arguments:
        shown.append(str(argument) if isinstance(argument, (int, float, str)) else channel_list(argument))
    return Request(seq, f"{header} {','.join(shown)}".encode("ascii"))


def arguments_of(unit: bytes) -> tuple[str | tuple[int, ...], ...]:
    """Arguments of a request, the sequence number first; channel lists as tuples.

    Raises ValueError when the bytes are no request that this program could have sent.
    """
    text = unit.decode("ascii")
    _, _, rest = text.partition(" ")
    found: list[str | tuple[int, ...]] = []
    for part in re.findall(r"\(@[^()]*\)|[^,()]+", rest):
        found.append(read_channel_list(part) if part.startswith("(") else part.strip())
    return tuple(found)
