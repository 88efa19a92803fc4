"""The pump runs on through every piece of work: each line of the firmware's Python costs virtual time here.

On the RP2040 a line costs some 5 to 10 us (from memory, never measured); a hardware dead man that heard nothing for
14 ms may let go, and what is then measured does not count.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any

import pytest

from tests.hwspec.firmware.talk import Talk, channels

LINE_NS = 10_000
MOST_NS = 11_000_000  # the firmware takes 12 ms for a pause


class Paced:
    """Longest time between two edges of the pump while it runs, and where it ended."""

    def __init__(self, talk: Talk) -> None:
        self.longest_ns = 0
        self.where = ""
        self._talk = talk
        self._edge_ns = 0
        real = talk.board.arm_pin

        def edge(level: int) -> None:
            gap = talk.board.clock.now - self._edge_ns
            if self._edge_ns and gap > self.longest_ns:
                self.longest_ns, self.where = gap, self._stack()
            self._edge_ns = talk.board.clock.now
            real(level)

        talk.board.arm_pin = edge  # type: ignore[method-assign]

    def _stack(self) -> str:
        frame: FrameType | None = sys._getframe(2)
        names = []
        while frame and len(names) < 6:
            names.append(f"{frame.f_code.co_name}:{frame.f_lineno}")
            frame = frame.f_back
        return " < ".join(names)

    @contextmanager
    def running(self) -> Iterator[Paced]:
        """Lines cost time in here; the rest before does not count as a pause."""
        clock = self._talk.board.clock

        def line(frame: FrameType, event: str, argument: Any) -> Any:
            if event == "line":
                clock.advance(LINE_NS)
            return line

        def call(frame: FrameType, event: str, argument: Any) -> Any:
            return line if "/hwspec/firmware/" in frame.f_code.co_filename else None

        self._talk.app.poll()
        self.longest_ns, self._edge_ns = 0, 0
        before = sys.gettrace()
        sys.settrace(call)
        try:
            yield self
        finally:
            sys.settrace(before)


def shuffled(count: int) -> list[int]:
    wanted = list(range(1, count + 1))
    random.Random(4).shuffle(wanted)
    return wanted


WORK = {
    "walk": ("SCAN:WALK?", "(@1:64)", "(@1:256)"),
    "walk, read out of order": ("SCAN:WALK?", "(@1:40)", channels(shuffled(256))),
    "walk of few": ("SCAN:WALK?", "(@1:2)", "(@1:64)"),
    "patterns": ("SCAN:PATT?", "(@1:256)", "(@1:256)", "(@1,16)"),
    "drivers": ("DIAG:DRIV?", "(@1:128)"),
    "isolation": ("MEAS:ISOL?", 1, channels(range(2, 257))),
    "resistance": ("MEAS:RES?", 1, 256),
    "voltage": ("MEAS:VOLT?", "(@1:48)"),
    "load": ("WATC:LOAD?", "(@1:256)", *[channels(range(1 + n, 257, 3)) for n in (0, 1, 2)]),
    "self-test": ("DIAG:SELF?", 0),
    "state": ("SYST:STAT?",),
    "calibration": ("CAL:DATA?",),
}


@pytest.fixture(scope="module")
def talk() -> Talk:
    return Talk({}, {1: "D-1", 2: "D-2"}, cards=4).begin()


@pytest.mark.parametrize("name", WORK)
def test_the_pump_never_pauses_while_a_query_is_read_worked_on_and_answered(talk: Talk, name: str) -> None:
    talk.begin()
    paced = Paced(talk)
    header, *values = WORK[name]
    with paced.running():
        talk.ask_body(header, *values)
    assert 0 < paced.longest_ns < MOST_NS, f"{paced.longest_ns / 1e6:.1f} ms before {paced.where}"


RUBBISH = ("x" * 4000, "SYST:STAT? 1," + "(@1)," * 700, "*OPC " + "1;" * 1900, "'" * 4001)


@pytest.mark.parametrize("line", RUBBISH, ids=lambda line: line[:5])
def test_the_pump_never_pauses_while_a_long_line_of_rubbish_is_read(talk: Talk, line: str) -> None:
    talk.begin()
    paced = Paced(talk)
    with paced.running():
        talk.write(line.encode() + b"\n")
        talk.read(1, 0.3)
    talk.line.to_host.clear()
    assert 0 < paced.longest_ns < MOST_NS, f"{paced.longest_ns / 1e6:.1f} ms before {paced.where}"
