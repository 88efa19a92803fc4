"""How short a dropout the watch catches, at 64, 128 and 256 channels: the tables of hwspec/firmware/README.md."""

from __future__ import annotations

import random
import subprocess
from typing import Any

import pytest

from hwspec.firmware.limits import FALL_US, RELEASE_US
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
from hwspec.firmware.app import App
from hwspec.firmware.block import Reply
from hwspec.firmware.watch import Watch

class Still:
    build, cards, pins, root = "full", CARDS, 0, ""
    line = b""
    def spi(self, cs, out, inp):
        if inp is not None:
            inp[2] = inp[3] = 255
    def mux(self, out): pass
    def arm(self, level): pass
    def rail(self, state): pass
    def ticks_us(self): return 0
    def ticks_diff(self, a, b): return a - b
    def wait_us(self, us): pass
    def unique_id(self): return b"12345678"
    def store_read(self, name): return None
    def serial_write(self, data): pass
    def idle(self): pass
    def serial_read(self, buffer):
        n = min(len(buffer), len(self.line))
        buffer[:n] = self.line[:n]
        self.line = self.line[n:]
        return n

def turns(function):
    # empty loop turns that one call takes: median of rounds, for the processor here is not always as fast
    found = []
    for _ in range(25):
        start = time.ticks_us()
        for _ in range(200):
            function()
        middle = time.ticks_us()
        for _ in range(40000):
            pass
        found.append(time.ticks_diff(middle, start) * 200 / time.ticks_diff(time.ticks_us(), middle))
    return sorted(found)[12]

app = App(Still())
watch = app.board.watch
every = list(range(1, 64 * CARDS + 1))
watch.load(every, [every[::2], every[::4]], Reply())
app.board.guard.doubt = False
app.board.guard.held = True
watch._read_at = watch._driven_at = 0
watch._fall_us = 60
watch.touches.compile(every, every[::2], [every[::4]])
watch._read()
watch.patterns[0].last[:] = watch._levels
watch.touches.first(1, watch.driver.row_ports(), watch.patterns[1].base)
figures = [turns(watch._read), turns(watch.touches.step)]

watch.running = True
marks = []
def mark(watch):
    marks.append(time.ticks_us())
Watch.turn = Watch.breathe = mark
longest = []
for _ in range(50):
    marks.clear()
    app.hal.line = b"WATC:LOG? 12345,63\\n"
    for _ in range(8):
        app.poll()
    start = time.ticks_us()
    for _ in range(2000):
        pass
    turn = time.ticks_diff(time.ticks_us(), start) / 2000
    longest.append(max([time.ticks_diff(marks[i + 1], marks[i]) for i in range(len(marks) - 1)]) / turn)
figures.append(sorted(longest)[10])
print(*figures)
"""
WIRE_US = 6.4
TURNS_A_US = 0.7


@pytest.mark.skipif(find_micropython() is None, reason=NO_INTERPRETER)
def test_interpreters_own_time_for_one_reading_one_step_and_an_answer() -> None:
    """In empty loop turns, so that it can be carried to another processor: an RP2040 at 125 MHz makes about
    0.7 million a second (from memory, never measured by us). Collections of its heap are not in it.
    """
    print("\nMicroPython's own time, carried over to an RP2040, us; with 6.4 us a transaction on the wire, and waits")
    print(
        "channels  reading  step of letting go  longest piece of an answer  longest gap: reading and the longer of both"
    )
    for cards in (1, 2, 4):
        program = INTERPRETER.replace("CARDS", str(cards))
        command = [str(find_micropython()), "-X", "heapsize=400k", "-c", program]
        found = subprocess.run(command, cwd=laid_out(), capture_output=True, text=True, check=True)
        reading, step, piece = (float(turns) / TURNS_A_US for turns in found.stdout.split())
        reading += 4 * cards * WIRE_US
        step += 5 * WIRE_US + RELEASE_US + 2 * FALL_US
        gap = reading + max(step, piece)
        print(f"{64 * cards:8}  {reading:7.0f}  {step:18.0f}  {piece:26.0f}  {gap:11.0f}")
        assert cards != 2 or gap < GOAL_US
