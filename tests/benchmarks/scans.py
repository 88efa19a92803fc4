"""Full scan and quick check of 64 and 256 channels: board time, host time, patterns, bytes; the dropout watch.

Floor of the board's time: what no board of this kind can do without. Waits: each pattern takes its fall and its release
time (limits.toml). Transfers, as the words of protocol.md (section 5) imply them on an expander of 16 channels, at the
fastest clock of limits.toml, bits alone, no time for starting a transfer:

* full scan, each channel: direction low; one read of each chip that holds a read channel; latch high, direction back,
  latch low. A write to one port is 24 bits, a read or a write of both ports 32.
* pattern: each chip that holds a driven channel is told its direction, and all of them are let go before any is driven
  high ("none is ever high while another is still low"): direction back, latch, direction, and after the release time
  direction back and latch low: six writes; and one read of each chip that holds a read channel.

What then is left is the call of each transfer by the interpreter (the virtual clock's `overhead_ns`): counted and shown
apart. Floor of the wire: each byte is 10 bits at 115200 baud (protocol.md, section 1).
"""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass

from tester.board.client import Board
from tester.board.limits import limit
from tester.board.recording import Wire
from tester.judge.dropout import CAPACITANCE_NF
from tester.scan import agrees, bits, pattern_count, quick_check
from tests.benchmarks.row import Row
from tests.campaigns.rig import QuietLink
from tests.campaigns.test_dropout_campaign import Case, watched
from tests.campaigns.test_dropout_resolution import GOAL_US
from tests.support.virtual import VirtualBench

BYTE_S = 10 / 115200
HOST_GOAL = 1.15
CHIP = 16
PORT_BITS, CHIP_BITS = 24, 32
WALK_WRITES, PATTERN_WRITES = 4, 6
LEFT_GOAL = 1.15
"""Board time over floor and calls: what the firmware does besides."""


class CountingLink(QuietLink):
    """A quiet link that counts bytes, and the processor time that passes inside of it: the virtual board's own."""

    def __init__(self, bench: VirtualBench) -> None:
        super().__init__(bench)
        self.bytes = 0
        self.inside_s = 0.0

    def write(self, data: bytes) -> None:
        self.bytes += len(data)
        start = time.thread_time()
        super().write(data)
        self.inside_s += time.thread_time() - start

    def read(self, timeout_s: float) -> bytes:
        start = time.thread_time()
        data = super().read(timeout_s)
        self.inside_s += time.thread_time() - start
        self.bytes += len(data)
        return data


@dataclass(frozen=True)
class Cost:
    """What one question cost: seconds on the board's clock, transfers to the expanders, bytes both ways on the wire,
    processor seconds of the host alone.
    """

    board_s: float
    transfers: int
    bytes: int
    host_s: float

    @property
    def over_wire_and_settle(self) -> float:
        """The whole time over that of wire and board."""
        floor = self.board_s + self.bytes * BYTE_S
        return (floor + self.host_s) / floor


class Scanner:
    """A board with n channels, three quarters of them in circuits of two, the rest lone."""

    def __init__(self, channels: int) -> None:
        self.channels = list(range(1, channels + 1))
        pairs = 3 * channels // 8
        self.circuits = [[n, n + channels // 2] for n in range(1, pairs + 1)]
        joined = {channel for circuit in self.circuits for channel in circuit}
        self.circuits += [[channel] for channel in self.channels if channel not in joined]
        leads = {n: f"{'DH'[n > channels // 2]}-{n}" for n in self.channels}
        links = [{"a": leads[c[0]], "b": leads[c[1]]} for c in self.circuits if len(c) > 1]
        self.bench = VirtualBench({"link": links}, leads, cards=channels // 64, seed=1)
        self.link = CountingLink(self.bench)
        self.board = Board(Wire(self.link, self.link.clock, None, lambda: 77))
        self.board.voltage(self.channels)  # the check that driving needs is not part of the scan
        self.transfers = 0
        clock, counted = self.bench.board.clock, self.bench.board.clock.spi

        def count(octets: int) -> None:
            self.transfers += 1
            counted(octets)

        clock.spi = count  # type: ignore[method-assign]

    def cost(self, question: str) -> Cost:
        """Ask "full", "quick" or "pair" once; the answer must be the harness that is plugged in."""
        self.board.voltage(self.channels)
        before, sent, inside = self.bench.seconds, self.link.bytes, self.link.inside_s
        self.transfers = 0
        start = time.thread_time()
        self._ask(question)
        host = time.thread_time() - start - (self.link.inside_s - inside)
        return Cost(self.bench.seconds - before, self.transfers, self.link.bytes - sent, host)

    def _ask(self, question: str) -> None:
        if question == "full":
            frame = self.board.walk(self.channels, self.channels)
            home = {channel: set(circuit) for circuit in self.circuits for channel in circuit}
            for channel, row in zip(frame.drive, frame.rows, strict=True):
                assert {frame.read[k] for k in bits(row)} == home[channel]
        elif question == "quick":
            patterns = quick_check(self.circuits)
            rows = self.board.patterns(self.channels, patterns).rows
            assert agrees(self.circuits, self.channels, patterns, rows)
        else:
            self.board.walk(self.channels[:1], self.channels[1:2])


def walk_floor_s(channels: int) -> float:
    """Floor of a full scan of the first `channels` channels, all read."""
    bits = WALK_WRITES * PORT_BITS + math.ceil(channels / CHIP) * CHIP_BITS
    return channels * _with_waits_s(bits)


def patterns_floor_s(patterns: Sequence[Sequence[int]], channels: int) -> float:
    """Floor of coded patterns (driven channels of each) that read the first `channels` channels."""
    total = 0.0
    for driven in patterns:
        chips = len({(channel - 1) // CHIP for channel in driven})
        total += _with_waits_s((PATTERN_WRITES * chips + math.ceil(channels / CHIP)) * CHIP_BITS)
    return total


def _with_waits_s(bits: int) -> float:
    return (limit("release_us") + limit("fall_us") + bits / limit("spi_max_mhz")) / 1e6


def scan_rows(channels: int, repeats: int) -> list[Row]:
    """All figures of one size."""
    scanner = Scanner(channels)
    q, lone = len(scanner.circuits), sum(len(c) == 1 for c in scanner.circuits)
    patterns = {"full": channels, "quick": pattern_count(q, lone), "pair": channels * (channels - 1) // 2}
    names = {"full": "full scan", "quick": "quick check"}
    floors = {
        "full": walk_floor_s(channels),
        "quick": patterns_floor_s(quick_check(scanner.circuits), channels),
    }
    rows, costs = [], {}
    for kind, name in names.items():
        runs = [scanner.cost(kind) for _ in range(repeats)]
        costs[kind] = min(runs, key=lambda run: run.host_s)
        floor = floors[kind]
        calls = costs[kind].transfers * scanner.bench.board.clock.overhead_ns / 1e9
        note = f"waits and transfers, {floor * 1000:.2f} ms; {costs[kind].board_s * 1000:.1f} ms on the board's clock"
        rows.append(Row(f"{name} of {channels}: board time", costs[kind].board_s / floor, note))
        note = f"the same and {calls * 1000:.1f} ms for {costs[kind].transfers} calls of the bus"
        rows.append(Row(f"{name} of {channels}: rest", costs[kind].board_s / (floor + calls), note, LEFT_GOAL))
        rows.append(
            Row(
                f"{name} of {channels}: host time",
                costs[kind].over_wire_and_settle,
                "wire at 115200 baud and board time",
                HOST_GOAL,
            )
        )
    one = scanner.cost("pair").bytes
    rows += [
        Row(f"full scan of {channels}: patterns", patterns["full"], "one for each channel"),
        Row(
            f"quick check of {channels}: patterns",
            patterns["quick"],
            f"ceil(log2 {q}) circuits",
            math.ceil(math.log2(q)),
        ),
        Row(f"pair by pair of {channels}: patterns", patterns["pair"], "n(n-1)/2"),
        Row(f"full scan of {channels}: bytes", costs["full"].bytes, "both ways, measured"),
        Row(f"quick check of {channels}: bytes", costs["quick"].bytes, "both ways, measured"),
        Row(
            f"pair by pair of {channels}: bytes",
            patterns["pair"] * one,
            f"{one} bytes for one pair, measured, times n(n-1)/2",
        ),
    ]
    scanner.board.close()
    return rows


def dropout_row(channels: int, count: int, step_us: int) -> Row:
    """Shortest opening of which all of `count` were caught by the whole watch, and so were those one and two steps
    longer; with the wire that the watch reckons with on what comes loose, worst leakage.
    """
    caught_from: int | None = None
    for open_us in range(100, 2000, step_us):
        case = Case("open", open_us / 1000, channels, nf=CAPACITANCE_NF, times=count)
        caught, result = watched(case)
        caught_from = (caught_from or open_us) if caught == count else None
        if caught_from and open_us - caught_from >= 2 * step_us:
            break
    says = f"the watch says surely from {result.missed_ms * 1000:.0f} us"
    note = f"{count} at random moments through the whole watch, steps of {step_us} us; {says}"
    figure = float(caught_from) if caught_from else math.inf
    return Row(f"shortest dropout caught at {channels}: us", figure, note, GOAL_US if channels == 128 else None)
