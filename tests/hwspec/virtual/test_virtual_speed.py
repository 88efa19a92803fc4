"""How long the host works for a scan. Processor time of this process, so that a busy machine does not count."""

from __future__ import annotations

import time

import pytest

from tests.support.virtual import VirtualBench


def walked(channels: int) -> float:
    """Processor seconds of one full walk on a harness with a big splice, parts and many two-ended wires."""
    half = channels // 2
    links = [{"a": f"D-{n}", "b": f"H-{n}"} for n in range(9, half + 1)]
    links += [{"a": f"D-{n}", "b": "~ground"} for n in range(1, 9)] + [
        {"a": f"H-{n}", "b": "~ground"} for n in range(1, 9)
    ]
    parts = {
        "link": links,
        "diode": [{"anode": "D-9", "cathode": "D-10"}],
        "leak": [{"a": "D-11", "b": "H-12", "ohms": 4700}],
    }
    leads = {n: f"D-{n}" for n in range(1, half + 1)} | {half + n: f"H-{n}" for n in range(1, half + 1)}
    bench = VirtualBench(parts, leads, cards=channels // 64)
    bench.ask("SYST:SYNC? 1,7")
    bench.ask("SYST:LEAS? 2,7,500")
    for first in range(1, channels + 1, 48):
        bench.ask(f"MEAS:VOLT? 3,(@{first}:{min(channels, first + 47)})")
    before = time.process_time()
    for first in range(1, channels + 1, 64):
        assert bench.ask(f"SCAN:WALK? 4,(@{first}:{first + 63}),(@1:{channels})")[7:8] == b"W"
    return time.process_time() - before


@pytest.mark.parametrize(("channels", "seconds"), [(64, 0.3), (256, 2.0)])
def test_a_walk_costs_the_host_less_than_stated(channels, seconds):
    assert walked(channels) < seconds
