"""Reading a system call trace: was there a data sync between each write to the log and its acknowledgement?"""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
_CALL = re.compile(r"^\d+\s+(?:<\.\.\. )?(\w+)(?:\(\d+<([^>]*)>| resumed)(.*)$")


@dataclass
class Trace:
    """Counts of a traced run. `early` are acknowledgements before the data they are about was synced."""

    acknowledged: int = 0
    writes: int = 0
    syncs: int = 0
    early: int = 0


def traced_writer(strace: str, path: Path, out: Path, loose: bool) -> Trace:
    """Run the writer for ten records under strace and read the trace."""
    command = [
        strace, "-f", "-y", "-s", "16", "-o", str(out), "-e", "trace=pwrite64,write,fdatasync,fsync",
        sys.executable, "-m", "tests.support.writer", str(path), "S", "10", "1", *(["loose"] if loose else []),
    ]  # fmt: skip
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    return read_trace(out.read_text(errors="replace"), str(path))


def read_trace(text: str, path: str) -> Trace:
    """Count writes to the log's files, syncs of them that succeeded, and acknowledgements that came too early."""
    trace, dirty = Trace(), set[str]()
    for line in text.splitlines():
        found = _CALL.match(line)
        if found is None:
            continue
        call, file, rest = found[1], found[2] or "", found[3]
        if call == "pwrite64" and file in (path, f"{path}-wal"):
            trace.writes += 1
            dirty.add(file)
        elif call in ("fdatasync", "fsync") and file in (path, f"{path}-wal") and rest.rstrip().endswith("= 0"):
            trace.syncs += 1
            dirty.discard(file)
        elif call == "write" and '"ack ' in rest:
            trace.acknowledged += 1
            trace.early += f"{path}-wal" in dirty
    return trace
