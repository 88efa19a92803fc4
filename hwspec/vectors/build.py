"""Writes the golden vectors. Independent of firmware and host: only the standard library and protocol.md.

    python -m hwspec.vectors.build            write the files
    python -m hwspec.vectors.build --check    say which are stale, exit status 1

Kinds of file: see hwspec/vectors/README.md.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

from hwspec.vectors.exchanges import exchanges
from hwspec.vectors.lines import channel_lists, dialogue, requests
from hwspec.vectors.replies import blocks, checks, damaged

HERE = Path(__file__).resolve().parent

FILES = {
    "exchanges.json": exchanges,
    "damaged.json": damaged,
    "blocks.json": blocks,
    "crc.json": checks,
    "channel_lists.json": channel_lists,
    "requests.json": requests,
    "dialogue.json": dialogue,
}


def text(name: str) -> str:
    """What a file should hold: one vector a line."""
    lines = [json.dumps(vector, ensure_ascii=True) for vector in FILES[name]()]
    return "[\n" + ",\n".join(lines) + "\n]\n"


def main(arguments: list[str]) -> int:
    """Write or check all files."""
    stale = [name for name in FILES if not (HERE / name).is_file() or (HERE / name).read_text() != text(name)]
    if "--check" in arguments:
        for name in stale:
            print(f"stale: {name}")
        return 1 if stale else 0
    for name in stale:
        (HERE / name).write_text(text(name))
        print(f"wrote {name}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
