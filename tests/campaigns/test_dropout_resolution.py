"""How short a dropout the watch catches, at 64, 128 and 256 channels: the tables of hwspec/firmware/README.md."""

from __future__ import annotations

import random
import subprocess
from typing import Any

import pytest

from hwspec.virtual.micropython import find_micropython
from tests.hwspec.firmware.linked import NO_INTERPRETER, laid_out
from tests.hwspec.firmware.talk import Talk

pytestmark = pytest.mark.campaign

SEED = 20310
GOAL_US = 1000
CALL_US = (0.0, 25.0, 40.0)
"""Interpreter's time for one bus call: none, the virtual board's default, the largest that was thought likely."""


def watch(channels: int, call_us: float, open_us: int, count: int, seed: int) -> dict[str, Any]:
    """Watch `count` dropouts of one length, each at a random moment; the log."""
    rng = random.Random(seed)
    every = 20.0 + rng.random()
    leads = {1: "D-1", channels: "H-1", 2: "D-2", channels - 1: "H-2"}
    harness = {
        "link": [{"a": "D-2", "b": "H-2"}],
        "dropout": [
            {"a": "D-1", "b": "H-1", "every_ms": every, "open_ms": open_us / 1000, "phase_ms": 3 * rng.random()}
        ],
    }
    talk = Talk(harness, leads, cards=channels // 64, overhead_us=call_us, seed=seed).begin()
    for _ in range(3):
        talk.ask_body("WATC:LOAD?", f"(@1:{channels})", "(@1,2)")
        rows = talk.rows(talk.ask_body("WATC:STAR?"), range(1, channels + 1))
        if rows == [{1, channels, 2, channels - 1}]:
            break
        talk.ask_body("WATC:STOP?")
    end = talk.seconds + every * count / 1000
    while talk.seconds < end:
        talk.run(min(0.3, end - talk.seconds))
        log = talk.log()
    return log


@pytest.mark.parametrize("call_us", CALL_US)
def test_shortest_dropout_that_is_always_caught(call_us: float) -> None:
    """The far end of an opened link must rise through 330 kohm first; then the next reading sees it."""
    print(f"\nOne bus call {call_us:.0f} us, seed {SEED}: dropouts of each length, 30 at random moments")
    print("channels  mean us  longest us  always caught from us")
    for channels in (64, 128, 256):
        caught_from = None
        for open_us in range(100, 1600, 50):
            log = watch(channels, call_us, open_us, 30, SEED + channels)
            caught_from = (caught_from or open_us) if log["total"] >= 29 else None
            if caught_from and open_us - caught_from >= 200:
                break
        print(f"{channels:8}  {log['mean_us']:7}  {log['longest_us']:10}  {caught_from}")
        assert caught_from is not None
        if channels <= 128:
            assert caught_from <= GOAL_US


INTERPRETER = """
import time
from hwspec.firmware.block import Reply
from hwspec.firmware.board import Board
from hwspec.firmware.guard import Guard
from hwspec.firmware.programme import Programme

class Still:
    build, cards, pins, root = "full", CARDS, 0, ""
    def spi(self, cs, out, inp):
        if inp is not None:
            inp[2] = 255
    def mux(self, out): pass
    def arm(self, level): pass
    def rail(self, state): pass
    def ticks_us(self): return 0
    def ticks_diff(self, a, b): return a - b
    def wait_us(self, us): pass
    def unique_id(self): return b"12345678"
    def store_read(self, name): return None

board = Board(Still(), Programme())
reply = Reply()
watch = board.watch
watch.load(list(range(1, 64 * CARDS + 1)), [[1]], reply)
board.guard.doubt = False
watch._read_at = 0
once = watch.patterns[0]
watch._once(once, 0)
once.last[:] = once.programme.result
start = time.ticks_us()
for _ in range(2000):
    watch._once(once, 0)
print(time.ticks_diff(time.ticks_us(), start) / 2000)
start = time.ticks_us()
for _ in range(200000):
    pass
print(time.ticks_diff(time.ticks_us(), start) / 200000)
"""


@pytest.mark.skipif(find_micropython() is None, reason=NO_INTERPRETER)
def test_interpreters_own_time_for_one_reading() -> None:
    """In empty loop turns, so that it can be carried to another processor: an RP2040 at 125 MHz makes about
    0.7 million a second (from memory, never measured by us).
    """
    print("\nMicroPython's time for one held reading, buses costing nothing")
    print("channels  us here  empty loop turns  RP2040 estimate us, with 6.4 us a transaction on the wire")
    for cards in (1, 2, 4):
        program = INTERPRETER.replace("CARDS", str(cards))
        command = [str(find_micropython()), "-X", "heapsize=400k", "-c", program]
        found = subprocess.run(command, cwd=laid_out(), capture_output=True, text=True, check=True)
        reading, turn = map(float, found.stdout.split())
        estimate = reading / turn / 0.7 + 4 * cards * 6.4
        print(f"{64 * cards:8}  {reading:7.1f}  {reading / turn:16.0f}  {estimate:10.0f}")
        assert cards != 2 or estimate < GOAL_US
