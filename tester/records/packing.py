"""Bytes as they lie in the store: one marker byte, then the content as it is or deflated. Pure.

Measured on a job's events (DEVELOPERS.md, "Records"): deflating bodies and frames is what keeps a record small;
the page size matters far less once that is done.
"""

from __future__ import annotations

import zlib

PLAIN, DEFLATED = b"\0", b"\1"
SMALL = 200
"""Below this many bytes deflating gains less than it costs."""

BLOB_LIMIT = BODY_LIMIT = 16 * 1024 * 1024
"""Largest blob and largest event body in bytes, unpacked."""


def pack(content: bytes) -> bytes:
    """Marker and content, deflated where that is shorter."""
    if len(content) >= SMALL:
        small = zlib.compress(content, 6)
        if len(small) < len(content):
            return DEFLATED + small
    return PLAIN + content


def unpack(packed: bytes, limit: int = BLOB_LIMIT) -> bytes:
    """Content again. ValueError when it is damaged or unpacks to more than `limit` bytes."""
    marker, rest = packed[:1], packed[1:]
    if marker == PLAIN:
        if len(rest) > limit:
            raise ValueError("larger than allowed")
        return rest
    if marker != DEFLATED:
        raise ValueError("unknown packing")
    unzip = zlib.decompressobj()
    try:
        content = unzip.decompress(rest, limit + 1)
    except zlib.error as error:
        raise ValueError(f"damaged: {error}") from None
    if len(content) > limit:
        raise ValueError("larger than allowed")
    if not unzip.eof or unzip.unused_data:
        raise ValueError("damaged: cut short or followed by more")
    return content
