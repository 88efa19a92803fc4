"""A board that stood still in the middle of a command says so; the client asks again from the start."""

from __future__ import annotations

import pytest

from tests.campaigns.rig import Rig
from tests.support.pauses import pausing

LEADS = {1: "D-1", 2: "D-2", 33: "H-1", 34: "H-2"}
WIRES = {"link": [{"a": "D-1", "b": "H-1", "ohms": 0.1}, {"a": "D-2", "b": "H-2", "ohms": 0.1}]}


@pytest.mark.parametrize("ms", [13, 200, 600])
def test_a_scan_with_a_pause_of_the_board_in_it_reads_what_is_there(ms: int) -> None:
    rig = Rig(LEADS)
    whole, _ = rig.measure(WIRES)
    waits = pausing(rig.bench, 10**9, 0)
    rig.measure(WIRES)
    count = waits[0]
    del rig.bench.hal.wait_us
    for after in range(1, count, max(1, count // 12)):
        pausing(rig.bench, after, ms)
        found, _ = rig.measure(WIRES)
        del rig.bench.hal.wait_us
        assert found.netlist == whole.netlist and not found.doubtful, f"{ms} ms at wait {after} of {count}"
        assert not rig.bench.board.trace.driven()
    assert count > 100
    rig.close()
