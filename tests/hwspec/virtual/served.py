"""The virtual board as a process, for tests: a port to speak to and its standard input and output."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import serial

ROOT = Path(__file__).resolve().parents[3]
HARNESS = """format = 1
[[link]]
a = "D-1"
b = "H-1"
[[link]]
a = "D-2"
b = "~s"
[[link]]
a = "~s"
b = "H-2"
[[link]]
a = "~s"
b = "H-3"
"""
LEADS = """format = 1
id = "test-leads"
[channels]
1 = "D-1"
2 = "D-2"
9 = "H-1"
10 = "H-2"
11 = "H-3"
"""


class Served:
    """A running `python -m hwspec.virtual`; a context manager. `port`: what its first line named."""

    def __init__(self, folder: Path, *options: str, harness: str = HARNESS, leads: str = LEADS) -> None:
        (folder / "harness.toml").write_text(harness)
        (folder / "leads.toml").write_text(leads)
        files = ["--harness", str(folder / "harness.toml"), "--leads", str(folder / "leads.toml")]
        self.process = subprocess.Popen(
            [sys.executable, "-m", "hwspec.virtual", *files, *options],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
        self.first = self.line()
        self.port = str(self.first.get("port"))

    def line(self) -> dict[str, Any]:
        """The next line of standard output; empty when there is none any more."""
        assert self.process.stdout is not None
        text = self.process.stdout.readline()
        return dict(json.loads(text)) if text else {}

    def tell(self, command: str) -> dict[str, Any]:
        """A command on standard input and the answer to it."""
        assert self.process.stdin is not None
        self.process.stdin.write(command.encode() + b"\n")
        self.process.stdin.flush()
        return self.line()

    def open(self, timeout: float = 5.0) -> serial.Serial:
        """The port, as any host opens it."""
        return serial.Serial(self.port, timeout=timeout, exclusive=True)

    def end(self) -> tuple[int, str]:
        """Close standard input; exit status and what it wrote on standard error."""
        _, talk = self.process.communicate(timeout=10)
        return self.process.returncode, talk.decode()

    def __enter__(self) -> Served:
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.communicate()


def ask(port: serial.Serial, line: str) -> bytes:
    """One request, one reply: a text line without its end, or the payload of a block."""
    port.write(line.encode() + b"\n")
    first = port.read(1)
    if first != b"#":
        return (first + port.readline()).rstrip(b"\n")
    payload = port.read(int(port.read(int(port.read(1)))))
    assert port.read(1) == b"\n"
    return payload


def lease(port: serial.Serial, last: int = 64) -> None:
    """Take a lease and check the voltage of channels 1..last."""
    assert ask(port, "SYST:SYNC? 1,77")[1:2] == b"Y"
    assert ask(port, "SYST:LEAS? 2,77,500")[1:2] == b"L"
    for begin in range(1, last + 1, 48):
        assert ask(port, f"MEAS:VOLT? 3,(@{begin}:{min(last, begin + 47)})")[1:2] == b"V"
