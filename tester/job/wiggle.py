"""The dropout watch: load the patterns on the board, start, read its log, judge. Touches no store."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from tester.board.client import Board
from tester.board.readings import NOT_OVER, WatchEvent, WatchLogFrame
from tester.errors import BoardError, InputError
from tester.harness.cavity import in_order
from tester.harness.leads import LeadMap
from tester.harness.netlist import Netlist
from tester.harness.reading import Measured
from tester.judge import Blip, Dropout, WatchLog, WatchResult, judge_watch
from tester.scan import bits, expected_rows, hidden_touches, let_go_lists, let_go_steps, watch_pattern

EVERY = 1  # readings of the held pattern between two steps of letting go
PROTOCOL = (1, 1)  # from which on the board knows how to let go
TURN_S = 0.2  # between two looks at the log; the lease lasts 0.5 s


@dataclass(frozen=True)
class WatchPlan:
    """What is watched: circuits by channel, the held pattern, and what of it is let go in turn, against touches."""

    circuits: tuple[tuple[int, ...], ...]
    read: tuple[int, ...]
    held: tuple[int, ...]
    let_go: tuple[tuple[int, ...], ...]


def plan_watch(netlist: Netlist, leads: LeadMap) -> WatchPlan:
    """The watch for these circuits on these leads. Raises InputError when no circuit has two cavities on leads."""
    at = {cavity: channel for channel, cavity in leads.channels.items()}
    circuits = tuple(
        circuit for circuit in (tuple(sorted(at[name] for name in c if name in at)) for c in netlist) if circuit
    )
    if max(map(len, circuits), default=0) < 2:
        raise InputError("no circuit has two cavities on leads, so there is nothing that could drop out")
    held = watch_pattern(circuits)
    return WatchPlan(circuits, tuple(sorted(leads.channels)), held, tuple(let_go_lists(held)))


def _new_enough(board: Board) -> None:
    said = tuple(int(part) for part in board.info.protocol.split("."))
    if said < PROTOCOL:
        raise BoardError(
            f"{board.address}: the board speaks protocol {board.info.protocol}, the dropout watch needs 1.1",
            "Bring its firmware up to date: `loomwright board install`.",
            code="protocol",
        )


def watch(
    board: Board,
    leads: LeadMap,
    measured: Measured,
    seconds: float,
    *,
    on_dropout: Callable[[Dropout], None] | None = None,
    stop: Callable[[], bool] | None = None,
    on_turn: Callable[[float], None] | None = None,
) -> WatchResult:
    """Watch for so many seconds while a person moves the harness.

    measured    the newest scan: circuits, and one-way parts, as they must stay
    on_dropout  called once for each dropout, as soon as it is over
    stop        asked several times a second; true ends the watch early (the result is then not complete)
    on_turn     called with the seconds watched so far

    Raises BoardError, and InputError when the harness is not as it was scanned.
    """
    netlist = measured.netlist
    plan = plan_watch(netlist, leads)
    blind = _begin(board, plan, measured, leads)
    events: dict[int, WatchEvent] = {}
    told: set[tuple[str, tuple[str, ...], float]] = set()
    ended_early = False
    try:
        while True:
            time.sleep(TURN_S)
            frame = board.watch_log(_first_open(events))
            _take(events, frame)
            result = _judge(events, frame, plan, leads, netlist, complete=True)
            for drop in result.dropouts:
                key = (drop.kind, drop.cavities, drop.at_ms)
                if key not in told and drop.at_ms + drop.lasted_ms < frame.elapsed_ms - 1000 * TURN_S / 2:
                    told.add(key)
                    if on_dropout:
                        on_dropout(drop)
            if on_turn:
                on_turn(frame.elapsed_ms / 1000)
            ended_early = bool(stop and stop())
            if ended_early or frame.elapsed_ms >= seconds * 1000 or not frame.running:
                break
    finally:
        last = board.watch_stop()
        board.off()
    _take(events, last)
    complete = last.elapsed_ms >= seconds * 1000 and not ended_early
    result = replace(_judge(events, last, plan, leads, netlist, complete=complete), touch_blind=blind)
    for drop in result.dropouts:
        if (drop.kind, drop.cavities, drop.at_ms) not in told and on_dropout:
            on_dropout(drop)
    return result


def _begin(board: Board, plan: WatchPlan, measured: Measured, leads: LeadMap) -> tuple[tuple[str, ...], ...]:
    """Load and start the watch. Groups of circuits, each by one cavity, between which no touch is seen."""
    if "watch" not in board.info.can:
        raise BoardError("this board cannot watch for dropouts", "Use a board that can (board info).", code="channels")
    _new_enough(board)
    board.watch_load(plan.read, plan.held, plan.let_go)
    start = board.watch_start(EVERY, let_go=True)
    wrong = _differing(plan, measured, leads, start.rows)
    if wrong:
        board.watch_stop()
        names = ", ".join(leads.channels[channel] for channel in wrong)
        raise InputError(f"the harness is not as it was scanned: look at {names}", "Scan it again, then watch.")
    low = [{plan.read[k] for k in bits(row)} for row in start.rows[1:]]
    hidden = hidden_touches(plan.held, plan.let_go, low)
    return tuple(tuple(in_order(leads.channels[channel] for channel in group)) for group in hidden)


def _differing(plan: WatchPlan, measured: Measured, leads: LeadMap, rows: Sequence[int]) -> list[int]:
    """Channels whose first reading is not the scan's; what lies behind a part may read low when let go.

    Of what is let go the board answers only what stays low.
    """
    home = {channel: circuit for circuit in plan.circuits for channel in circuit}
    at = {cavity: channel for channel, cavity in leads.channels.items()}
    behind: set[int] = set()
    both = [pair for part in measured.parts for pair in ((part.a, part.b), (part.b, part.a))]
    for a, b in (*measured.directed, *both):
        if a in at and b in at:
            behind.update(home[at[b]])
    (want,) = expected_rows(plan.circuits, plan.read, [plan.held])
    wrong = {plan.read[k] for k in bits(want ^ rows[0])}
    wrong |= {plan.read[k] for row in rows[1:] for k in bits(row)} - behind
    return sorted(wrong)


def _first_open(events: dict[int, WatchEvent]) -> int:
    """Number of the first event to ask for: the first that was not over yet, else the next."""
    unfinished = [number for number, event in events.items() if event.duration_us == NOT_OVER]
    return min(unfinished, default=len(events))


def _take(events: dict[int, WatchEvent], frame: WatchLogFrame) -> None:
    for number, event in enumerate(frame.events, frame.first):
        events[number] = event


def _judge(
    events: dict[int, WatchEvent],
    frame: WatchLogFrame,
    plan: WatchPlan,
    leads: LeadMap,
    netlist: Netlist,
    complete: bool,
) -> WatchResult:
    blips = tuple(
        Blip(
            event.at_us,
            None if event.duration_us == NOT_OVER else event.duration_us,
            leads.channels[event.channel],
            event.pattern,
            event.what == 1,
        )
        for _, event in sorted(events.items())
    )
    names = leads.channels
    log = WatchLog(
        blips,
        frame.total,
        frame.longest_us,
        frame.mean_us,
        frame.elapsed_ms,
        tuple(names[c] for c in plan.held),
        tuple(tuple(names[c] for c in row) for row in plan.let_go),
        EVERY,
        complete,
        let_go_steps(plan.let_go),
    )
    return judge_watch(log, netlist)
