"""Decks of the scan: what surely reads joined, what surely reads apart, how long a level takes."""

from __future__ import annotations

from collections.abc import Sequence

from ..cell import R2, RPU, RS
from .deck import (
    LEAK_TYPICAL,
    LEAK_WORST,
    ROH_WEAK,
    ROL_WEAK,
    VDD_LOW,
    VIH,
    VIL,
    Deck,
    Row,
    as_cell,
    card,
    drive,
    hub,
    rail,
    text,
)

POINTS = (2, 6, 11, 21, 31, 51, 61)


def joined() -> Deck:
    """Largest path resistance that surely reads low, by size of the circuit and by values that were not chosen."""
    body = [
        "* one point driven low; all others, behind a common path, with their pull-ups and leakage; all worst",
        f".param rs={RS.number:g} rpu={RPU.number:g} others=1",
        f"Vdd vdd 0 {VDD_LOW:g}",
        "Vx x 0 0",
        f"Rdrive d 0 {{(rs+{R2.number:g})*{1 + RS.tolerance}+{ROL_WEAK}}}",
        "Rpath t d r='pow(10,v(x))'",
        f"Rpu vdd t {{rpu*{1 - RPU.tolerance}/others}}",
        f"Rpu_d vdd d {{rpu*{1 - RPU.tolerance}}}",
        f"Ileak 0 t DC {{{LEAK_WORST:g}*others}}",
        f"Ileak_d 0 d DC {LEAK_WORST:g}",
    ]
    control = []
    for rs, rpu in ((RS.number, RPU.number), (RS.number, 100e3), (RS.number, 47e3), (1000.0, RPU.number)):
        for points in POINTS:
            control += [
                f"alterparam rs={rs:g}",
                f"alterparam rpu={rpu:g}",
                f"alterparam others={points - 1}",
                "reset",
                "dc Vx -2 7 0.01",
                f"if v(t)[0] <= {VIL * VDD_LOW:g}",
                f"  meas dc x when v(t)={VIL * VDD_LOW:g}",
                "  let most = 10^x",
                f'  echo "ROW {rs:g} {rpu:g} {points} $&most"',
                "else",
                f'  echo "ROW {rs:g} {rpu:g} {points} none"',
                "end",
                "destroy all",
            ]
    return Deck(
        "joined",
        "Largest path resistance that surely reads joined, worst parts, by points of the circuit",
        ("rs_ohm", "pullup_ohm", "points", "max_ohm"),
        text("joined: largest path that surely reads low", body, control),
        ("points: all points of the circuit, the driven one too. none: not even 0 ohm reads low.",),
    )


def apart() -> Deck:
    """Smallest leakage resistance that surely reads high."""
    body = [
        "* drivers at 0 ohm, each leaking to one circuit of `points` that is not driven",
        ".param leak=1u points=1 drivers=1",
        f"Vdd vdd 0 {VDD_LOW:g}",
        "Vx x 0 0",
        f"Rpu vdd t {{{RPU.number:g}*{1 + RPU.tolerance}/points}}",
        "Ileak t 0 DC {leak*points}",
        "Rleak t 0 r='pow(10,v(x))/drivers'",
    ]
    control = []
    for leak in (LEAK_TYPICAL, LEAK_WORST):
        for drivers in (1, 8, 32):
            for points in (1, 10):
                control += [
                    f"alterparam leak={leak:g}",
                    f"alterparam drivers={drivers}",
                    f"alterparam points={points}",
                    "reset",
                    "dc Vx 3 12 0.005",
                    "let open = v(t)[length(v(t))-1]",
                    f"meas dc x when v(t)={VIH * VDD_LOW:g}",
                    "let least = 10^x",
                    f'echo "ROW {leak:g} {drivers} {points} $&open $&least"',
                    "destroy all",
                ]
    return Deck(
        "apart",
        "Smallest leakage resistance that surely reads apart, by leakage of the parts and number of drivers",
        ("leak_a", "drivers", "points", "open_v", "min_ohm"),
        text("apart: smallest leakage resistance that surely reads high", body, control),
        (
            "The scan drives one point at a time: the line with one driver and one point counts.",
            "Several drivers low together multiply the limit: code patterns find shorts, not leakage.",
        ),
    )


def net60() -> Deck:
    """The whole card with 61 of its points on one circuit behind a path resistance."""
    body = card({"v_ldo": VDD_LOW, "t_rs": 0.01, "t_r2": 0.01, "t_rpu": -0.01, "leak": LEAK_WORST}, [])
    body += ["Rpath tp01 h 100", *hub("h", range(2, 62))]
    control = [*rail("high"), *drive(low=[1])]
    steps = (0.001, 20, 50, 80, 100, 110, 120, 150, 200, 300)
    for corner in ("worst", "typical"):
        if corner == "typical":
            for name in ("t_rs", "t_r2", "t_rpu"):
                control.append(f"alterparam {name}=0")
            control += [f"alterparam leak={LEAK_TYPICAL:g}", "alterparam v_ldo=3.3", "reset"]
            control += [*rail("high"), *drive(low=[1], rol=50)]
        for ohms in steps if corner == "worst" else (0.001, 100, 300, 400, 500):
            control += [
                f"alter Rpath = {ohms:g}",
                "op",
                f"let limit = {VIL}*v(vdd)",
                "let far = v(pin61)",
                "let margin = limit-far",
                "let ma = v(pin01)/@rl01[resistance]*1000",
                f'echo "ROW {corner} {ohms:g} $&far $&limit $&margin $&ma"',
                "destroy all",
            ]
    return Deck(
        "net60",
        "A circuit of 61 points on the whole card, one driver, all clamps and chips: level of the farthest pin",
        ("corner", "path_ohm", "far_pin_v", "limit_v", "margin_v", "driver_ma"),
        text("net60: 61 of 64 points of a card on one circuit", body, control),
        ("A margin above zero surely reads joined.",),
    )


def _settle_circuit() -> list[str]:
    """One circuit let go, one driven high, one driven low, all at 10 us."""
    cell = f"t_rs={RS.tolerance} t_r2={R2.tolerance}"
    return [
        ".include models.lib",
        ".include cell.lib",
        f".param c=1n others=1 vdd={VDD_LOW:g}",
        "Vdd vdd 0 {vdd}",
        "* (a) let go at 10 us and left alone, leakage pulling down",
        f"Xa ta pa vdd vdd cell {cell} t_rpu=0.01 leak={-LEAK_WORST:g}",
        f"Xa2 ta pa2 vdd vdd cell n={{others}} {cell} t_rpu=0.01 leak={-LEAK_WORST:g}",
        "Va ga 0 PULSE(1 0 10u 10n 10n 1 2)",
        f"Sa pa la ga 0 SWITCH\nRa la 0 {ROL_WEAK}",
        "Ca ta 0 {c}",
        "* (b) driven high from 10 us",
        f"Xb tb pb vdd vdd cell {cell} t_rpu=0.01 leak={-LEAK_WORST:g}",
        f"Xb2 tb pb2 vdd vdd cell n={{others}} {cell} t_rpu=0.01 leak={-LEAK_WORST:g}",
        f"Vb vb 0 PULSE(0 {{vdd}} 10u 10n 10n 1 2)\nRb vb pb {ROH_WEAK}",
        "Cb tb 0 {c}",
        "* (c) driven low from 10 us, the others and the capacitance behind 50 ohm, leakage pulling up",
        f"Xc tc pc vdd vdd cell {cell} t_rpu=-0.01 leak={LEAK_WORST:g}",
        f"Xc2 tc2 pc2 vdd vdd cell n={{others}} {cell} t_rpu=-0.01 leak={LEAK_WORST:g}",
        "Vc gc 0 PULSE(0 1 10u 10n 10n 1 2)",
        f"Sc pc lc gc 0 SWITCH\nRc lc 0 {ROL_WEAK}",
        "Rp tc tc2 50\nCc tc2 0 {c}",
        ".model SWITCH SW(VT=0.5 VH=0.1 RON=0.1 ROFF=1e11)",
    ]


def settle() -> Deck:
    """Rise after release (left alone, and driven high first) and fall, by capacitance of the circuit."""
    body = _settle_circuit()
    control: list[str] = []
    high, low = f"{VIH * VDD_LOW:g}", f"{VIL * VDD_LOW:g}"
    for points in (2, 60):
        for c, slow, fast in (
            ("100p", 300e-6, 8e-6),
            ("1n", 2e-3, 20e-6),
            ("10n", 9e-3, 120e-6),
            ("60n", 45e-3, 650e-6),
        ):
            control += [
                f"alterparam c={c}",
                f"alterparam others={points - 1}",
                "reset",
                f"tran {slow / 2000:g} {10e-6 + slow:g} 0 {slow / 1500:g}",
                f"meas tran rise when v(pa)={high} rise=1",
                "let a = (rise-10u)*1e6",
                'set a = "$&a"',
                "destroy all",
                f"tran {fast / 2000:g} {10e-6 + fast:g} 0 {fast / 2000:g}",
                f"meas tran up when v(tb)={0.9 * VDD_LOW:g} rise=1",
                f"meas tran down when v(pc2)={low} fall=1",
                "let b = (up-10u)*1e6",
                "let d = (down-10u)*1e6",
                f'echo "ROW {points} {c} $a $&b $&d"',
                "destroy all",
            ]
    return Deck(
        "settle",
        "Times of a level: let go and left alone, driven high before release, driven low",
        ("points", "farad", "rise_alone_us", "release_us", "fall_us"),
        text("settle: rise and fall of a circuit", body, control),
        (
            "Capacitance of the harness; the cells bring their own. Worst parts.",
            "rise_alone_us: to 0.8 of the supply. release_us: to 0.9, above where leakage lets an open point rest.",
            "fall_us: to 0.2 of the supply, at the far pin behind 50 ohm.",
        ),
        _with_farad,
    )


def _with_farad(raw: Sequence[Sequence[str]]) -> list[Row]:
    scale = {"p": 1e-12, "n": 1e-9}
    return [
        (as_cell(points), float(c[:-1]) * scale[c[-1]], *(as_cell(word) for word in rest)) for points, c, *rest in raw
    ]
