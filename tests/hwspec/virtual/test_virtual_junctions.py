"""Diodes solved among themselves against Newton on the whole matrix of the piece, which shares no step with it."""

from __future__ import annotations

import random

import pytest

from hwspec.virtual import component
from hwspec.virtual.parts import Parts
from tests.hwspec.virtual.test_virtual_circuit import circuit, worst_cell

CHANNELS = 12


def _harness(rng: random.Random) -> dict[str, list[dict[str, object]]]:
    """Wire, leaks and up to four diodes, some in a row over a point that nothing else holds."""
    points = [f"D-{c}" for c in range(1, CHANNELS + 1)]
    rng.shuffle(points)
    links = [{"a": points[n], "b": points[n + 1], "ohms": rng.uniform(0.03, 0.2)} for n in range(0, 6, 2)]
    leaks = [{"a": points[0], "b": points[7], "ohms": rng.choice((120.0, 4700.0, 80e3))}]
    drops = (0.25, 0.6, 0.65, 1.8)
    diodes = [{"anode": points[4], "cathode": "~between", "drop_v": rng.choice(drops)}]
    diodes += [{"anode": "~between", "cathode": points[8], "drop_v": rng.choice(drops)}]
    for _ in range(rng.randint(0, 2)):
        anode, cathode = rng.sample(points, 2)
        diodes.append({"anode": anode, "cathode": cathode, "drop_v": rng.choice(drops)})
    return {"link": links, "leak": leaks, "diode": diodes}


def _seen(harness: dict[str, list[dict[str, object]]], seed: int) -> list[float]:
    cells = [worst_cell(leak_a=random.Random(f"leak {seed} {c}").uniform(-1e-7, 1e-7)) for c in range(CHANNELS)]
    made = circuit(Parts(cells), harness, CHANNELS)
    seen = []
    for driven in range(CHANNELS):
        made.set_pin(driven, 1)
        made.clock.advance(3_000_000)
        seen += [made.pin_volts(c) for c in range(CHANNELS)]
        made.set_pin(driven, 0)
        made.clock.advance(200_000)
        seen += [made.point_volts(c) for c in range(CHANNELS)]
    return seen


@pytest.mark.parametrize("seed", range(8))
def test_both_ways_of_solving_diodes_give_the_same_volts(seed, monkeypatch):
    harness = _harness(random.Random(f"junctions {seed}"))
    few = _seen(harness, seed)
    monkeypatch.setattr(component, "MOST", 0)
    whole = _seen(harness, seed)
    assert few == pytest.approx(whole, abs=2e-6)
    assert max(few) - min(few) > 1.0
