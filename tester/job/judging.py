"""What judge must know of a job beyond the scan, and what the scan must measure for it. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from tester.board.limits import limit
from tester.board.ohms import isolation_u
from tester.harness.cavity import in_order
from tester.harness.expected import Expected
from tester.harness.leads import LeadMap
from tester.harness.netlist import Netlist, Pair
from tester.job.state import JobState, ScanEntry
from tester.job.stored import watch_of
from tester.judge import JudgeFacts, checks_of, splice_pairs
from tester.words.stages import RENAMED
from tester.words.wet import UNCLEAN, WET, WET_FOUND


def facts_of(
    state: JobState,
    leads: Iterable[LeadMap],
    steps: Iterable[str],
    isolation: Mapping[str, float | None],
    moved: Sequence[str] = (),
) -> JudgeFacts:
    """How the job stands. `steps`: ids of the steps that this harness gets; `isolation` of the scan to be judged;
    `moved`: see `moved_leads`."""
    scan = state.newest_scan("as left")
    return JudgeFacts(
        can=checks_of(state.board.get("can", ("scan",))),
        steps_open=tuple(step for step in steps if step not in state.ticks),
        stale=not state.scan_is_fresh,
        watch=watch_of(state.wiggles[-1]) if state.wiggles else None,
        watch_stale=state.watch_is_stale,
        isolation=isolation,
        isolation_u={name: isolation_u(ohms) for name, ohms in isolation.items() if ohms is not None},
        isolation_seen_to=limit("isolation_seen_to") if isolation else 0.0,
        held=held_back(scan, state.newest_scan("as found"), moved),
        no_lead_why={name: "the lead set cannot reach it" for one in leads for name in one.unreachable},
    )


def moved_leads(found: Iterable[LeadMap], left: Iterable[LeadMap]) -> tuple[str, ...]:
    """Cavities of a lead set whose map says otherwise in the as-left scan than in the as-found scan.

    One lead set cannot be wired both ways, and a wrong terminal vanishes when its channel gets the name that it ought
    to have: what is right in one of the two scans is not known.
    """
    before: dict[tuple[str, int], set[str]] = {}
    for one in found:
        for channel, cavity in one.channels.items():
            before.setdefault((one.id, channel), set()).add(cavity)
    moved: set[str] = set()
    for one in left:
        for channel, cavity in one.channels.items():
            then = before.get((one.id, channel), {cavity})
            if cavity not in then:
                moved |= {cavity, *then}
    return tuple(in_order(moved))


def held_back(
    scan: ScanEntry | None, found: ScanEntry | None, moved: Sequence[str] = ()
) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """What forbids PASS besides what was seen: cavities left out, now or as found, leads not proven since then or
    named otherwise than as found."""
    reasons = [(WET, scan.left_out), (UNCLEAN, scan.unclean)] if scan else []
    reasons += [(WET_FOUND, found.left_out)] if found else []
    reasons += [(RENAMED, frozenset(moved))]
    return tuple((reason, tuple(in_order(names))) for reason, names in reasons if names)


def pairs_to_measure(expected: Expected) -> tuple[tuple[str, str], ...]:
    """Pairs of cavities whose resistance judge wants: links with a limit, and around each splice that was edited."""
    pairs = [(link.a, link.b) for link in expected.links]
    splices: Sequence[tuple[str, ...]] = sorted(
        {c for o in expected.outcomes for c in o.netlist if len(c) > 2 and set(c) & expected.edited}
    )
    for circuit in splices:
        pairs += splice_pairs(circuit)
    return tuple(dict.fromkeys(pairs))


def agrees(expected: Expected, cavity: str, partners: Iterable[str]) -> bool | None:
    """Whether what one cavity is joined to is what the finished harness must have; None when not known.

    `partners`: what read low while this cavity was driven, so what lies behind a known diode may be among them.
    """
    seen = set(partners)
    known = [outcome.netlist for outcome in expected.outcomes if cavity in outcome.netlist]
    return any(_as_driven(netlist, cavity, seen, expected.diodes) for netlist in known) if known else None


def _as_driven(netlist: Netlist, cavity: str, seen: set[str], diodes: Iterable[Pair]) -> bool:
    wanted = set(netlist.partners(cavity))
    circuit = wanted | {cavity}
    behind = {name for a, b in diodes if a in circuit and b in netlist for name in netlist.circuit_of(b)}
    return wanted <= seen <= wanted | behind
