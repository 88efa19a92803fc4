"""Decks of what may be inside a harness: diodes, lamps, coils; and the starter board."""

from __future__ import annotations

from ..cell import STARTER_R2, STARTER_RPU, STARTER_RS
from ..main import R_REF
from .deck import LEAK_TYPICAL, OFF, Deck, card, drive, hub, rail, release, text

PARTS = {
    "silicon_diode": ["Ds1 {a} {b} DCL"],
    "schottky_diode": ["Dk1 {a} {b} DSCH"],
    "two_silicon_diodes": ["Dt1 {a} mt DCL", "Dt2 mt {b} DCL"],
    "red_led": ["Dr1 {a} {b} DRED"],
    "white_led": ["Dw1 {a} {b} DWHITE"],
    "coil_85_with_diode": ["Rc1 {a} {b} 85", "Dc1 {b} {a} DCL"],
    "coil_270_with_schottky": ["Rc2 {a} {b} 270", "Dc2 {b} {a} DSCH"],
    "cold_lamp_5_w": ["Rl1 {a} {b} 2.4"],
    "wet_connector_22k": ["Rv1 {a} {b} 22k"],
}


def parts() -> Deck:
    """Levels of the scan and readings of the converter with a part between two points, at three temperatures."""
    body = card({}, [f"Rref force 0 {R_REF.number:g}"])
    body += [".param celsius=25", ".model DRED D(IS=1.1e-18 N=2.0 RS=3)", ".model DWHITE D(IS=7e-22 N=2.5 RS=8)"]
    for number, lines in enumerate(PARTS.values()):
        body += [f"Rsel{number} tp01 a{number} {OFF}"]
        for line in lines:
            warm = " temp={celsius}" if line.startswith("D") else ""
            body.append(line.format(a=f"a{number}", b="tp02") + warm)
    control = []
    for number, name in enumerate(PARTS):
        for celsius in (-10, 25, 50):
            control += [f"alterparam celsius={celsius}", "reset", *rail("high"), f"alter Rsel{number} = 0.001"]
            # current flows from anode (tp01) to cathode (tp02) when tp02 is the one driven low
            for driven, far, word in ((2, 1, "f"), (1, 2, "r")):
                control += [*release((1, 2)), *drive(low=[driven], rol=60), "op"]
                control += [f"let a = v(pin{far:02})", f'set {word} = "$&a"', "destroy all"]
            control += [*rail("released")]
            for high, sunk, word in ((1, 2, "f"), (2, 1, "r")):
                control += [*release((1, 2)), *drive(high=[high], roh=140)]
                control += [f"alter rfm{high:02} = {OFF}", f"alter rfm{sunk:02} = 120", "op"]
                control += [f"let a = v(tp{high:02})-v(tp{sunk:02})", f"let i = v(force)/{R_REF.number:g}*1000"]
                control += [f'set v{word} = "$&a"', f'set i{word} = "$&i"', "destroy all"]
            control.append(f'echo "ROW {name} {celsius} $f $r $vf $if $vr $ir"')
    return Deck(
        "parts",
        "A part between two points: level of the other point in the scan, voltage and current when measured",
        ("part", "celsius", "scan_fwd_v", "scan_rev_v", "fwd_v", "fwd_ma", "rev_v", "rev_ma"),
        text("parts: what may be inside a harness", body, control),
        (
            "fwd: from anode to cathode. A scan level below 0.66 V reads low, above 2.64 V high; between, either.",
            "rev_ma and fwd_ma hold the pull-up of the sunk pin, 0.005 mA. Models of the parts are generic (memory).",
            "celsius: of the diode in the harness; the board stays at 27.",
        ),
    )


def coil() -> Deck:
    """Time until the current through a coil stands, and its kick when it is switched off."""
    body = [
        ".include models.lib\n.include cell.lib",
        ".param l=0.5 r=85",
        "Vdd vdd 0 3.3\nRv1 vdd vpu 10k\nRv2 vpu 0 10k",
        "X1 t1 p1 vpu vdd cell\nX2 t2 p2 vpu vdd cell",
        "Vg g 0 PULSE(0 1 10u 1u 1u 8m 20m)",
        "S1 vdd d g 0 SWITCH\nRo d p1 140",
        f"Rf p2 f 120\nRref f 0 {R_REF.number:g}",
        "Rc t1 m {r}\nLc m t2 {l}",
        ".model SWITCH SW(VT=0.5 VH=0.1 RON=0.1 ROFF=1e11)",
    ]
    control = []
    for ohms, henry in ((85, 0.5), (270, 1.0)):
        control += [
            f"alterparam r={ohms}",
            f"alterparam l={henry}",
            "reset",
            "tran 2u 10m 0 2u",
            "meas tran last find v(f) at=7.9m",
            "let level = v(f)/last",
            "meas tran a when level=0.9 rise=1",
            "meas tran b when level=0.998 rise=1",
            "meas tran kick min v(t1) from=7.9m to=10m",
            "let a = (a-10u)*1000",
            "let b = (b-10u)*1000",
            f'echo "ROW {ohms} {henry} $&a $&b $&kick"',
            "destroy all",
        ]
    return Deck(
        "coil",
        "Relay coil under the measuring current: time to 90 % and to 99.8 % of it, kick when it is switched off",
        ("ohm", "henry", "to_90_ms", "to_99_8_ms", "kick_v"),
        text("coil: settling of a measuring current", body, control),
    )


STARTER_POINTS = (2, 5, 10, 20)
RP_VIL, RP_VIH, RP_LEAK = 0.8, 2.0, 1e-6
"""Processor's thresholds at 3.3 V and pin leakage (data sheet, memory)."""


def starter_scan() -> Deck:
    """The starter board: what surely reads joined and apart."""
    rs, r2, rpu = STARTER_RS, STARTER_R2, STARTER_RPU
    body = [
        f".param others=1 leak={RP_LEAK + 0.1e-6:g}",
        "Vdd vdd 0 3.2",
        "Vx x 0 0",
        f"Rdrive d 0 {{{rs.number * (1 + rs.tolerance) + r2.number * (1 + r2.tolerance) + 40:g}}}",
        "Rpath t d r='pow(10,v(x))'",
        f"Rpu vdd t {{{rpu.number * (1 - rpu.tolerance):g}/others}}",
        f"Rpu_d vdd d {rpu.number * (1 - rpu.tolerance):g}",
        "Ileak 0 t DC {leak*others}",
        "Ileak_d 0 d DC {leak}",
        "* the same point, leaking to a driven one",
        f"Rpu_u vdd u {rpu.number * (1 + rpu.tolerance):g}",
        "Ileak_u u 0 DC {leak}",
        "Rleak u 0 r='pow(10,v(x))'",
    ]
    control = []
    for points in STARTER_POINTS:
        control += [
            f"alterparam others={points - 1}",
            "reset",
            "dc Vx -2 8 0.01",
            f"meas dc x when v(t)={RP_VIL}",
            "let ohm = 10^x",
            f'echo "ROW joined {points} $&ohm"',
            "destroy all",
        ]
    for name, leak in (("apart_worst_leakage", RP_LEAK + 0.1e-6), ("apart_typical_leakage", LEAK_TYPICAL)):
        control += [
            "alterparam others=1",
            f"alterparam leak={leak:g}",
            "reset",
            "dc Vx 3 9 0.01",
            f"meas dc x when v(u)={RP_VIH}",
            "let ohm = 10^x",
            f'echo "ROW {name} 1 $&ohm"',
            "destroy all",
        ]
    return Deck(
        "starter_scan",
        "Starter board: largest path that surely reads joined, smallest leakage that surely reads apart",
        ("question", "points", "ohm"),
        text("starter_scan: limits of the starter board", body, control),
        ("Low below 0.8 V, high above 2.0 V, rail 3.2 V, leakage 1.1 uA a point in the worst case (memory).",),
    )


def starter_settle() -> Deck:
    """Rise and fall of a circuit on the starter board."""
    series = STARTER_RS.number * (1 + STARTER_RS.tolerance) + STARTER_R2.number * (1 + STARTER_R2.tolerance) + 40
    pull, leak = STARTER_RPU.number, RP_LEAK + 0.1e-6
    body = [
        ".param c=1n points=2",
        "Vdd vdd 0 3.2",
        f"Vb vb 0 PULSE(0 3.2 10u 10n 10n 1 2)\nRb vb b {series:g}",
        f"Rpb vdd b {{{pull * (1 + STARTER_RPU.tolerance):g}/points}}",
        f"Ib b 0 DC {{{leak:g}*points}}\nCb b 0 {{c}}",
        f"Vc vc 0 PULSE(3.2 0 10u 10n 10n 1 2)\nRc vc c1 {series:g}\nRp c1 c2 50",
        f"Rpc vdd c2 {{{pull * (1 - STARTER_RPU.tolerance):g}/points}}",
        f"Ic 0 c2 DC {{{leak:g}*points}}\nCc c2 0 {{c}}",
    ]
    control = []
    for points in (2, 20):
        for farad in (1e-9, 1e-8, 6e-8):
            control += [
                f"alterparam c={farad:g}",
                f"alterparam points={points}",
                "reset",
                f"tran {farad * 10:g} {10e-6 + farad * 15e3:g} 0 {farad * 5:g}",
                "meas tran up when v(b)=2.6 rise=1",
                f"meas tran down when v(c2)={RP_VIL} fall=1",
                "let a = (up-10u)*1e6",
                "let b1 = (down-10u)*1e6",
                f'echo "ROW {points} {farad:g} $&a $&b1"',
                "destroy all",
            ]
    return Deck(
        "starter_settle",
        "Starter board: time of driving high before release (to 2.6 V) and of driving low (far pin to 0.8 V)",
        ("points", "farad", "release_us", "fall_us"),
        text("starter_settle: rise and fall on the starter board", body, control),
    )


def starter_abuse() -> Deck:
    """The starter board: live wires, and pins driven against each other."""
    body = [
        ".include models.lib\n.include starter.lib",
        ".param t_rs=0 t_r2=0 t_rpu=0 leak=0 v_ldo=3.3 i_load=25m",
        "Vx x 0 0",
        *hub("x", range(1, 21), 1e12),
        "Rg ha hb 1e12\nRz hb 0 1e12",
        *(f"Ra{c:02} tp{c:02} ha 1e12\nRb{c:02} tp{c:02} hb 1e12" for c in range(1, 21)),
    ]
    control = []
    for volts in (16, 24, -16, -24):
        for points in (1, 20):
            control += [f"alter Rw{c:02} = {0.05 if c <= points else 1e12:g}" for c in range(1, 21)]
            control += [
                f"alter Vx dc = {volts}",
                "op",
                "let i = (v(tp01)-v(n01))/@r101[resistance]",
                "let w = i*(v(tp01)-v(n01))",
                "let ma = i*1000",
                "let clamp = (v(n01)-v(gp00))/@r201[resistance]*1000",
                "let r = v(vdd)",
                "let sh = v(vdd)*(-@q81[ic])",
                f'echo "ROW live_wire {volts} {points} $&ma $&w $&clamp $&r $&sh"',
                "destroy all",
            ]
    control += [f"alter Rw{c:02} = {OFF}" for c in range(1, 21)]
    control += _starter_drives()
    return Deck(
        "starter_abuse",
        "Starter board: live wires for ever, and pins driven into a ground or against each other",
        ("case", "volts", "points", "point_ma", "rs_w", "pin_clamp_ma", "rail_v", "shunt_pnp_w"),
        text("starter_abuse: live wires and wrong pins on the starter board", body, control),
        ("into_ground, half_against_half: volts 0; point_ma is one point's, the total is points times that.",),
    )


def _starter_drives() -> list[str]:
    lines: list[str] = []
    for name, high, low in (
        ("into_ground", range(1, 2), range(0)),
        ("into_ground", range(1, 21), range(0)),
        ("half_against_half", range(1, 11), range(11, 21)),
    ):
        lines += release(range(1, 21))
        lines += [f"alter Ra{c:02} = {0.05 if c in high else 1e12:g}" for c in range(1, 21)]
        lines += [f"alter Rb{c:02} = {0.05 if c in low else 1e12:g}" for c in range(1, 21)]
        lines += drive(list(low), list(high), 20, 20)
        lines += ["alter Rg = 0.1", f"alter Rz = {1e12 if low else 1e-3:g}", "op"]
        lines += ["let ma = (v(vdd)-v(gp00))/20*1000", "let w = 0", "let r = v(vdd)"]
        lines += [f'echo "ROW {name} 0 {len(high)} $&ma $&w $&w $&r $&w"', "destroy all"]
    return lines
