"""A board whose processor stands still for a while."""

from __future__ import annotations

from tests.support.virtual import VirtualBench


def pausing(bench: VirtualBench, after: int, ms: int) -> list[int]:
    """Wait number `after` from now takes so many milliseconds more. Returns a list that says when it has."""
    hal, waits = bench.hal, [0]
    real = hal.wait_us

    def wait(us: int) -> None:
        waits[0] += 1
        if waits[0] == after:
            bench.board.clock.advance(ms * 1_000_000)
        real(us)

    hal.wait_us = wait  # type: ignore[method-assign]
    return waits
