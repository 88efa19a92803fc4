"""Decks of what lies between circuits: splices with many ends, leakage by the sink method."""

from __future__ import annotations

import random
from collections.abc import Sequence

from ..cell import R2, RPU, RS
from ..main import R_REF
from .deck import LEAK_TYPICAL, LEAK_WORST, OFF, ROH_WEAK, Deck, Row, card, drive, hub, rail, release, text
from .montecarlo import BOARDS, GAIN, LSB_256, MUX_FORCE, OFFSET, SEED, all_boards, spread, spread_of

LEAKAGES = (10e3, 100e3, 1e6, 3e6, 10e6)
PATH = RS.number + R2.number + ROH_WEAK / 2 + RS.number + R2.number + MUX_FORCE[0] + R_REF.number
"""Known series resistance of the sink method, ohm: one cell driven high, one sunk."""


def splice() -> Deck:
    """Error of 0.2 ohm in a circuit of many points, by state of the pull-up rail and leakage of the neighbours."""
    body = card({}, [f"Rref force 0 {R_REF.number:g}", "Ra tp01 s 0.1", "Rb tp02 s 0.1"])
    control = []
    for points in (3, 12, 32, 60):
        for leak in (0.0, LEAK_TYPICAL, LEAK_WORST):
            for state in ("released", "high", "low"):
                if state != "released" and leak != LEAK_TYPICAL:
                    continue
                control += [f"alterparam leak={leak:g}", "reset", *rail(state)]
                control += [f"alter Rw{c:02} = {0.05 if c <= points else 1e12:g}" for c in range(3, 65)]
                for a, b in ((1, 2), (2, 1)):
                    control += [*release((1, 2)), *(f"alter rfm{c:02} = {OFF}" for c in (1, 2))]
                    control += [*drive(high=[a], roh=140), f"alter rfm{b:02} = 120", "op"]
                    control += [f"let d = v(tp{a:02})-v(tp{b:02})", "let f = v(force)"]
                    control += [f'set d{a} = "$&d"', f'set f{a} = "$&f"', "destroy all", "setplot const"]
                control += [
                    f"let r = ($d1+$d2)/($f1+$f2)*{R_REF.number:g}",
                    "let e = (r/0.2-1)*100",
                    f'echo "ROW {points} {leak:g} {state} $&r $&e"',
                ]
    return Deck(
        "splice",
        "0.2 ohm between two ends of a circuit with more ends, whole card, current both ways",
        ("points", "leak_a", "rail", "measured_ohm", "error_percent"),
        text("splice: rail and neighbours against a small resistance", [*body, *hub("s", range(3, 65))], control),
        (
            "rail: pull-ups driven low or high, or released (held at half the supply by two 10k).",
            "The current in Rref is taken as it is; the nominal correction of the sunk pin's pull-up would add 0.3 %.",
        ),
    )


def isolation() -> Deck:
    """Leakage by the sink method, 300 boards, circuits of 1 and 60 points on the sunk side."""
    rng = random.Random(SEED + 1)
    body = [
        "* circuit X driven high, then low; circuit Y sunk into Rref; Y has `m` pull-ups to the rail, which is low",
        "* nodes that all boards share: x (volt), rx (ohm as volt), m (points as volt), far (1 V: X is low)",
        ".global x rx m far",
        "Vx x 0 3.3\nVrx rx 0 1\nVm m 0 1\nVfar far 0 0",
        ".subckt board f rsx=920 roh=141 rsy=1040 rrf=100 rup=330k il=0 dl=0",
        "Rdx x xx {rsx+roh}",
        "Bx xx y I=v(xx,y)/v(rx)",
        "Bup y vpu I=v(y,vpu)*v(m)/{rup}",
        "Rr vpu 0 20",
        "Rsy y n {rsy}",
        "Rref n 0 {rrf}",
        "Bl 0 n I={il}*v(m)+v(far)*{dl}",
        "Ef f 0 n 0 1",
        ".ends board",
    ]
    for number in range(1, BOARDS + 1):
        series = RS.number * (1 + spread(rng, RS.tolerance)) + R2.number * (1 + spread(rng, R2.tolerance))
        sunk = RS.number * (1 + spread(rng, RS.tolerance)) + R2.number * (1 + spread(rng, R2.tolerance))
        sunk += MUX_FORCE[0] + spread(rng, MUX_FORCE[1])
        reference = R_REF.number * (1 + spread(rng, R_REF.tolerance))
        pull = RPU.number * (1 + spread(rng, RPU.tolerance))
        body.append(
            f"X{number} f{number} board rsx={series:.6g} roh={141 + spread(rng, 92):.6g} rsy={sunk:.6g}"
            f" rrf={reference:.7g} rup={pull:.7g} il={spread(rng, LEAK_WORST):.4g} dl={spread(rng, 0.1e-6):.4g}"
        )
    control = [f"save {all_boards('f')}"]
    for points in (1, 60):
        control += [
            f"alter Vm dc = {points}",
            f"foreach rx {' '.join(f'{rx:g}' for rx in LEAKAGES)}",
            "  alter Vrx dc = $rx",
        ]
        for far, volts in ((0, 3.3), (1, 0.0)):
            control += [
                f"  alter Vx dc = {volts:g}",
                f"  alter Vfar dc = {far}",
                "  op",
                f"  compose y values {all_boards('f')}",
                f"  echo ROW {points} $rx {far} $&y",
                "  destroy all",
            ]
        control.append("end")
    return Deck(
        "isolation",
        f"Leakage between two circuits by the sink method, {BOARDS} boards",
        ("sunk_points", "true_ohm", "mean_ohm", "low_percent", "high_percent"),
        text("isolation: 300 boards, sink method", body, control),
        (
            "Current in Rref with all other circuits high, less the same with them low; four readings averaged.",
            "Leakage of the chips at their limit; 0.1 uA of it follows the level and is not in the baseline.",
            "The pull-ups of the sunk circuit divide the current: the factor 1 + 1140 m/330k is taken in.",
        ),
        _isolation_rows,
        tolerance=0.1,
    )


def rail_and_isolation() -> Deck:
    """What the state of the rail does to the sink method: whole card, nothing leaks."""
    body = card({"leak": 0.0}, [f"Rref force 0 {R_REF.number:g}", *hub("x", range(2, 65))])
    control = ["alter rfm01 = 120"]
    for state in ("released", "high", "low"):
        control += [*rail(state)]
        for level in ("high", "low"):
            control += release((2, 3))
            control += drive(high=[2], roh=140) if level == "high" else drive(low=[2], rol=60)
            control += [
                "op",
                "let a = v(force)",
                "let b = v(vpu)",
                f'set {level[0]}a = "$&a"',
                f'set {level[0]}b = "$&b"',
            ]
            control += ["destroy all", "setplot const"]
        control += [
            f"let c = ($ha - $la)/{R_REF.number:g}",
            "let r = 3.3/max(abs(c),1e-12)",
            f'echo "ROW {state} $hb $lb $&c $&r"',
        ]
    return Deck(
        "rail",
        "Sink method on a card on which nothing leaks: 63 points on one other circuit, by state of the pull-up rail",
        ("rail", "rail_v_high", "rail_v_low", "false_current_a", "looks_like_ohm"),
        text("rail: the pull-up rail must be driven while leakage is measured", body, control),
        ("Released, the rail follows the other circuits and the sunk point's own pull-up looks like leakage.",),
    )


def _isolation_rows(raw: Sequence[Sequence[str]]) -> list[Row]:
    volts = {(int(m), float(rx), int(far)): [float(word) for word in words] for m, rx, far, *words in raw}
    rows: list[Row] = []
    for points in sorted({m for m, _, _ in volts}):
        for rx in LEAKAGES:
            rng = random.Random(SEED + points + int(rx / 1e3))
            high, low = volts[points, rx, 0], volts[points, rx, 1]
            ohms = [_leakage(rng, points, *pair) for pair in zip(high, low, strict=True)]
            mean, _, least, most = spread_of(ohms)
            rows.append((float(points), rx, mean, (least / rx - 1) * 100, (most / rx - 1) * 100))
    return rows


def _leakage(rng: random.Random, points: int, high: float, low: float) -> float:
    gain, offset = 1 + spread(rng, GAIN), spread(rng, OFFSET)

    def read(volts: float) -> float:
        raw = volts * gain + offset + rng.gauss(0.0, 4e-6)
        return round(raw / LSB_256 * 4) * LSB_256 / 4

    current = max(read(high) - read(low), 1e-6) / R_REF.number
    sunk = RS.number + R2.number + MUX_FORCE[0] + R_REF.number
    return 3.3 / current / (1 + sunk * points / RPU.number) - PATH
