"""The virtual board's circuit written out for ngspice, part by part and without any of the solver's short cuts."""

from __future__ import annotations

import random
import re
import subprocess
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from hwspec.virtual.cell import harness_diode
from hwspec.virtual.circuit import Circuit
from hwspec.virtual.clock import Clock
from hwspec.virtual.harness import Harness
from hwspec.virtual.leads import Leads
from hwspec.virtual.parts import CLAMP, PER_CARD, PIN_CLAMP, VDD, VIL, Parts
from hwspec.virtual.trace import Trace
from hwspec.virtual.wiring import BOARD_GROUND, build, point
from tests.support.tools import need_program
from tests.support.virtual import as_harness

_THERMAL_V = 0.025864186
LEADS = Leads({c: f"D-{c}" for c in range(1, 9)} | {c: f"H-{c - 8}" for c in range(9, 17)}, {2: 0.3, 11: 0.08})
SENSE = ((0, 1), 710e3, 100e6)
REFERENCE = ((2, -1), 710e3, 100e6)
SINGLE = ((3, -1), 15e6, 6e6)


@dataclass
class State:
    """What the chips do: channel (from 1) -> "low" or "high"; rail 0, 1 or 2; channels on S+, S-, force (0: none).

    `load`: converter inputs with differential and common ohms, or None. `pulled`: channels with the chip's pull-up.
    """

    drive: dict[int, str] = field(default_factory=dict)
    rail: int = 1
    mux: tuple[int, int, int] = (0, 0, 0)
    load: tuple[tuple[int, int], float, float] | None = None
    pulled: frozenset[int] = frozenset()
    spare: int = 0


def circuit_in(parts: Parts, harness: Harness, leads: Leads, state: State) -> Circuit:
    """The solver's circuit in that state, settled. Drives even where a voltage is present (no chip watches here)."""
    cards = (len(parts.cells) + PER_CARD - 1) // PER_CARD
    circuit = Circuit(parts, build(parts, leads, harness, cards), Clock(), Trace())
    for piece in circuit.pieces:
        piece.live = False
    circuit.set_rail(state.rail)
    for channel in {*state.drive, *state.pulled}:
        way = {"low": 1, "high": 2}.get(state.drive.get(channel, ""), 0)
        circuit.set_pin(channel - 1, way, channel in state.pulled)
    for tree, channel in enumerate(state.mux):
        if channel:
            circuit.set_mux(tree, channel - 1)
    circuit.set_reference(state.spare)
    if state.load is not None:
        circuit.ports.set_load(*state.load)
    circuit.clock.advance(10_000_000_000)
    return circuit


class _Deck:
    def __init__(self) -> None:
        self.lines = ["virtual board written out"]
        self._models: dict[tuple[float, float, float], str] = {}
        self._count = 0

    def add(self, kind: str, *rest: object) -> None:
        self._count += 1
        self.lines.append(
            f"{kind}{self._count} " + " ".join(f"{r:.12g}" if isinstance(r, float) else str(r) for r in rest)
        )

    def diode(self, anode: str, cathode: str, law: tuple[float, float, float]) -> None:
        if law not in self._models:
            self._models[law] = f"DM{len(self._models)}"
            self.lines.append(
                f".model {self._models[law]} D(IS={law[0]:.12g} N={law[1] / _THERMAL_V:.12g} RS={law[2]:.12g})"
            )
        self.add("D", anode, cathode, self._models[law])


def _name(node: str) -> str:
    return "0" if node == BOARD_GROUND else "n_" + re.sub(r"[^a-z0-9]", "_", node.lower().replace("~", "j."))


def _cells(deck: _Deck, parts: Parts, state: State) -> None:
    for index, cell in enumerate(parts.cells):
        channel, card = index + 1, index // PER_CARD
        tp, n, p, m = _name(point(channel)), f"hub{channel}", f"pin{channel}", f"sense{channel}"
        vdd = f"vdd{card}"
        deck.add("R", tp, n, cell.series)
        deck.add("R", n, p, cell.pin_series)
        deck.add("R", n, f"vpu{card}", cell.pull)
        deck.add("R", tp, m, cell.sense)
        deck.add("I", "0", p, "DC", cell.leak_a)
        for node, law in ((n, CLAMP), (p, PIN_CLAMP), (m, PIN_CLAMP)):
            deck.diode(node, vdd, law)
            deck.diode("0", node, law)
        way = state.drive.get(channel)
        if way:
            deck.add("R", p, "0" if way == "low" else vdd, cell.low if way == "low" else cell.high)
        if channel in state.pulled:
            deck.add("R", p, vdd, cell.chip_pull)
        for tree, (bus, node) in enumerate((("splus", m), ("sminus", m), ("force", p))):
            if state.mux[tree] == channel:
                deck.add("R", node, bus, cell.mux[tree])


def _main_board(deck: _Deck, parts: Parts, state: State) -> None:
    """Supplies as in the study's abuse deck: a regulator that cannot sink, 8 mA of load, a shunt at 3.6 V."""
    for card in range((len(parts.cells) + PER_CARD - 1) // PER_CARD):
        deck.add("V", f"reg{card}", "0", VDD)
        deck.add(
            "B", f"reg{card}", f"vdd{card}", f"I=(v(reg{card})-v(vdd{card}))>0 ? (v(reg{card})-v(vdd{card}))*1e4 : 0"
        )
        deck.add("I", f"vdd{card}", "0", "DC", 0.008)
        deck.add("B", f"vdd{card}", "0", f"I=v(vdd{card})>3.6 ? (v(vdd{card})-3.6)*5 : 0")
        if state.rail == 2:
            deck.add("R", f"vpu{card}", f"vdd{card}", 2 * parts.divider)
            deck.add("R", f"vpu{card}", "0", 2 * parts.divider)
        else:
            deck.add("V", f"vpu{card}", "0", VDD if state.rail else 0.0)
    for tree, bus in enumerate(("splus", "sminus", "force")):
        deck.add("I", "0", bus, "DC", parts.bus_leak_a[tree])
        deck.add("R", bus, "0", 1e10)
    deck.add("R", "force", "0", parts.reference)
    deck.add("R", "splus", "ain3", parts.single_ended)
    if state.load is not None:
        inputs, differential, common = state.load
        at = ["0" if number < 0 else ("splus", "sminus", "force", "ain3")[number] for number in inputs]
        deck.add("R", at[0], at[1], differential)
        for node in at:
            if node != "0":
                deck.add("R", node, "0", common)
    else:
        deck.add("R", "ain3", "0", 1e12)
    if state.spare:
        deck.add("R", "top", "bottom", parts.spare)
        deck.add("R", "bottom", "force", 60.0)
        deck.add("R", "top", "splus", 10060.0)
        deck.add("R", "bottom", "sminus", 10060.0)
        if state.spare == 1:
            deck.add("R", "vref", "top", parts.spare_series)
            deck.add("V", "vref", "0", VDD)


def _harness(deck: _Deck, harness: Harness, leads: Leads) -> None:
    home = {cavity: point(channel) for channel, cavity in leads.channels.items() if not leads.ohms.get(channel)}
    for channel, ohms in leads.ohms.items():
        deck.add("R", _name(point(channel)), _name(leads.channels[channel]), ohms)

    def at(node: str) -> str:
        return _name(home.get(node, node))

    for wire in harness.resistors:
        deck.add("R", at(wire.a), at(wire.b), wire.ohms)
    for drop in harness.dropouts:
        deck.add("R", at(drop.a), at(drop.b), drop.ohms)
    for diode in harness.diodes:
        deck.diode(at(diode.anode), at(diode.cathode), harness_diode(diode.drop_v))
    for number, source in enumerate(harness.voltages):
        deck.add("V", f"source{number}", at(source.to or BOARD_GROUND), source.volts)
        deck.add("R", f"source{number}", at(source.at), source.ohms)
    for node in harness.nodes():
        deck.add("R", at(node), "0", 1e13)


def spice_voltages(parts: Parts, harness: Harness, leads: Leads, state: State) -> dict[str, float]:
    """Node voltages by ngspice: "channel 3" (test point), "pin 3", "S+", "S-", "force", "AIN3"."""
    deck = _Deck()
    _cells(deck, parts, state)
    _main_board(deck, parts, state)
    _harness(deck, harness, leads)
    wanted = {"S+": "splus", "S-": "sminus", "force": "force", "AIN3": "ain3"}
    for channel in range(1, len(parts.cells) + 1):
        wanted[point(channel)] = _name(point(channel))
        wanted[f"pin {channel}"] = f"pin{channel}"
    return _solved(deck.lines, wanted)


def _solved(lines: Sequence[str], wanted: Mapping[str, str]) -> dict[str, float]:
    """Run ngspice on the lines of a deck; voltages of the nodes in `wanted` by its keys."""
    run = [
        ".options gmin=1e-15 reltol=1e-7 abstol=1e-15 vntol=1e-10 itl1=500",
        ".control",
        "set numdgt=12",
        "op",
        *(f"print v({node})" for node in wanted.values()),
        "quit",
        ".endc",
        ".end",
    ]
    done = subprocess.run(
        [need_program("ngspice"), "-b", "/dev/stdin"],
        input="\n".join([*lines, *run]),
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    found = {m[1]: float(m[2]) for m in re.finditer(r"^v\((\S+)\) = (\S+)$", done.stdout, re.M)}
    if set(wanted.values()) - set(found):
        raise RuntimeError(f"ngspice did not solve the deck:\n{done.stdout}\n{done.stderr}")
    return {name: found[node] for name, node in wanted.items()}


def solver_voltages(circuit: Circuit) -> dict[str, float]:
    """The same voltages by the solver."""
    found = {}
    for index in range(circuit.channels):
        found[point(index + 1)] = circuit.point_volts(index)
        found[f"pin {index + 1}"] = circuit.pin_volts(index)
    circuit.solve_ports()
    for name, number in (("S+", 0), ("S-", 1), ("force", 2), ("AIN3", 3)):
        found[name] = circuit.ports.input_volts(number)
    return found


def worst(parts: Parts, harness: Harness, leads: Leads, state: State) -> float:
    """Largest relative difference of any voltage, and of S+ minus S- where both are connected.

    Voltages below the lowest threshold (VIL) count against that threshold.
    """
    spice = spice_voltages(parts, harness, leads, state)
    ours = solver_voltages(circuit_in(parts, harness, leads, state))
    floating = set() if state.spare else {"S+", "AIN3"} if not state.mux[0] else set()
    floating |= {"S-"} if not state.mux[1] and not state.spare else set()
    found = max(abs(spice[name] - ours[name]) / max(abs(spice[name]), VIL) for name in spice if name not in floating)
    if state.mux[0] and state.mux[1] and state.mux[0] != state.mux[1]:
        across = spice["S+"] - spice["S-"]
        found = max(found, abs(ours["S+"] - ours["S-"] - across) / max(abs(across), 1e-4))
    return found


def random_harness(seed: int, faulty: bool) -> Harness:
    """Wires, a splice, parts; a faulty one also holds a source, a heavy leak and a diode the wrong way."""
    rng = random.Random(f"harness {seed}")
    ends = [*LEADS.channels.values(), "~a", "~b", "D-40"]
    tables: dict[str, list[dict[str, object]]] = {"link": [], "leak": [], "diode": []}
    for _ in range(rng.randint(5, 11)):
        a, b = rng.sample(ends, 2)
        tables["link"].append({"a": a, "b": b, "ohms": round(10 ** rng.uniform(-2, 1.5), 4)})
    for _ in range(rng.randint(1, 4)):
        a, b = rng.sample(ends, 2)
        tables["leak"].append({"a": a, "b": b, "ohms": round(10 ** rng.uniform(2, 6.5), 1)})
    for _ in range(rng.randint(0, 3)):
        a, b = rng.sample(ends, 2)
        tables["diode"].append({"anode": a, "cathode": b, "drop_v": rng.choice([0.27, 0.6, 1.77])})
    if faulty:
        a, b = rng.sample(ends[:16], 2)
        tables["voltage"] = [{"at": a, "volts": rng.choice([12.6, -5.0, 0.4]), "ohms": 470}]
        tables["leak"].append({"a": a, "b": b, "ohms": 3300})
    return as_harness(tables)


def random_states(seed: int, live: bool) -> list[State]:
    """A scan state, an active release, a resistance reading and a sink reading, at random channels."""
    rng = random.Random(f"states {seed}")
    a, b = rng.sample(range(1, 17), 2)
    if live:
        return [State(rail=0, mux=(a, 0, 0), load=SINGLE), State(rail=1, mux=(b, 0, 0), load=SINGLE), State(rail=2)]
    return [
        State({a: "low"}),
        State({a: "high"}),
        State({a: "high"}, 2, (a, b, b), SENSE),
        State({}, 2, (a, b, b), SENSE),
        State({c: "high" for c in range(1, 17) if c != b}, 1, (0, 0, b), REFERENCE),
    ]


def library_voltages(
    library: str, swaps: Mapping[str, float], harness: Sequence[str], wanted: Sequence[str]
) -> dict[str, float]:
    """Node voltages with a library of `schematics/spice` as the board: nominal values, 50 nA into each pin.

    `swaps`: resistor of the library -> ohm; `harness`: further deck lines.
    """
    folder = Path(__file__).resolve().parents[2] / "schematics" / "spice"
    lines = (folder / library).read_text().splitlines()
    for name, ohms in swaps.items():
        place = next(n for n, line in enumerate(lines) if line.split(" ")[0].lower() == name.lower())
        lines[place] = " ".join([*lines[place].split(" ")[:3], f"{ohms:.12g}"])
    deck = [
        "a board of the library",
        ".param t_rs=0 t_r2=0 t_rpu=0 t_rp=0 t_rl=0 leak=50n v_ldo=3.3004 i_load=8m",
        *(folder / "models.lib").read_text().splitlines(),
        *lines,
        "V5 v5 0 5",
        *harness,
    ]
    return _solved(deck, {node: node for node in wanted})
