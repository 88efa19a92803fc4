"""From an explanation to the faults that a person is told: what happened, where, which steps touch it."""

from __future__ import annotations

from collections.abc import Iterable

from tester.harness.cavity import cavity_key, in_order
from tester.harness.expected import Expected
from tester.harness.netlist import Netlist
from tester.harness.verdict import Fault
from tester.judge.explain import Circuit, Explanation, relabelled
from tester.judge.geometry import Geometry
from tester.judge.ranking import Move, grouped

PLUG_CAVITIES = 3  # so many wired cavities, all open, make a plug that is not home


def likeliest(cavities: Iterable[str], expected: Expected) -> tuple[str, ...]:
    """Cavities with those that a step touched first, each group in order."""
    return tuple(sorted(set(cavities), key=lambda name: (name not in expected.edited, cavity_key(name))))


def steps_of(cavities: Iterable[str], expected: Expected) -> tuple[str, ...]:
    """Ids of the steps that touch these cavities, each once, in the order of the cavities."""
    return tuple(dict.fromkeys(step for name in cavities for step in expected.steps.get(name, ())))


def untouched(cavities: Iterable[str], expected: Expected) -> bool:
    """True when no step touched any of these cavities: the lead set is looked at first. So it is without steps."""
    return expected.edited.isdisjoint(cavities)


def faults_of(
    explanation: Explanation, number: int, wanted: Netlist, expected: Expected, geometry: Geometry | None = None
) -> list[Fault]:
    """Faults of explanation `number` of a harness that should be `wanted`. `geometry`: of its cavities, if at hand."""
    moved = dict(explanation.moved)
    geometry = geometry or Geometry(expected.faces, wanted.cavities)
    faults = [_misplaced(action, moves, number, expected) for action, moves in grouped(moved, wanted, geometry)]
    faults += [_short(one, other, number, expected) for one, other in explanation.bridges]
    if explanation.opens:
        sitting = relabelled(wanted, moved) if moved else wanted
        faults += _opens(explanation, number, sitting, geometry, expected)
    return faults


def _misplaced(action: str, moves: list[Move], number: int, expected: Expected) -> Fault:
    moves = sorted(moves, key=lambda move: (move[0] not in expected.edited, cavity_key(move[0])))
    belongs, sits = tuple(a for a, _ in moves), tuple(b for _, b in moves)
    cavities = tuple(dict.fromkeys([*sits, *belongs]))
    if action in ("swap", "move") and untouched(cavities, expected):
        action = "leads exchanged"
    return Fault("miswire", cavities, number, action, sits, belongs, steps_of(in_order(cavities), expected))


def _short(one: Circuit, other: Circuit, number: int, expected: Expected) -> Fault:
    cavities = likeliest([*one, *other], expected)
    sealed = [circuit for circuit in (one, other) if any(name in expected.sealed for name in circuit)]
    action = "sealed-off lead touching" if sealed else "bridge"
    if sealed and sealed[0] is other:
        one, other = other, one
    return Fault("short", cavities, number, action, tuple(one), tuple(other), steps_of(cavities, expected))


def _opens(
    explanation: Explanation, number: int, sitting: Netlist, geometry: Geometry, expected: Expected
) -> list[Fault]:
    """Openings; those of a connector of which every wired cavity is open become one fault of its plug.

    Where the same openings leave a second connector open as well, either plug explains them: both are named.
    """
    opens = list(explanation.opens)
    plugs = []
    if len(_alone(opens)) >= PLUG_CAVITIES:
        for rows in geometry.rows.values():
            wired = [name for row in rows for name in row if name in sitting and len(sitting.circuit_of(name)) > 1]
            if len(wired) >= PLUG_CAVITIES:
                plugs.append(wired)
    faults = []
    for plug in plugs:
        alone = _alone(opens)
        if not alone.issuperset(plug):
            continue
        mine = _openings(plug, opens)
        either = [other for other in plugs if alone.issuperset(other) and _openings(other, opens) == mine]
        wired = [name for other in either for name in other]
        opens = [one for one in opens if one not in mine]
        cavities = likeliest(wired, expected)
        others = in_order({name for cut, rest in mine for name in (*cut, *rest)} - set(wired))
        faults.append(
            Fault("open", cavities, number, "plug not home", cavities, tuple(others), steps_of(cavities, expected))
        )
    return faults + [_open(cut, rest, number, expected) for cut, rest in opens]


def _alone(opens: list[tuple[Circuit, Circuit]]) -> set[str]:
    """Cavities that the openings leave joined to nothing."""
    return {side[0] for one in opens for side in one if len(side) == 1}


def _openings(plug: list[str], opens: list[tuple[Circuit, Circuit]]) -> list[tuple[Circuit, Circuit]]:
    """Openings that leave a cavity of this plug alone."""
    return [one for one in opens if any(len(side) == 1 and side[0] in plug for side in one)]


def _open(cut: Circuit, rest: Circuit, number: int, expected: Expected) -> Fault:
    if len(rest) < len(cut):
        cut, rest = rest, cut
    if len(cut) > 1:
        action = "splice incomplete"
    elif len(rest) == 1:
        action = "lead not touching" if untouched(cut + rest, expected) else "missing wire"
    else:
        action = "lead not touching" if untouched(cut, expected) else "open terminal"
    cavities = likeliest(cut, expected) if len(cut) < len(rest) else likeliest(cut + rest, expected)
    belongs = tuple(in_order(rest))
    return Fault("open", cavities, number, action, tuple(cut), belongs, steps_of(cavities, expected))
