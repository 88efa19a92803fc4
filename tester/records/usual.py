"""Is this one normal? Earlier as-found scans of the same plan and variant are the yardstick. Counts, no verdict."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from tester.harness.cavity import in_order
from tester.harness.netlist import Netlist, Pair, pair
from tester.records.events import Event
from tester.records.search import Query
from tester.records.store import Store

MOST = 200
"""How many earlier scans are looked at, the newest ones."""

OFTEN = 0.8
"""What share of earlier scans makes something usual; 1 - OFTEN makes it unusual."""


@dataclass(frozen=True)
class Oddity:
    """What differs here from most earlier scans: `cavity` was (not) joined to `others` on `times` of `of`."""

    cavity: str
    others: tuple[str, ...]
    times: int
    of: int
    joined_here: bool

    def says(self) -> str:
        """One sentence, counts only."""
        others = " and ".join(", ".join(self.others).rsplit(", ", 1))
        if self.joined_here:
            return f"{self.cavity} is joined to {others} here; it was on {self.times} of {self.of} before"
        return f"{self.cavity} was joined to {others} on {self.times} of {self.of} before, not here"


def unusual(here: Netlist, earlier: Sequence[Netlist]) -> list[Oddity]:
    """What is joined or apart here unlike most earlier scans, fewest sentences first.

    Only scans that had both cavities on leads count for a pair. Nothing is said with no earlier scans.
    """
    counts: dict[Pair, int] = {}
    for scan in earlier:
        for circuit in scan:
            for i, a in enumerate(circuit):
                for b in circuit[i + 1 :]:
                    counts[a, b] = counts.get((a, b), 0) + 1
    present = {name: sum(name in scan for scan in earlier) for name in here.cavities}
    lost: dict[Pair, tuple[int, int]] = {}
    new: dict[Pair, tuple[int, int]] = {}
    for (a, b), times in counts.items():
        if a in here and b in here and not here.joined(a, b):
            of = _both(earlier, a, b, present)
            if times >= OFTEN * of:
                lost[a, b] = times, of
    for circuit in here:
        for i, a in enumerate(circuit):
            for b in circuit[i + 1 :]:
                times, of = counts.get(pair(a, b), 0), _both(earlier, a, b, present)
                if of and times <= (1 - OFTEN) * of:
                    new[a, b] = times, of
    return [*_told(lost, False), *_told(new, True)]


def _both(earlier: Sequence[Netlist], a: str, b: str, present: dict[str, int]) -> int:
    if present[a] == len(earlier):
        return present[b]
    if present[b] == len(earlier):
        return present[a]
    return sum(a in scan and b in scan for scan in earlier)


def _told(pairs: dict[Pair, tuple[int, int]], joined_here: bool) -> Iterable[Oddity]:
    """Pairs gathered under the cavity that explains most of them, so that one loose terminal is one sentence."""
    left = dict(pairs)
    while left:
        ends: dict[tuple[str, tuple[int, int]], list[str]] = {}
        for (a, b), count in left.items():
            ends.setdefault((a, count), []).append(b)
            ends.setdefault((b, count), []).append(a)
        first = in_order(name for name, _ in ends)
        rank = {name: number for number, name in enumerate(first)}
        (name, count), others = max(ends.items(), key=lambda item: (len(item[1]), -rank[item[0][0]]))
        yield Oddity(name, tuple(in_order(others)), count[0], count[1], joined_here)
        for other in others:
            del left[pair(name, other)]


def nets_of(event: Event) -> Netlist | None:
    """The netlist that a scan event says; None when it says none."""
    nets = event.data.get("nets")
    return Netlist.of(nets) if isinstance(nets, list) else None


def earlier_scans(
    log: Store,
    plan: str,
    variant: str = "",
    *,
    besides: str = "",
    purpose: str = "as found",
    kind: str = "scan",
    read: Callable[[Event], Netlist | None] = nets_of,
    most: int = MOST,
) -> list[Netlist]:
    """The last as-found scan of each earlier record of the same plan and variant, newest first.

    `besides`: record to leave out, this one. `read` gets the netlist from a scan event.
    """
    terms = {"variant": variant} if variant else {}
    found: list[Netlist] = []
    for summary in log.jobs(Query(plan=plan, terms=terms, limit=most + 1)):
        if summary.job == besides or len(found) == most:
            continue
        scans = [event for event in log.read(summary.job, kind) if event.data.get("purpose") == purpose]
        netlist = read(scans[-1]) if scans else None
        if netlist is not None:
            found.append(netlist)
    return found
