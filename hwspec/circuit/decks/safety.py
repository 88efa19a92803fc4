"""Decks of what can go wrong: firmware that drives anything, live wires, discharges, a dead processor."""

from __future__ import annotations

from collections.abc import Sequence

from ..main import R_REF
from .deck import (
    LEAK_TYPICAL,
    LEAK_WORST,
    OFF,
    ROH_STRONG,
    ROL_STRONG,
    Deck,
    Row,
    card,
    drive,
    hub,
    rail,
    release,
    text,
)

ALL = range(1, 65)


def current() -> Deck:
    """Largest currents whatever the firmware does: any pins driven, into a ground or against each other."""
    body = card({"t_rs": -0.01, "t_r2": -0.01, "t_rl": -0.05, "v_ldo": 3.37, "leak": 0.0}, [])
    body = [
        line.replace("V5 v5 0 5", "V5 v5 0 5.25").replace("Varm_n arm_n 0 0", "Varm_n arm_n 0 3.3") for line in body
    ]
    body += ["Rg ha hb 1e12", f"Rref force 0 {R_REF.number * 0.999:g}", "Rz hb 0 1e12"]
    body += [line for c in ALL for line in (f"Ra{c:02} tp{c:02} ha 1e12", f"Rb{c:02} tp{c:02} hb 1e12")]
    control: list[str] = []

    def case(name: str, high: Sequence[int], low: Sequence[int], cards: int = 1, ground: bool = False) -> None:
        nonlocal control
        control += release(ALL)
        control += [f"alter Ra{c:02} = {0.05 if c in high else 1e12:g}" for c in ALL]
        control += [f"alter Rb{c:02} = {0.05 if c in low else 1e12:g}" for c in ALL]
        control += drive(low, high, ROL_STRONG, ROH_STRONG)
        element = 0.1 * cards
        control += [f"alter Rg = {element:g}", f"alter Rz = {1e-3 if ground else 1e12:g}", "op"]
        pin = f"(v(vdd)-v(pin{high[0]:02}))/{ROH_STRONG}"
        control += [
            f"let one = {pin}*1000",
            f"let total = (v(ha)-v(hb))/{element:g}*1000*{cards}",
            "let r = v(vdd)",
            f'echo "ROW {name} {len(high) * cards} {0 if ground else len(low) * cards} $&one $&total $&r"',
            "destroy all",
        ]

    half = list(range(33, 65))
    case("one_into_ground", [1], [], ground=True)
    case("one_against_one", [1], [2])
    case("one_against_32", [1], half)
    case("32_against_one", half, [1])
    case("32_against_32", list(range(1, 33)), half)
    case("64_into_ground", list(ALL), [], ground=True)
    case("four_cards_half_against_half", list(range(1, 33)), half, cards=4)
    case("four_cards_into_ground", list(ALL), [], cards=4, ground=True)
    return Deck(
        "current",
        "Largest currents of a card whose firmware drives the wrong pins, strongest parts, 5.25 V",
        ("case", "high_points", "low_points", "one_point_ma", "element_ma", "rail_v"),
        text("current: pins driven against a ground and against each other", body, control),
        (
            "element_ma: all that passes a wire, a lamp, a ground between the two sides. The lines from the main board",
            "are high; what they push through 2.2k into a card whose rail is down is in it. Four cards: 4 times one.",
        ),
    )


def firmware() -> Deck:
    """Errors that stay on the board: two multiplexers, a driven pin on the force bus, the rail driver."""
    body = card({"t_rs": -0.01, "t_r2": -0.01, "v_ldo": 3.37, "leak": 0.0}, [f"Rref force 0 {R_REF.number:g}"])
    control: list[str] = []

    def case(name: str, lines: Sequence[str]) -> None:
        nonlocal control
        control += release(ALL)
        control += [f"alter {tree}{c:02} = {OFF}" for tree in ("rfm", "rsp", "rsn") for c in ALL]
        control += [*rail("released"), *lines, "op"]
        control += [
            f"let pin = (v(vdd)-v(pin01))/{ROH_STRONG}*1000",
            f"let ref = v(force)/{R_REF.number:g}*1000",
            "let p = v(force)*ref",
            "let r = v(vdd)",
            f'echo "ROW {name} $&pin $&ref $&p $&r"',
            "destroy all",
        ]

    high = drive(high=[1], roh=ROH_STRONG)
    case("driven_pin_on_force_bus", [*high, "alter rfm01 = 70"])
    four = [1, 17, 33, 49]
    case(
        "four_driven_pins_on_force_bus",
        [*drive(high=four, roh=ROH_STRONG), *(f"alter rfm{c:02} = 70" for c in four)],
    )
    case("high_pin_against_low_rail", [*high, *rail("low")])
    case("all_high_against_low_rail", [*drive(high=list(ALL), roh=ROH_STRONG), *rail("low")])
    return Deck(
        "firmware",
        "Firmware errors that reach no harness: what the chips and the reference resistor carry",
        ("case", "pin_ma", "rref_ma", "rref_mw", "rail_v"),
        text("firmware: switches and pins at once that should not be", body, control),
        ("The expander's pin bears 25 mA (data sheet), the reference resistor 250 mW.",),
    )


def abuse() -> Deck:
    """A live wire on 1, 8 or 32 points for ever, either polarity, board powered or not."""
    body = card({"leak": 0.0}, ["Vx x 0 16"])
    body = [line.replace("V5 v5 0 5", "V5 v5s 0 5\nRusb v5s v5 0.1") for line in body]
    body += hub("x", ALL, 1e12)
    control = []
    for powered in (1, 0):
        control.append(f"alter Rusb = {0.1 if powered else 1e9:g}")
        for volts in (16, 24, -16, -24):
            for points in (1, 8, 32):
                control += [f"alter Rw{c:02} = {0.05 if c <= points else 1e12:g}" for c in ALL]
                control += [
                    f"alter Vx dc = {volts}",
                    "op",
                    "let r = v(vdd)",
                    "let i = (v(tp01)-v(n01))/@r101[resistance]",
                    "let w = i*(v(tp01)-v(n01))",
                    "let ma = i*1000+(v(tp01)-v(sns01))/10",
                    "let over = v(pin01)-r",
                    "let clamp = (v(n01)-v(pin01))/@r201[resistance]*1000",
                    "let sense = (v(tp01)-v(sns01))/10",
                    "let sh = v(vdd)*(-@q81[ic])",
                    f'echo "ROW {volts} {points} {powered} $&ma $&w $&clamp $&over $&sense $&r $&sh"',
                    "destroy all",
                ]
    return Deck(
        "abuse",
        "A live wire held on points for ever: currents and heat, whole card",
        (
            "volts",
            "points",
            "powered",
            "point_ma",
            "rs_w",
            "pin_clamp_ma",
            "pin_over_rail_v",
            "sense_ma",
            "rail_v",
            "shunt_pnp_w",
        ),
        text("abuse: a live wire on a card", body, control),
        (
            "pin_clamp_ma: in the expander's own clamp (20 mA allowed, data sheet). sense_ma: into the multiplexers.",
            "The 24 V suppressors stay below their knee; above 26 V they conduct for ever: a 24 V vehicle with its",
            "engine running is too much.",
        ),
    )


def esd() -> Deck:
    """A discharge of a person, with and without the suppressor."""
    body = [
        ".include models.lib\n.include cell.lib",
        ".param tvs=1",
        "Cesd a 0 100p ic=8000",
        "Rbody a b 1500",
        "Lbody b tp 0.5u",
        "X1 tp pin vpu vdd cell",
        "Vp vpu 0 3.3",
        "V0 v0 0 3.3",
        "L0 v0 vdd 10n",
        "Cd vdd 0 100n ic=3.3",
    ]
    control = []
    for word, size in (("with", 1), ("without", 0)):
        if not size:
            control += ["altermod @dtvs[bv] = 100k"]
        control += [
            "tran 0.1n 1u 0 0.1n uic",
            "let i = (v(tp)-v(x1.n02))/820",
            "let ip = (v(x1.n02)-v(pin))/100",
            "meas tran tp max v(tp)",
            "meas tran rs max i",
            "meas tran pin max ip",
            "let p = (v(tp)-v(x1.n02))*i",
            "meas tran joule integ p",
            "let a = rs*1000",
            "let b = pin*1000",
            "let c = joule*1e6",
            f'echo "ROW {word} $&tp $&a $&b $&c"',
            "destroy all",
        ]
    return Deck(
        "esd",
        "Discharge of a person (100 pF, 1500 ohm, 8 kV) into a test point",
        ("suppressor", "test_point_v", "rs_ma", "pin_ma", "rs_uj"),
        text("esd: 8 kV into a test point", body, control),
        ("Indicates the order of size only: strays, the layout and flash-over are not in it.",),
    )


def voltage() -> Deck:
    """The voltage check: what the converter reads at two points, rail low and high."""
    body = card({"leak": LEAK_WORST}, ["Vs s 0 0", "Rs1 s tp01 1e12", "Vf f tp02 0", "Rf f tp01 1e12"])
    body += ["Rain sense_p ain3 10k", "Rin ain3 0 6meg", "Rinp sense_p 0 6meg"]
    control: list[str] = []
    for kind in ("wire_to_ground", "between_points"):
        for source in (1.0, 10e3):
            for volts in (16, 3, 1, 0.5, 0.3, 0, -0.3, -0.5, -1, -16):
                control += [f"alter Vs dc = {volts}", f"alter Vf dc = {volts}"]
                control += [f"alter Rs1 = {source if kind == 'wire_to_ground' else 1e12:g}"]
                control += [f"alter Rf = {source if kind == 'between_points' else 1e12:g}"]
                for state in ("low", "high"):
                    control += rail(state)
                    for c in (1, 2):
                        control += [f"alter rsp{c:02} = 350", f"alter rsp{3 - c:02} = {OFF}", "op"]
                        control += ["let a = v(ain3)", f'set {state[0]}{c} = "$&a"', "destroy all", "setplot const"]
                control.append(f'echo "ROW {kind} {source:g} {volts} $l1 $h1 $l2 $h2"')
    control += [f"alter Rs1 = {OFF}", f"alter Rf = {OFF}", "alter rsp02 = 1e12", "alter rsp01 = 350"]
    for word, leak in (("leak_worst", LEAK_WORST), ("leak_typical", LEAK_TYPICAL)):
        control += [f"alterparam leak={leak:g}", "reset", "alter rsp01 = 350"]
        for state in ("low", "high"):
            control += [
                *rail(state),
                "op",
                "let a = v(ain3)",
                f'set {state[0]}1 = "$&a"',
                "destroy all",
                "setplot const",
            ]
        control.append(f'echo "ROW {word} 0 0 $l1 $h1 $l1 $h1"')
    return Deck(
        "voltage",
        "Voltage check: readings at two points with the pull-up rail low and high, worst leakage",
        ("case", "source_ohm", "volts", "a_low_v", "a_high_v", "a_moves_v", "b_low_v", "b_high_v"),
        text("voltage: what the check reads", body, control),
        (
            "wire_to_ground: a source between point a and board ground. between_points: from b to a, neither grounded.",
            "leak_worst, leak_typical: nothing outside; a free point moves 3 V with the rail.",
        ),
        _with_movement,
    )


def _with_movement(raw: Sequence[Sequence[str]]) -> list[Row]:
    rows: list[Row] = []
    for case, *words in raw:
        source, volts, low, high, other_low, other_high = (float(word) for word in words)
        rows.append((case, source, volts, low, high, high - low, other_low, other_high))
    return rows


def dead_man() -> Deck:
    """From the first toggle to armed, from the last to reset, for each way the processor can die."""
    body = [
        ".include models.lib\n.include pump.lib",
        ".param f=1k hold=0 bleed=0",
        "Vt t 0 PULSE(0 3.3 0 100n 100n {0.5/f} {1/f})",
        "Ve e 0 PULSE(1 0 200.01m 1u 1u 10 20)",
        "Bh ph 0 V=v(e)>0.5 ? v(t) : 3.3",
        "Bl pl 0 V=v(e)>0.5 ? v(t) : 0",
        "Rh ph pumph 40\nRl pl pumpl 40",
        "Xh pumph dch pump t_hold={hold} t_bleed={bleed}",
        "Xl pumpl dcl pump t_hold={hold} t_bleed={bleed}",
    ]
    control = []
    for corner, hold, bleed in (("nominal", 0.0, 0.0), ("fast", -0.1, -0.05), ("slow", 0.1, 0.05)):
        for f in (500, 1000, 5000):
            control += [
                f"alterparam f={f}",
                f"alterparam hold={hold}",
                f"alterparam bleed={bleed}",
                "reset",
                "tran 20u 600m",
                "meas tran armed when v(dch)=2.2 rise=1",
                "meas tran held find v(dch) at=199m",
                "meas tran first when v(dch)=2.2 fall=last",
                "meas tran high when v(dch)=0.7 fall=last",
                "meas tran low when v(dcl)=0.7 fall=last",
                "let a = armed*1000",
                "let b = (first-0.2)*1000",
                "let c = (high-0.2)*1000",
                "let d = (low-0.2)*1000",
                f'echo "ROW {corner} {f} $&a $&held $&b $&c $&d"',
                "destroy all",
            ]
    control += [
        "alterparam f=100",
        "alterparam hold=0",
        "alterparam bleed=0",
        "reset",
        "tran 20u 300m",
        "meas tran held find v(dch) at=199m",
        'echo "ROW nominal 100 never $&held - - -"',
    ]
    return Deck(
        "deadman",
        "Dead man: pump from the processor's pin to the Schmitt gates",
        ("corner", "pump_hz", "armed_ms", "held_v", "earliest_off_ms", "stuck_high_off_ms", "stuck_low_off_ms"),
        text("deadman: arming and letting go", body, control),
        (
            "Gates: armed at 2.2 V at the latest, let go at 2.2 V at the earliest and 0.7 V at the latest (memory).",
            "fast, slow: the 1 uF and the 100k at the ends of their 10 % and 5 %.",
        ),
    )


def shunt() -> Deck:
    """The rail shunt: level over current, and a step with the rail capacitor."""
    body = [
        ".include models.lib\n.include shunt.lib",
        "X1 vdd shunt",
        "Rload vdd 0 412",
        "Ii 0 vdd DC 8m PULSE(8m 122m 1m 1u 1u 20m 40m)",
    ]
    control = []
    for ma in (8, 15, 50, 114, 200, 481, 814):
        control += [
            f"alter Ii dc = {ma}m",
            "op",
            "let w = v(vdd)*(-@q.x1.q81[ic])",
            f'echo "ROW held {ma} $&v(vdd) $&w"',
            "destroy all",
        ]
    control += [
        "tran 1u 5m",
        "meas tran top max v(vdd)",
        "meas tran end find v(vdd) at=4.9m",
        "meas tran lowest min v(vdd) from=2m to=5m",
        'echo "ROW step_top 122 $&top 0"',
        'echo "ROW step_lowest_after 122 $&lowest 0"',
        'echo "ROW step_settled 122 $&end 0"',
    ]
    return Deck(
        "shunt",
        "Rail shunt: rail voltage over the current that live wires push in, and a step to 122 mA with 10 uF",
        ("case", "into_rail_ma", "rail_v", "pnp_w"),
        text("shunt: TLV431 and PNP", body, control),
        ("The reference is behavioural and without delay: the step shows the capacitor's part, not stability.",),
    )
