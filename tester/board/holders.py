"""Which programs have a port open. Reads /proc; says nothing where the system has none."""

from __future__ import annotations

import contextlib
from pathlib import Path


def holders(path: str) -> tuple[str, ...]:
    """Programs that have this port open, as "pid name"; only those of the same user, without root's rights."""
    try:
        wanted = Path(path).stat().st_rdev
    except (OSError, ValueError):
        return ()
    if not wanted:
        return ()
    found = []
    for process in sorted(Path("/proc").glob("[0-9]*"), key=lambda entry: int(entry.name)):
        with contextlib.suppress(OSError):
            if any(_is(descriptor, wanted) for descriptor in (process / "fd").iterdir()):
                name = (process / "comm").read_text(encoding="utf-8", errors="replace").strip()
                found.append(f"{process.name} {name}")
    return tuple(found)


def _is(descriptor: Path, device: int) -> bool:
    with contextlib.suppress(OSError):
        return str(descriptor.readlink()).startswith("/dev/") and descriptor.stat().st_rdev == device
    return False
