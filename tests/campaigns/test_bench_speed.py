"""Figures of the bench app, as ratios and counts taken in one run: start, and a key while 256 cavities are live.

pytest -n 0 -m campaign -s tests/campaigns/test_bench_speed.py
"""

from __future__ import annotations

import fcntl
import json
import os
import pty
import re
import select
import signal
import statistics
import struct
import subprocess
import sys
import termios
import time
from pathlib import Path

import pytest

pytestmark = [pytest.mark.campaign, pytest.mark.timeout(600)]
STARTS = 9
KEYS = 60
ROOT = Path(__file__).resolve().parents[2]


class Screen:
    """A program on a pseudo-terminal of 120 x 40; `until` waits for text in what it writes."""

    def __init__(self, *words: str, env: dict[str, str] | None = None) -> None:
        self._main, side = pty.openpty()
        fcntl.ioctl(side, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))
        environment = {**os.environ, "TERM": "xterm-256color", "COLORTERM": "truecolor", **(env or {})}
        environment.pop("NO_COLOR", None)
        environment.pop("PYTHONDONTWRITEBYTECODE", None)  # an installed package has its byte code
        self.began = time.monotonic()
        self.process = subprocess.Popen(
            [sys.executable, *words], stdin=side, stdout=side, stderr=side, cwd=ROOT, env=environment, close_fds=True
        )
        os.close(side)
        self.seen = b""

    def until(self, pattern: bytes, seconds: float = 60.0) -> float:
        """Seconds from now until the pattern is written; what was written before does not count."""
        began = time.monotonic()
        self.seen = b""
        while not re.search(pattern, self.seen):
            left = began + seconds - time.monotonic()
            assert left > 0, f"{pattern!r} never came: {self.seen[-2000:]!r}"
            if select.select([self._main], [], [], min(left, 1.0))[0]:
                try:
                    self.seen += os.read(self._main, 65536)
                except OSError:
                    pytest.fail(f"the program ended: {self.seen[-3000:].decode(errors='replace')}")
        return time.monotonic() - began

    def key(self, text: str) -> None:
        os.write(self._main, text.encode())

    def drain(self, seconds: float) -> None:
        """Read what comes, for so long."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if select.select([self._main], [], [], 0.02)[0]:
                os.read(self._main, 65536)

    def close(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        os.close(self._main)


def start(*words: str, wanted: bytes, env: dict[str, str]) -> float:
    """Seconds from starting a program to its words on the screen."""
    screen = Screen(*words, env=env)
    try:
        screen.until(wanted)
        return time.monotonic() - screen.began
    finally:
        screen.close()


def test_the_app_starts_and_how_long_that_takes_beside_an_empty_textual_app(tmp_path: Path) -> None:
    empty, ours = [], []
    env = {"PYTHONPYCACHEPREFIX": str(tmp_path / "bytecode")}
    bench = ("-m", "tester", "bench", "--log", str(tmp_path / "log.db"))
    for turn in range(STARTS + 1):
        one = start("-m", "tests.bench.live_app", "empty", wanted=b"ready", env=env)
        two = start(*bench, wanted=b"no job", env=env)
        if turn:  # the first turn of each fills caches
            empty.append(one)
            ours.append(two)
    ratio = statistics.median(ours) / statistics.median(empty)
    print(f"\nstart to first words, {STARTS} interleaved: empty {1000 * statistics.median(empty):.0f} ms, "
          f"bench {1000 * statistics.median(ours):.0f} ms, ratio {ratio:.2f}, goal 1.5")  # fmt: skip
    assert len(empty) == len(ours) == STARTS


def test_a_key_changes_the_screen_at_once_while_256_cavities_are_live(tmp_path: Path) -> None:
    idle = key_times(tmp_path, 0.0)
    live = key_times(tmp_path, 12.0)
    figures = json.loads((tmp_path / "live.json").read_text())
    print("\nkey to changed screen, ms        median   p95")
    for name, times in (("nothing live", idle), ("256 cavities at 30 a second", live)):
        ordered = sorted(times)
        print(f"  {name:30} {1000 * statistics.median(ordered):6.1f} {1000 * ordered[int(0.95 * len(ordered))]:6.1f}")
    print(f"  updates a second: sent {figures['sent']:.1f}, reached {figures['reached']:.1f}; "
          f"processor {100 * figures['share']:.0f} % of one core")  # fmt: skip
    assert figures["reached"] > 0 and len(live) == len(idle)


def key_times(folder: Path, seconds: float) -> list[float]:
    """Seconds from an arrow key to the strip that names another step."""
    place = folder / f"run-{seconds}"
    place.mkdir()
    screen = Screen("-m", "tests.bench.live_app", "live", str(place), str(seconds))
    try:
        screen.until(rb"Step 1 of 60")
        screen.drain(1.0)
        times = []
        for n in range(1, KEYS):
            if seconds and (place / "live.json").exists():
                break
            screen.key("\x1b[B")
            times.append(screen.until(b"ep %d|Step %d" % (n + 1, n + 1)))
            screen.drain(0.07)
        while seconds and not (place / "live.json").exists():
            screen.drain(0.2)
    finally:
        screen.close()
    if seconds:
        (folder / "live.json").write_text((place / "live.json").read_text())
    return times
