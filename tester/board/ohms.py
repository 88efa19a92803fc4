"""Counts of the converter to ohms, with their standard uncertainty. Pure arithmetic.

Formulas: hwspec/protocol.md, kinds M and I. With S the sense voltage and R the voltage on the reference, each for the
current one way (+), none (0) and the other way (-): the reference carries I = (R+ + R- - 2 R0) / 2 Rref, the harness a
little less (the pull-ups of all points of the sunk circuit), the resistance is (S+ - S-) / 2 over that. Offsets,
thermal voltages and leakage cancel; gain errors of the converter cancel in the ratio.

Uncertainty (JCGM 100): the error that no simulated board exceeded is a limit +-a with no other knowledge, so
u = a / sqrt(3) (4.3.7); the scatter of the samples adds in squares (5.1.2). hwspec/limits.toml names the deck behind
each number.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tester.board.limits import limit
from tester.board.readings import NO_VALUE, CalibrationFrame, IsolationFrame, ResistanceFrame

SENSE_CLIPPED, REFERENCE_CLIPPED = 1, 2
NO_CURRENT_A = 20e-6  # less than this is no current: leakage and noise
SUPPLY_V = 3.3
PULL_UP_OHM = 330_000.0
RAIL_OHM = 5_000.0  # what holds the released pull-up rail at half the supply
SINK_OHM = 320.0  # pin resistor, force multiplexer and reference: what lifts the sunk point above ground
LEAK_SHARE_OHM = 1140.0  # Rs, pin resistor, multiplexer and reference: what each pull-up of the circuit shunts
ISOLATION_PATH_OHM = 2310.0  # series resistors of both ends, force multiplexer, reference
RECTANGULAR = math.sqrt(3)


@dataclass(frozen=True)
class Resistance:
    """`ohms` both ways and `u_ohms` (k = 1), `inf` where nothing flows. `ab`: current from a to b alone, `ba` back.

    `drop_ab_v`, `drop_ba_v`: volts between a and b at that current, None where nothing flows.
    """

    a: int
    b: int
    ohms: float
    u_ohms: float
    ab: float
    ba: float
    drop_ab_v: float | None
    drop_ba_v: float | None

    @property
    def one_way(self) -> bool:
        """The two directions differ by more than any wire does: a diode, or a part with one."""
        if math.isinf(self.ab) or math.isinf(self.ba):
            return self.ab != self.ba
        return abs(self.ab - self.ba) > limit("two_way_relative") * abs(self.ohms) + limit("two_way_absolute")


def resistance(
    frame: ResistanceFrame, calibration: CalibrationFrame | None = None, points: tuple[int, int] = (1, 1)
) -> Resistance:
    """Ohms of one reading. `calibration` takes off the lead resistance of both channels where it is known.

    `points`: channels on the circuits of a and of b, where these are two circuits: each pull-up feeds the sunk end.
    """
    scale = 1e-12 / frame.samples
    plus_s, zero_s, minus_s = (value * frame.sense_pv * scale for value in frame.sense)
    plus_r, zero_r, minus_r = (value * frame.reference_pv * scale for value in frame.reference)
    reference = frame.reference_mohm / 1000
    gain = 1 + frame.gain_ppm / 1e6
    current_ab = _through((plus_r - zero_r) / reference, *points)
    current_ba = _through((minus_r - zero_r) / reference, *reversed(points))
    leads = sum(zero_ohm(calibration, channel) for channel in (frame.a, frame.b)) if calibration else 0.0

    def over(volts: float, current: float) -> float:
        if current < NO_CURRENT_A or frame.flags & (SENSE_CLIPPED | REFERENCE_CLIPPED):
            return math.inf
        return volts * gain / current - leads

    if (current_ab < NO_CURRENT_A) != (current_ba < NO_CURRENT_A):
        # what conducts one way alone holds nothing at rest: the zero shows bus leakage over the pull-ups, tens of
        # millivolts of it, while the converter's own offset is below half a millivolt
        zero_s = 0.0
    ohms = over((plus_s - minus_s) / 2, (current_ab + current_ba) / 2)
    ab, ba = over(plus_s - zero_s, current_ab), over(zero_s - minus_s, current_ba)
    if math.isinf(ab) != math.isinf(ba):
        ohms = min(ab, ba)
    return Resistance(
        frame.a,
        frame.b,
        ohms,
        _u_resistance(frame, ohms, (current_ab + current_ba) / 2),
        ab,
        ba,
        None if math.isinf(ab) else (plus_s - zero_s) * gain,
        None if math.isinf(ba) else (zero_s - minus_s) * gain,
    )


def _through(sunk: float, source_points: int, sink_points: int) -> float:
    """Ampere through what lies between two points when `sunk` flows into the reference: the cell's
    node voltages with the rail released, by hand."""
    lifted = sunk * LEAK_SHARE_OHM
    middle = limit("pullup_current_ua") * 1e-6 * PULL_UP_OHM
    pulls = source_points * (SUPPLY_V - lifted) + sink_points * lifted
    rail = (middle / RAIL_OHM + pulls / PULL_UP_OHM) / (1 / RAIL_OHM + (source_points + sink_points) / PULL_UP_OHM)
    own = (rail - sunk * SINK_OHM) / PULL_UP_OHM
    return sunk - own - (sink_points - 1) * (rail - lifted) / PULL_UP_OHM


def _u_resistance(frame: ResistanceFrame, ohms: float, current: float) -> float:
    if math.isinf(ohms):
        return math.inf
    if abs(ohms) <= limit("resistance_promised_to"):
        error = limit("resistance_error_relative") * abs(ohms) + limit("resistance_error_absolute")
    else:
        error = limit("range_high_relative") * abs(ohms) + limit("range_high_absolute")
    promised = error / RECTANGULAR
    # a spread of n samples is about twice their standard deviation or more; one sample tells nothing
    scatter = max(frame.spread) / 2 * frame.sense_pv * 1e-12 / math.sqrt(frame.samples)
    noise = scatter / (math.sqrt(2) * current)
    return math.hypot(promised, noise)


def zero_ohm(calibration: CalibrationFrame, channel: int) -> float:
    """Stored lead resistance of a channel, 0 where there is none."""
    if not calibration.stored or channel not in calibration.channels:
        return 0.0
    zero = calibration.zeros[calibration.channels.index(channel)]
    return 0.0 if zero == NO_VALUE else zero / 10_000


@dataclass(frozen=True)
class Isolation:
    """`ohms` between y's circuit and all others together, `inf` where no leakage is seen. `u_ohms` (k = 1).

    `seen_to`: leakage above this many ohms would not have been seen. `baseline`: the empty board's own leakage was
    taken off.
    """

    y: int
    ohms: float
    u_ohms: float
    seen_to: float
    baseline: bool


def isolation(frame: IsolationFrame, points: int = 1) -> Isolation:
    """Ohms of one leakage reading by the sink method. `points`: channels on the circuit of y."""
    reference = frame.reference_mohm / 1000
    most = limit("isolation_baseline_most")
    own = max(-most, min(most, frame.baseline_na)) * 1e-9  # more was no empty fixture, and would hide a leak
    current = (frame.high - frame.low) / frame.samples * frame.reference_pv * 1e-12 / reference - own
    seen_to = limit("isolation_seen_to")
    share = 1 + LEAK_SHARE_OHM * points / PULL_UP_OHM
    ohms = SUPPLY_V / current / share - ISOLATION_PATH_OHM if current > 0 else math.inf
    if frame.flags & 1:
        ohms = 0.0  # more current than the range holds: a plain short
    if ohms > seen_to:
        return Isolation(frame.y, math.inf, math.inf, seen_to, bool(frame.flags & 2))
    ohms = max(0.0, ohms)
    return Isolation(frame.y, ohms, isolation_u(ohms), seen_to, bool(frame.flags & 2))


def isolation_u(ohms: float) -> float:
    """Standard uncertainty of a leakage reading of so many ohms.

    Ten per cent to the measured limit, growing with the resistance beyond it as the leakage current shrinks.
    """
    relative = limit("isolation_relative") * max(1.0, ohms / limit("isolation_measured_to"))
    return relative * ohms / RECTANGULAR
