"""One outcome of the expectation beside the measurement: what is wrong, what cannot be said, and why."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from tester.harness.cavity import in_order
from tester.harness.expected import Expected, Outcome
from tester.harness.netlist import Joiner, Netlist
from tester.harness.reading import Measured
from tester.harness.verdict import Fault
from tester.judge.excess import trace_excess
from tester.judge.explain import distance
from tester.judge.facts import JudgeFacts
from tester.judge.faults import likeliest, steps_of
from tester.judge.isolation import judge_isolation
from tester.judge.limits import LinkResult, judge_links
from tester.judge.parts import UNSTEADY, judge_parts


@dataclass
class Look:
    """One outcome beside the measurement.

    wanted, got  both over the cavities that are known and on leads; `got` gives unknown pairs the benefit of doubt
    wrong        cavities whose circuit is wrong for certain
    why          cavity -> first reason why it is not tested
    faults       of parts, resistance, isolation and watch, and readings in doubt; circuits are left to the diagnosis
    links        resistances judged
    """

    outcome: Outcome
    wanted: Netlist
    got: Netlist
    wrong: frozenset[str]
    why: dict[str, str] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    links: tuple[LinkResult, ...] = ()

    def not_tested(self, cavities: Iterable[str], reason: str) -> None:
        for name in cavities:
            self.why.setdefault(name, reason)

    @property
    def hard(self) -> list[Fault]:
        """Faults that make FAIL."""
        return [fault for fault in self.faults if fault.kind != "doubtful"]

    @property
    def fit(self) -> tuple[bool, int, int, int]:
        """Sort key: the outcome that the measurement fits best comes first."""
        far = distance(self.wanted, self.got) if self.wrong else 0
        return bool(self.wrong or self.hard), far + len(self.hard), len(self.wrong), len(self.why)


def wrong_cavities(wanted: Netlist, got: Netlist) -> frozenset[str]:
    """Cavities whose circuit is not the expected one; both netlists over the same cavities."""
    if wanted.circuits == got.circuits:
        return frozenset()
    return frozenset().union(*set(wanted.circuits).difference(got.circuits))


def look_at(outcome: Outcome, expected: Expected, measured: Measured, facts: JudgeFacts) -> Look:
    """Everything that can be said of one outcome, without the diagnosis."""
    on_leads = measured.netlist
    known = [name for name in outcome.netlist.cavities if name in on_leads]
    wanted = outcome.netlist if len(known) == len(outcome.netlist.cavities) else outcome.netlist.restricted(known)
    wanted = _as_seen_by_scan(wanted, expected, measured)
    here = measured.restricted(known)
    hidden = _hidden(wanted, expected, here)
    got = _benefit(wanted, here, hidden)
    look = Look(outcome, wanted, got, wrong_cavities(wanted, got))
    for pair in hidden:
        look.not_tested(pair, "part that the earlier scan could not tell from wire")
    _reasons(look, expected, measured)
    blocked = look.wrong | {name for name, why in look.why.items() if why.startswith("readings of")}
    parts = judge_parts(expected, wanted, here, blocked)
    links = judge_links(expected, wanted, here, blocked)
    leaks = judge_isolation(expected, wanted, facts.isolation, blocked, facts.isolation_u)
    look.faults += [*parts.faults, *trace_excess(expected, wanted, here, links), *leaks]
    look.links = links.results
    for name, why in (*parts.untested, *links.untested):
        look.not_tested([name], why)
    _dropouts(look, expected, facts)
    return look


def _dropouts(look: Look, expected: Expected, facts: JudgeFacts) -> None:
    """Dropouts longer than the plan allows (none unless it says so), with what the watch may have cut off their length:
    the cadence for openings, a whole round for touches."""
    if facts.watch is None or facts.watch_stale:
        return
    allowed = expected.limits.get("dropout_ms", 0.0)
    cadence_ms = facts.watch.cadence_us / 1000
    round_ms = cadence_ms if facts.watch.shorts_missed_ms is None else facts.watch.shorts_missed_ms
    for drop in facts.watch.dropouts:
        if drop.lasted_ms + (round_ms if drop.kind == "short" else cadence_ms) <= allowed:
            continue
        known = [name for name in drop.cavities if name in look.wanted]
        cavities = likeliest(known or drop.cavities, expected)
        values = {"ms": drop.lasted_ms, "at_ms": drop.at_ms}
        action = f"{drop.kind} for a moment"
        look.faults.append(Fault("dropout", cavities, 0, action, (), (), steps_of(cavities, expected), values))


def _as_seen_by_scan(wanted: Netlist, expected: Expected, measured: Measured) -> Netlist:
    """Without a converter a part of tens of kilohm may read as wire: circuits that it joins count as one.

    So do circuits of a part that would not hold still as found, and of a diode whose answers disagree now.
    """
    if measured.grade == "wire":
        return wanted
    through = [(p.a, p.b) for p in expected.parts if p.ohms_ab is not None and p.ohms_ba is not None]
    through += expected.unsteady
    if measured.doubtful:
        doubted = {_between(wanted, *pair) for pair in measured.doubtful}
        through += [pair for pair in expected.diodes if _between(wanted, *pair) in doubted]
    through = [(a, b) for a, b in through if a in wanted and b in wanted and measured.netlist.joined(a, b)]
    if not through:
        return wanted
    joiner = _joiner(wanted)
    for a, b in through:
        joiner.join(a, b)
    return Netlist.of(joiner.circuits())


def _between(wanted: Netlist, a: str, b: str) -> frozenset[str]:
    """The two circuits of a pair, by the first cavity of each; empty when it is not between two circuits on leads."""
    if a not in wanted or b not in wanted or wanted.joined(a, b):
        return frozenset()
    return frozenset({wanted.circuit_of(a)[0], wanted.circuit_of(b)[0]})


def _carrying(wanted: Netlist, expected: Expected) -> dict[frozenset[str], tuple[str, str]]:
    """Circuits between which something other than wire is known to lie -> the cavities that it is named by."""
    pairs = [*expected.diodes, *expected.unsteady, *((part.a, part.b) for part in expected.parts)]
    found = {_between(wanted, *pair): pair for pair in sorted(pairs, reverse=True)}
    found.pop(frozenset(), None)
    return found


def _joiner(netlist: Netlist) -> Joiner:
    joiner = Joiner(netlist.cavities)
    for circuit in netlist:
        for name in circuit[1:]:
            joiner.join(circuit[0], name)
    return joiner


def _hidden(wanted: Netlist, expected: Expected, measured: Measured) -> list[tuple[str, str]]:
    """Parts within circuits that come from a scan without converter, which reads tens of kilohm as joined.

    Only between pieces that no step touched, and only what conducts both ways: a scan reads the rest otherwise.
    """
    if expected.grade != "scan" or measured.grade != "wire":
        return []
    home, found = measured.netlist.circuit_of, []
    for part in measured.parts:
        within = part.a in wanted and part.b in wanted and wanted.joined(part.a, part.b)
        both_ways = part.ohms_ab is not None and part.ohms_ba is not None
        if within and both_ways and expected.edited.isdisjoint(home(part.a) + home(part.b)):
            found.append((part.a, part.b))
    return found


def _benefit(wanted: Netlist, measured: Measured, hidden: Iterable[tuple[str, str]]) -> Netlist:
    """Measured circuits, with pieces of one expected circuit joined where their pair is doubtful or was not seen.

    Pieces with a `hidden` part between them are joined too.
    """
    home = measured.netlist.circuit_of
    unknown = {(home(a), home(b)) for a, b in (*measured.doubtful, *measured.not_seen, *hidden)}
    if not unknown:
        return measured.netlist
    unknown |= {(b, a) for a, b in unknown}
    joiner = _joiner(measured.netlist)
    for circuit in wanted:
        pieces = list(dict.fromkeys(home(name) for name in circuit))
        for n, one in enumerate(pieces):
            for other in pieces[n + 1 :]:
                if (one, other) in unknown:
                    joiner.join(one[0], other[0])
    return Netlist.of(joiner.circuits())


def _reasons(look: Look, expected: Expected, measured: Measured) -> None:
    """Cavities of this outcome that are not tested, with the reason, strongest reason first."""
    netlist, wanted = measured.netlist, look.wanted
    parts = _carrying(look.outcome.netlist, expected) if measured.doubtful else {}
    for a, b in sorted(measured.doubtful):
        part = parts.get(_between(look.outcome.netlist, a, b))
        if part is not None:
            look.not_tested([name for name in part if name in wanted], UNSTEADY)
            continue
        both = {*netlist.circuit_of(a), *netlist.circuit_of(b)}
        look.not_tested([name for name in both if name in wanted], f"readings of {a} and {b} disagree")
        cavities = likeliest([name for name in (a, b) if name in wanted], expected)
        if cavities:
            look.faults.append(Fault("doubtful", cavities, 0, "", (a,), (b,), steps_of(cavities, expected)))
    for a, b in sorted(measured.not_seen):
        here = [name for name in netlist.circuit_of(a) if name in wanted]
        there = [name for name in netlist.circuit_of(b) if name in wanted]
        if here and there:
            look.not_tested(here, f"never on leads together with {there[0]}")
            look.not_tested(there, f"never on leads together with {here[0]}")
    for circuit in netlist:
        strangers = [name for name in circuit if name not in wanted]
        if strangers and len(circuit) > len(strangers):
            known = [name for name in circuit if name in wanted]
            look.not_tested(known, f"joined to {strangers[0]}, of which the plan says nothing")
    for circuit in look.outcome.netlist:
        absent = [name for name in circuit if name not in netlist and name in expected.required]
        if absent:
            present = [name for name in circuit if name in wanted]
            look.not_tested(present, f"its partner {in_order(absent)[0]} is not on a lead")
    if expected.prove_leads:
        bare = [name for name in expected.required if name in wanted and name not in measured.proven]
        look.not_tested(bare, "its lead is not proven")
