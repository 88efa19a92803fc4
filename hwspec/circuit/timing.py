"""How long the buses take: arithmetic from bit counts, with the waits of the deck `settle`."""

from __future__ import annotations

from collections.abc import Sequence

from .decks.deck import Cell

SPI_HZ = 5e6
GAP_S = 0.3e-6
"""Chip select before and after a transaction (assumption)."""

DATA_VALID_S = 45e-9
BUFFER_S = 6e-9
BUS_S = 0.7 * 330 * 70e-12
"""Expander clock to data, one buffer, and the answer line: 330 ohm into 70 pF, to 70 % (data sheets, memory)."""

OVERHEADS_S = (0.0, 30e-6)
"""Time of the processor for each transaction: none (the floor), and MicroPython (memory)."""


def transaction(count: int) -> float:
    """Seconds of one transaction of so many bytes."""
    return count * 8 / SPI_HZ + GAP_S


def answer_delay() -> float:
    """Seconds from a clock edge at the processor to the expander's answer there."""
    return 2 * BUFFER_S + DATA_VALID_S + BUS_S


def walk(channels: int, release_us: float, fall_us: float, overhead_s: float) -> float:
    """Seconds of one pattern of a full scan: level high, release, level low, drive the next, read all chips."""
    chips = channels // 16
    writes, reads = 4, chips
    bus = writes * transaction(3) + reads * transaction(4)
    return bus + (writes + reads) * overhead_s + (release_us + fall_us) * 1e-6


def table(settle: Sequence[dict[str, Cell]]) -> str:
    """Times of patterns and scans, from the rows of the deck `settle`."""
    lines = [
        "# Bus and scan times: arithmetic, not a simulation; waits from the deck settle (60 points)",
        f"# SPI {SPI_HZ / 1e6:g} MHz: answer after {answer_delay() * 1e9:.0f} of {0.5e9 / SPI_HZ:.0f} ns half period.",
        "# overhead_us: the processor's own time for a transaction; 30 us is a guess for MicroPython.",
        "channels  farad  overhead_us  pattern_us  full_scan_ms",
    ]
    waits = {row["farad"]: (row["release_us"], row["fall_us"]) for row in settle if row["points"] == 60}
    for channels in (64, 128, 256):
        for farad, (release, fall) in waits.items():
            for overhead in OVERHEADS_S:
                one = walk(channels, float(release), float(fall), overhead)
                lines.append(
                    f"{channels:8}  {farad:5}  {overhead * 1e6:11g}  {one * 1e6:10.0f}  {one * channels * 1e3:12.2f}"
                )
    return "\n".join(lines) + "\n"
