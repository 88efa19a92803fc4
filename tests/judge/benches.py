"""Short ways to write expectations and readings in tests."""

from collections.abc import Iterable

from tester.harness.expected import Expected, Outcome
from tester.harness.netlist import Netlist
from tester.harness.reading import Measured


def circuits(text: str) -> Netlist:
    """``"D-1 H-1 | D-2 | D-3 H-3 H-4"``."""
    return Netlist.of([part.split() for part in text.split("|")])


def expect(*outcomes: str, **more) -> Expected:
    return Expected(tuple(Outcome(circuits(text)) for text in outcomes), **more)


def measured(text: str, *, touched: Iterable[str] = (), **more) -> Measured:
    netlist = circuits(text)
    directed = {name for link in more.get("directed", ()) for name in link}
    proven = {name for circuit in netlist if len(circuit) > 1 for name in circuit} | set(touched) | directed
    more = {
        key: frozenset(value) if key in ("doubtful", "directed", "not_seen") else value for key, value in more.items()
    }
    return Measured(netlist, proven=frozenset(proven), **more)


def by_cavity(verdict) -> dict[str, str]:
    return {c.cavity: c.verdict for c in verdict.cavities}


def kinds(verdict) -> list[str]:
    return [fault.kind for fault in verdict.faults]
