"""The measuring sequence on the board: voltage check, driver self-check, full scan, repeats, rounds.

Nothing here knows a plan. What comes back holds every raw frame, and `decode` turns stored frames into the same
reading that the live run gave: judging and replay share that one path.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from functools import cached_property
from typing import cast

from tester.board.client import Board
from tester.board.codec import join
from tester.board.frames import DriverFrame, Frame, VoltageFrame, WalkFrame
from tester.errors import BoardError
from tester.harness.cavity import in_order
from tester.harness.leads import LeadMap
from tester.harness.reading import Measured
from tester.job.grade import graded, isolations, take_grade
from tester.scan import ChannelLinks, Round, bits, combine, decode_walk, merge_repeats

WALKS = 2
EXTRA_WALKS = 2
SLICE = 16
WET_V, WET_OHMS = 1.0, 1000.0
PULL_UP_OHMS, RAIL_V = 330_000.0, 3.3
ALIKE_MV = 5
CLAMP_V = 3.5  # above this the board's clamps hold what it reads

Progress = Callable[[int, int], None]
NextRound = Callable[[int, LeadMap], None]
OnRow = Callable[[str, tuple[str, ...]], None]


@dataclass(frozen=True)
class RoundFrames:
    """The frames of one round: which lead map was plugged in, and what the board answered."""

    leads: LeadMap
    frames: tuple[Frame, ...]

    @cached_property
    def graded(self) -> Round | None:
        """The round at wire grade, or None when its frames hold no reading of the converter."""
        return graded(self.links, self.frames, self.leads)

    @cached_property
    def links(self) -> ChannelLinks:
        """What the walks say of this round."""
        return merge_repeats([decode_walk(f.drive, f.read, f.rows) for f in self.frames if isinstance(f, WalkFrame)])


@dataclass(frozen=True)
class ScanRun:
    """A finished full scan over all rounds: the frames, and the reading decoded from them."""

    rounds: tuple[RoundFrames, ...]
    measured: Measured

    @property
    def isolation(self) -> dict[str, float | None]:
        """See `isolation_of`."""
        return isolation_of(self.rounds)


@dataclass(frozen=True)
class Source:
    """A voltage found on a cavity: `volts` with nothing drawn, behind `ohms`. Weak ones may be dampness."""

    cavity: str
    volts: float
    ohms: float

    @property
    def weak(self) -> bool:
        """Under 1 V behind more than 1 kohm: what water and two metals make. Common practice, no source."""
        return abs(self.volts) < WET_V and self.ohms > WET_OHMS

    def __str__(self) -> str:
        wet = f", possibly wet ({self.ohms / 1000:.0f} kohm behind it)" if self.weak else ""
        more = " or more" if self.volts > CLAMP_V else ""
        return f"{self.cavity} {self.volts:+.2f} V{more}{wet}"


class VoltagePresent(BoardError):
    """Cavities carry a voltage, nothing was driven. `sources`: each of them. Code "voltage"."""

    def __init__(self, sources: Iterable[Source]) -> None:
        self.sources = tuple(sources)
        super().__init__(f"voltage present, nothing was driven: {', '.join(map(str, self.sources))}", code="voltage")
        self.leave_out()

    @property
    def wet(self) -> bool:
        """True when every source is weak: possibly wet, and the rest may be scanned."""
        return all(source.weak for source in self.sources)

    def leave_out(self, already: Iterable[str] = ()) -> None:
        """Say the way out anew. `already`: cavities that this run left out; the next one must leave them out too."""
        self.hint = "Unplug the harness from everything that can feed it, let it dry, then start again."
        if self.wet:
            wet = in_order({*already, *(source.cavity for source in self.sources)})
            self.hint = (
                "Photograph it, measure before you unplug or clean anything, let it dry, then scan again. To scan the "
                f"rest meanwhile, never PASS: --leave-out {' --leave-out '.join(wet)}. Then clean and prove the leads."
            )


def sources(frame: VoltageFrame, leads: LeadMap) -> list[Source]:
    """Voltages from outside, from the two readings with the pull-up rail low and high (hwspec/limits.toml, voltage).

    Every point of a circuit pulls on its source, and no scan has told yet which belong together: those that read alike
    count as one circuit. Two that are alike by chance make a source seem stronger, which is the safe side.
    """
    found = []
    live = dict(frame.live())
    read = dict(zip(frame.channels, zip(frame.low_mv, frame.high_mv, strict=True), strict=True))
    for channel in live:
        low, high = read[channel]
        alike = sum(max(abs(low - a), abs(high - b)) <= ALIKE_MV for a, b in read.values())
        moved = min(max((high - low) / 1000, 0.0), RAIL_V - 0.001)
        apparent = PULL_UP_OHMS * moved / (RAIL_V - moved)
        volts = low / 1000 * (apparent + PULL_UP_OHMS) / PULL_UP_OHMS
        found.append(Source(leads.channels[channel], volts, apparent / alike))
    return found


def check_voltage(board: Board, leads: LeadMap) -> VoltageFrame:
    """Refuse to go on when a cavity carries a voltage.

    Raises VoltagePresent naming each cavity with its volts, and which may only be wet.
    """
    frame = board.voltage(sorted(leads.channels))
    live = sources(frame, leads)
    if live:
        with suppress(BoardError):
            board.let_go()  # else it refuses everything while the lease lasts, also without the cavities that are wet
        raise VoltagePresent(live)
    return frame


@contextmanager
def naming_sources(board: Board, leads: LeadMap) -> Iterator[None]:
    """A voltage that comes up in the middle is looked at again, so that it is told as at the start (VoltagePresent)."""
    try:
        yield
    except BoardError as error:
        if error.code == "voltage" and not isinstance(error, VoltagePresent):
            check_voltage(board, leads)
        raise


def check_drivers(board: Board, leads: LeadMap) -> DriverFrame:
    """The board's own drivers: each must pull its channel low.

    Raises BoardError (code "self-check") when one cannot; no cavity of the run counts then.
    """
    frame = board.drivers(sorted(leads.channels))
    dead = [channel for channel in frame.weak() if channel in leads.channels]
    if dead:
        listed = ", ".join(f"{channel} ({leads.channels[channel]})" for channel in dead)
        raise BoardError(
            f"driver self-check: channel {listed} does not pull low",
            "The board is at fault, not the harness: see hwspec/build.md, what a wrong reading means.",
            code="self-check",
        )
    return frame


def take_scan(
    board: Board,
    rounds: Sequence[LeadMap],
    *,
    progress: Progress | None = None,
    next_round: NextRound | None = None,
    stop: Callable[[], bool] | None = None,
    on_row: OnRow | None = None,
    also: Iterable[tuple[str, str]] = (),
) -> ScanRun:
    """Full scan of every round: each channel driven in turn, twice; more often where answers disagree.

    progress    called with channels done and channels in all of this walk
    next_round  called before round two and later, with its index and lead map; returns when the leads are moved
    stop        asked between slices; true cancels (BoardError, code "cancelled")
    on_row      called as each driven channel answers, with its cavity and the cavities that it is joined to
    also        pairs of cavities whose resistance is wanted besides those that the scan itself needs

    A board with a converter also measures each low pair and the isolation of each circuit. Touches no store and no
    plan, so it may run in a thread of its own. Raises BoardError; the board is left released on every path.
    """
    for leads in rounds:
        check_channels(board, leads)
    taken: list[RoundFrames] = []
    try:
        for index, leads in enumerate(rounds):
            if index:
                board.off()
                if next_round:
                    next_round(index, leads)
            with naming_sources(board, leads):
                frames = _one_round(board, leads, _Watcher(progress, stop, on_row), tuple(also))
            taken.append(RoundFrames(leads, frames))
    finally:
        board.off()
    return ScanRun(tuple(taken), decode(taken))


def reduced(rounds: Iterable[LeadMap], leave_out: Iterable[str]) -> tuple[LeadMap, ...]:
    """The lead maps without these cavities: nothing drives or reads them, so nothing is said of them."""
    gone = set(leave_out)
    kept = []
    for leads in rounds:
        channels = {channel: cavity for channel, cavity in leads.channels.items() if cavity not in gone}
        ohms = {channel: value for channel, value in leads.lead_ohms.items() if channel in channels}
        kept.append(replace(leads, channels=channels, lead_ohms=ohms))
    return tuple(kept)


def check_channels(board: Board, leads: LeadMap) -> None:
    """Refuse a lead map with more channels than the board has. Raises BoardError (code "channels")."""
    beyond = [channel for channel in sorted(leads.channels) if channel > board.info.channels]
    if beyond:
        raise BoardError(
            f"lead map {leads.id} uses channel {beyond[-1]}, this board has {board.info.channels}",
            "Use a board with more channels, or split the leads into rounds (loomwright plan leads).",
            code="channels",
        )


@dataclass(frozen=True)
class _Watcher:
    """Who wants to know how a walk goes on, and who may end it."""

    progress: Progress | None = None
    stop: Callable[[], bool] | None = None
    on_row: OnRow | None = None

    def row(self, frame: WalkFrame, leads: LeadMap) -> None:
        """Some channels have been driven."""
        if self.on_row:
            for channel, row in zip(frame.drive, frame.rows, strict=True):
                partners = tuple(leads.channels[frame.read[k]] for k in bits(row) if frame.read[k] != channel)
                self.on_row(leads.channels[channel], partners)

    def step(self, done: int, total: int) -> None:
        """So much of this part is done. Raises BoardError (code "cancelled") when a person ended it."""
        if self.progress:
            self.progress(done, total)
        if self.stop and self.stop():
            raise BoardError("cancelled; every channel is released", code="cancelled")


def _one_round(board: Board, leads: LeadMap, watcher: _Watcher, also: tuple[tuple[str, str], ...]) -> tuple[Frame, ...]:
    channels = sorted(leads.channels)
    frames: list[Frame] = []
    if "voltage" in board.info.can:
        frames.append(check_voltage(board, leads))
    frames.append(check_drivers(board, leads))
    walks: list[ChannelLinks] = []
    for turn in range(WALKS + EXTRA_WALKS):
        if turn >= WALKS and not merge_repeats(walks).varied:
            break
        frame = _walk(board, leads, channels, watcher)
        frames.append(frame)
        walks.append(decode_walk(frame.drive, frame.read, frame.rows))
        if walks[-1].silent:
            raise BoardError(
                f"channel {min(walks[-1].silent)} did not read its own low; no cavity of this scan counts",
                "The board is at fault, not the harness: loomwright board check.",
                code="self-check",
            )
    if "resistance" in board.info.can:
        frames += take_grade(board, merge_repeats(walks), leads, also, watcher.step)
    return tuple(frames)


def _walk(board: Board, leads: LeadMap, channels: Sequence[int], watcher: _Watcher) -> WalkFrame:
    parts: list[WalkFrame] = []
    for start in range(0, len(channels), SLICE):
        part = board.walk(channels[start : start + SLICE], channels)
        parts.append(part)
        watcher.row(part, leads)
        watcher.step(min(start + SLICE, len(channels)), len(channels))
    return cast(WalkFrame, join(parts))


def decode(rounds: Sequence[RoundFrames], touched: Iterable[str] = ()) -> Measured:
    """The reading that these frames hold, whenever and wherever they were taken. Pure.

    `touched`: cavities whose lead was proven by touching.
    """
    seen = [one.graded or Round(one.links, one.leads.channels) for one in rounds]
    wire = bool(rounds) and all(one.graded is not None for one in rounds)
    return combine(seen, touched=touched, grade="wire" if wire else "scan")


def isolation_of(rounds: Sequence[RoundFrames]) -> dict[str, float | None]:
    """Cavity -> lowest ohms that any round read between its circuit and all others; None where none was seen."""
    found: dict[str, float | None] = {}
    for one in rounds:
        links = one.graded.links if one.graded is not None else one.links
        for cavity, ohms in isolations(one.frames, links, one.leads).items():
            before = found.get(cavity)
            found[cavity] = ohms if before is None else min(before, ohms if ohms is not None else before)
    return found
