"""The diodes of a piece as its linear rest sees them: a few junctions, solved by Newton's method among themselves.

The rest of the piece is eliminated once for each state of its pins. What is left is one line a junction: the voltage
across it without any excess current, and what a unit of current in each junction adds to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hwspec.virtual.assembly import Assembly, known
from hwspec.virtual.cell import diode_law, limited
from hwspec.virtual.elimination import solve_dense

MOST = 8  # beyond so many junctions the sparse matrix of the whole piece is cheaper
NOMINAL = 1e-7  # siemens of each junction in the linear rest: keeps a node that only diodes hold from floating
NEAR_V = 1e-9  # among themselves
WHOLE_NEAR_V = 1e-7  # in the whole piece: milliohms beside megohms leave a rounding noise of some nanovolts there
TURNS = 200

Law = tuple[float, float, float]


@dataclass(frozen=True)
class Junctions:
    """The linear rest of a piece: ``open_v[n]`` and ``by_port[p][n]`` across junction n, ``ohms[n][k]`` from k to n."""

    laws: list[Law]
    open_v: list[float]
    by_port: list[tuple[int, list[float]]]
    ohms: list[list[float]]

    def settle(self, ports: Sequence[float], guess: list[float]) -> None:
        """Turn `guess` into the junction voltages at these port voltages."""
        apart = list(self.open_v)
        for port, weights in self.by_port:
            volts = ports[port]
            if volts:
                apart = [a + volts * w for a, w in zip(apart, weights, strict=True)]
        for _ in range(TURNS):
            solved = self._step(apart, guess)
            worst = 0.0
            for n, across in enumerate(solved):
                worst = max(worst, abs(across - guess[n]))
                guess[n] = limited(across, guess[n], self.laws[n][0], self.laws[n][1])
            if worst < NEAR_V:
                break

    def _step(self, apart: list[float], at: list[float]) -> list[float]:
        """Voltages across the junctions with each diode linearised at `at`."""
        rest, slope = [], []
        for law, volts in zip(self.laws, at, strict=True):
            current, g = diode_law(volts, *law)
            rest.append(current - g * volts)
            slope.append(g - NOMINAL)
        if len(at) == 1:
            z = self.ohms[0][0]
            return [(apart[0] - z * rest[0]) / (1 + z * slope[0])]
        places = range(len(at))
        matrix = [[(n == k) + self.ohms[n][k] * slope[k] for k in places] for n in places]
        return solve_dense(matrix, [apart[n] - sum(self.ohms[n][k] * rest[k] for k in places) for n in places])


def junctions(work: Assembly) -> Junctions:
    """Eliminate the linear rest of a filled matrix that has no diode in it yet."""
    shape, supplies = work.shape, work.supplies
    units = []
    for anode, cathode, _ in shape.diodes:
        work.add_conductance(anode, cathode, NOMINAL)
        unit = [0.0] * shape.nodes
        for node, sign in ((anode, 1.0), (cathode, -1.0)):
            if node >= 0:
                unit[node] += sign
        units.append(unit)
    rest = work.solved(units)

    def across(v: Sequence[float], held: Sequence[float]) -> list[float]:
        return [known(v, anode, held) - known(v, cathode, held) for anode, cathode, _ in shape.diodes]

    nothing = [0.0] * len(supplies)
    columns = [across(unit, nothing) for unit in units]
    return Junctions(
        [law for _, _, law in shape.diodes],
        across(rest.v0, supplies),
        [(port, across(weights, nothing)) for port, weights in rest.w.items()],
        [list(row) for row in zip(*columns, strict=True)],
    )
