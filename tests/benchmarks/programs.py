"""Start-up: --help, --version, and `test` up to its first byte on the port, against `python -c pass`."""

from __future__ import annotations

import os
import pty
import select
import statistics
import subprocess
import sys
import tempfile
import time
import tty
from pathlib import Path

from tests.benchmarks.row import Row

ROOT = Path(__file__).resolve().parents[2]
START_GOAL = 3.0
WAIT_S = 60.0


def surroundings(place: Path) -> dict[str, str]:
    """Environment in which programs find their byte code again, as an installed package does."""
    env = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return env | {"PYTHONPYCACHEPREFIX": str(place / "bytecode")}


def seconds(command: list[str], folder: Path, place: Path) -> float:
    """From starting a program to its end; it must succeed."""
    env = surroundings(place)
    start = time.perf_counter()
    subprocess.run(command, cwd=folder, env=env, stdout=subprocess.DEVNULL, check=True, timeout=WAIT_S)
    return time.perf_counter() - start


def first_byte(command: list[str], folder: Path, place: Path) -> float:
    """From starting `test` to the first byte that it sends to a port, which is a pseudo-terminal of ours."""
    main, side = pty.openpty()
    tty.setraw(side)
    port = os.ttyname(side)
    fixtures = ROOT / "fixtures"
    words = ["test", "--plan", str(fixtures / "plans/side-door.toml"), "--log", str(place / "log.db")]
    words += [
        "--leads",
        str(fixtures / "leads/side-door-leads.toml"),
        "--board",
        port,
        "--accept-cautions",
        "--side",
        "left",
    ]
    words += ["--as-found", str(place / "found.json")]
    env = surroundings(place)
    start = time.perf_counter()
    process = subprocess.Popen(
        [*command, *words],
        cwd=folder,
        env=env,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )
    try:
        while not select.select([main], [], [], 0.05)[0]:
            if process.poll() is not None:
                assert process.stdout is not None
                raise RuntimeError(f"test ended before it spoke: {process.stdout.read().decode()}")
            if time.perf_counter() - start > WAIT_S:
                raise RuntimeError("no byte on the port")
        return time.perf_counter() - start
    finally:
        process.kill()
        process.wait()
        os.close(main)
        os.close(side)


def save_as_found(command: list[str], folder: Path, place: Path) -> None:
    """The as-found scan that `test` starts from, taken on the virtual board."""
    harness = ROOT / "fixtures/harnesses/side-door-heater-before.toml"
    words = ["scan", "--leads", str(ROOT / "fixtures/leads/side-door-leads.toml"), "--board", f"virtual:{harness}"]
    words += ["--save", str(place / "found.json")]
    subprocess.run([*command, *words], cwd=folder, capture_output=True, check=True, timeout=WAIT_S)


def start_rows(repeats: int, wheel: Path | None = None) -> list[Row]:
    """Medians of interleaved starts, as ratios. With `wheel`, from an environment that holds it."""
    with tempfile.TemporaryDirectory(prefix="loomwright-bench-") as made:
        place = Path(made)
        python, folder = (installed(wheel, place), place) if wheel else (sys.executable, ROOT)
        tester = [python, "-m", "tester"]
        save_as_found(tester, folder, place)
        taken: dict[str, list[float]] = {"pass": [], "--help": [], "--version": [], "test": []}
        for turn in range(repeats + 1):
            one = {
                "pass": seconds([python, "-c", "pass"], folder, place),
                "--help": seconds([*tester, "--help"], folder, place),
                "--version": seconds([*tester, "--version"], folder, place),
                "test": first_byte(tester, folder, place),
            }
            for name, value in one.items():
                if turn:  # the first turn writes byte code and fills caches
                    taken[name].append(value)
        base = statistics.median(taken["pass"])
        against = f"python -c pass, {1000 * base:.0f} ms, {'wheel' if wheel else 'checkout'}"
        return [
            Row("start: --help", statistics.median(taken["--help"]) / base, against, START_GOAL),
            Row("start: --version", statistics.median(taken["--version"]) / base, against, START_GOAL),
            Row("start: test to first byte on the port", statistics.median(taken["test"]) / base, against),
        ]


def installed(wheel: Path, place: Path) -> str:
    """The interpreter of a fresh environment that holds this wheel."""
    subprocess.run([sys.executable, "-m", "venv", place / "env"], check=True, timeout=300)
    python = str(place / "env/bin/python")
    subprocess.run([python, "-m", "pip", "install", "-q", str(wheel.resolve())], check=True, timeout=600)
    return python
