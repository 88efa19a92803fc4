"""Wire grade: what the converter adds to a full scan. Each low pair is measured, each circuit's isolation is read.

`take_grade` measures and returns frames; `graded` and `isolations` decode stored frames, so that replay and the live
run share one path.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence

from tester.board import ohms
from tester.board.client import Board
from tester.board.frames import Frame
from tester.board.readings import CalibrationFrame, IsolationFrame, ResistanceFrame
from tester.harness.cavity import in_order
from tester.harness.leads import LeadMap
from tester.harness.netlist import Joiner
from tester.scan import ChannelLinks, PairOhms, Round, WireGrade

Step = Callable[[int, int], None]


def take_grade(
    board: Board, links: ChannelLinks, leads: LeadMap, also: Iterable[tuple[str, str]], step: Step
) -> list[Frame]:
    """Measure every low pair, then the isolation of every circuit. `also`: further pairs of cavities to measure.

    `step(done, total)` is called after each reading and may raise to end it.
    """
    calibration = board.calibration()
    frames: list[Frame] = [calibration]
    at = {cavity: channel for channel, cavity in leads.channels.items()}
    grade = WireGrade(links, [(at[a], at[b]) for a, b in also if a in at and b in at])
    done = 0
    while wanted := grade.wanted():
        for number, (a, b) in enumerate(wanted, 1):
            frame = board.resistance(a, b)
            frames.append(frame)
            _learn(grade, frame, calibration, leads)
            step(done + number, done + len(wanted))
        done += len(wanted)
    if "isolation" in board.info.can:
        done_round = _settled(grade, frames, calibration, leads).round(leads.channels)
        home = _homes(done_round.links)
        firsts = sorted(set(home.values()))
        beside = _with_parts(done_round, home, at)
        for number, y in enumerate(firsts, 1):
            others = [channel for channel in firsts if channel != y and frozenset((y, channel)) not in beside]
            if others:
                frames.append(board.isolation(y, others))
            step(done + number, done + len(firsts))
    return frames


def _settled(
    grade: WireGrade, frames: Iterable[Frame], calibration: CalibrationFrame | None, leads: LeadMap
) -> WireGrade:
    """The same readings once it is known how many points hang on each circuit: their pull-ups feed the sunk end."""
    points = grade.points()
    again = grade.afresh()
    for frame in frames:
        if isinstance(frame, ResistanceFrame):
            _learn(again, frame, calibration, leads, points)
    return again


def _learn(
    grade: WireGrade,
    frame: ResistanceFrame,
    calibration: CalibrationFrame | None,
    leads: LeadMap,
    points: Mapping[int, tuple[int, int]] | None = None,
) -> None:
    """Hand a reading to the grade. `points`: channel -> (first channel of its circuit, channels on it)."""
    a, b = (points[frame.a], points[frame.b]) if points else ((frame.a, 1), (frame.b, 1))
    apart = (a[1], b[1]) if a[0] != b[0] else (1, 1)
    found = ohms.resistance(frame, calibration, apart)
    path = sum(
        leads.ohms_of(channel) or 0.0
        for channel in (frame.a, frame.b)
        if calibration is None or not ohms.zero_ohm(calibration, channel)
    )
    grade.learn(
        frame.a,
        frame.b,
        PairOhms(found.ab - path, found.ba - path, found.ohms - path, found.u_ohms, found.drop_ab_v, found.drop_ba_v),
    )


def _homes(links: ChannelLinks) -> dict[int, int]:
    """Channel -> first channel of its circuit."""
    joiner = Joiner(str(point) for point in links.points)
    for a, b in links.joined:
        joiner.join(str(a), str(b))
    circuits = [{int(name) for name in circuit} for circuit in joiner.circuits()]
    return {channel: min(circuit) for circuit in circuits for channel in circuit}


def _with_parts(found: Round, home: dict[int, int], at: dict[str, int]) -> set[frozenset[int]]:
    """Pairs of circuits, by first channel, with a part between them: it is measured by itself, and is no leak."""
    pairs = {frozenset((home[at[part.a]], home[at[part.b]])) for part in found.parts}
    return pairs | {frozenset((home[a], home[b])) for a, b in found.links.directed | found.links.varied}


def graded(links: ChannelLinks, frames: Sequence[Frame], leads: LeadMap) -> Round | None:
    """The round at wire grade, or None when its frames hold no reading of the converter."""
    calibration = next((f for f in frames if isinstance(f, CalibrationFrame)), None)
    if calibration is None:
        return None
    grade = WireGrade(links)
    for frame in frames:
        if isinstance(frame, ResistanceFrame):
            _learn(grade, frame, calibration, leads)
    return _settled(grade, frames, calibration, leads).round(leads.channels)


def isolations(frames: Iterable[Frame], links: ChannelLinks, leads: LeadMap) -> dict[str, float | None]:
    """Cavity -> ohms between its circuit and all others together; None where no leakage was seen.

    `links`: of the same round, for how many channels pull on each circuit. Those of the circuit at a leak's other end
    are not known here: that end's own reading counts them.
    """
    home = _homes(links)
    points = Counter(home.values())
    found: dict[str, float | None] = {}
    for frame in frames:
        if isinstance(frame, IsolationFrame):
            reading = ohms.isolation(frame, points[home[frame.y]])
            found[leads.channels[frame.y]] = None if reading.ohms == float("inf") else reading.ohms
    return {name: found[name] for name in in_order(found)}
