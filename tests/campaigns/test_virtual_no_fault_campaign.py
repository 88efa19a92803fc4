"""Campaign: the firmware, asked anything in any order on any harness, never causes an electrical fault.

The chip models raise one where firmware would hurt a real board (tests/hwspec/virtual/test_virtual_faults.py shows
each). Here thousands of random requests, right and wrong, run on harnesses good, faulty and live, with the host
falling silent, the harness changed and the processor reset in between.
"""

from __future__ import annotations

import random

import pytest

from hwspec.virtual.faults import DrivenWhileLive
from hwspec.virtual.harness import Harness
from tests.support.virtual import VirtualBench, as_harness


def some_harness(rng: random.Random, channels: int, live: float) -> Harness:
    """Wires, splices, shorts, parts, dropouts; a share `live` of them holds a voltage."""
    ends = [f"D-{c}" for c in range(1, channels + 1)] + ["~a", "~b", "~c"]
    tables: dict[str, list[dict[str, object]]] = {"link": [], "leak": [], "diode": [], "dropout": [], "voltage": []}
    for _ in range(rng.randint(0, channels)):
        a, b = rng.sample(ends, 2)
        tables["link"].append({"a": a, "b": b, "ohms": 10 ** rng.uniform(-2, 2), "capacitance_nf": rng.uniform(0, 2)})
    for kind, most in (("leak", 6), ("diode", 4), ("dropout", 3)):
        for _ in range(rng.randint(0, most)):
            a, b = rng.sample(ends, 2)
            part: dict[str, object] = {"a": a, "b": b, "ohms": 10 ** rng.uniform(1, 7)}
            if kind == "diode":
                part = {"anode": a, "cathode": b, "drop_v": rng.choice([0.3, 0.6, 1.8])}
            elif kind == "dropout":
                part = {"a": a, "b": b, "every_ms": rng.uniform(5, 500), "open_ms": rng.uniform(0.1, 4)}
            tables[kind].append(part)
    if rng.random() < live:
        tables["voltage"].append(
            {"at": rng.choice(ends), "volts": rng.uniform(-15, 15), "ohms": 10 ** rng.uniform(0, 5)}
        )
    return as_harness(tables)


class Asker:
    """Random requests with running sequence numbers."""

    def __init__(self, rng: random.Random, channels: int) -> None:
        self.rng, self.channels, self.seq = rng, channels, 0

    def some(self, most: int = 12) -> str:
        """A channel list, now and then with a channel that the board lacks."""
        rng = self.rng
        top = self.channels + (rng.random() < 0.05)
        picked = rng.sample(range(1, top + 1), rng.randint(1, min(most, top)))
        return "(@" + ",".join(map(str, picked)) + ")"

    def channel(self) -> int:
        return self.rng.randint(1, self.channels)

    def request(self) -> str:
        """One line."""
        self.seq = (self.seq + 1) % 65536
        rng, n = self.rng, self.channels
        every = f"(@1:{n})"
        coded = ",".join(self.some() for _ in range(rng.randint(1, 3)))
        forms = [
            "SYST:LEAS? {s},7,500",
            "SYST:LEAS? {s},7,0",
            "OUTP:OFF? {s}",
            "*RST",
            "*TST?",
            "SYST:STAT? {s}",
            "SCAN:TIM? {s},{r},{f}",
            "SCAN:WALK? {s},{l},{e}",
            "SCAN:WALK? {s},{e},{e}",
            "SCAN:PATT? {s},{e},{c}",
            "DIAG:DRIV? {s},{l}",
            "MEAS:VOLT? {s},{l}",
            "MEAS:RES? {s},{a},{b}",
            "MEAS:RES? {s},{a},{b},{g},{m}",
            "MEAS:ISOL? {s},{a},{l}",
            "WATC:LOAD? {s},{e},{l},{c}",
            "WATC:STAR? {s}",
            "WATC:LOAD? {s},{e},{e},{c}",
            "WATC:STAR? {s},1,1",
            "WATC:LOG? {s},0",
            "WATC:STOP? {s}",
            "DIAG:SELF? {s},{p}",
            "CAL:ZERO? {s},{l}",
            "CAL:BAS? {s},{l},{e}",
            "CAL:REF? {s},{a},{b},10000",
            "CAL:CLE? {s}",
            "SCAN:WALK? {s}",
            "MEAS:RES? {s},{a},{a}",
            "FROB:NICATE {s}",
        ]
        return rng.choice(forms).format(
            s=self.seq, l=self.some(), e=every, c=coded, a=self.channel(), b=self.channel(), g=rng.randint(0, 6),
            m=rng.randint(0, 4), p=rng.randint(0, 4), r=rng.choice([5, 40, 250, 5000]), f=rng.choice([5, 60, 300]),
        )  # fmt: skip


def ask_at_random(seed: int, requests: int) -> tuple[int, int]:
    """How many requests drove, and how many channels' transitions the trace holds. Raises on an electrical fault."""
    rng = random.Random(f"no fault {seed}")
    build = rng.choice(["full", "full", "full", "starter"])
    cards = rng.choice([1, 1, 2]) if build == "full" else 1
    channels = 20 if build == "starter" else 64 * cards
    wired = min(channels, 40)
    # the starter board has nothing to see a voltage with; its build guide says so
    live = 0.25 if build == "full" else 0.0
    leads = {c: f"D-{c}" for c in range(1, wired + 1)}
    bench = VirtualBench(some_harness(rng, wired, live), leads, cards=cards, build=build, seed=seed)
    asker = Asker(rng, channels)
    bench.ask("SYST:SYNC? 0,7")
    drove = 0
    for _ in range(requests):
        before = len(bench.board.trace.pins())
        if rng.random() < 0.4:
            bench.ask("SYST:LEAS? 1,7,500")
            for first in range(1, channels + 1, 48):
                bench.ask(f"MEAS:VOLT? 2,(@{first}:{min(channels, first + 47)})")
        bench.write(asker.request().encode() + b"\n")
        bench.read_some(0.05)
        drove += len(bench.board.trace.pins()) != before
        bench.board.trace.events.clear()
        happening = rng.random()
        if happening < 0.02:
            bench.run(rng.uniform(0.1, 0.8))
        elif happening < 0.04:
            bench.run(0.7)  # a harness that is plugged in while the board drives is no fault of the firmware
            bench.plug(some_harness(rng, wired, live))
        elif happening < 0.05:
            bench.run(0.7)
            bench.touch(f"D-{rng.randint(1, wired)}")
        elif happening < 0.06:
            bench.board.power_off()
            bench.board.power_on()
            bench.restart()
            bench.ask("SYST:SYNC? 0,7")
    return drove, channels


@pytest.mark.campaign
@pytest.mark.timeout(900)
def test_no_request_in_any_order_on_any_harness_causes_an_electrical_fault():
    boards, requests, drove = 32, 40, 0
    for seed in range(boards):
        drove += ask_at_random(seed, requests)[0]
    print(f"\n{boards} boards x {requests} requests, seeds 0..{boards - 1}: {drove} of them drove, no electrical fault")
    assert drove > boards


@pytest.mark.campaign
@pytest.mark.timeout(300)
def test_with_the_voltage_check_taken_out_of_the_firmware_the_same_requests_do_cause_one(monkeypatch):
    from hwspec.firmware.safety import Safety

    monkeypatch.setattr(Safety, "require", lambda self, driven: None)
    with pytest.raises(DrivenWhileLive):
        for seed in range(8):
            ask_at_random(seed, 40)
