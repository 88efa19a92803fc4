"""Decks of the four-wire measurement: accuracy near zero, the wide range."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass

from ..cell import R2, RP, RPU
from ..main import R_REF
from .deck import Deck, Row, text
from .montecarlo import (
    ADC_LOAD,
    BOARDS,
    LSB_256,
    LSB_512,
    LSB_4096,
    MUX_FORCE,
    MUX_SENSE,
    NOISE_128,
    NOISE_860,
    NOISE_4096,
    SEED,
    Chain,
    all_boards,
    boards,
    spread_of,
)

NEAR_ZERO = (1e-6, 0.05, 0.5, 2.0, 5.0, 20.0, 100.0)
WIDE = (20.0, 100.0, 200.0, 1e3, 5e3, 20e3)
LEAKS = {"typical": 0.1e-6, "one_card": 3.2e-6, "four_cards": 12.8e-6}
"""Leakage of one measuring line at most: typical, 4 and 16 multiplexers at their data-sheet limit (memory)."""

TAP = RP.number + MUX_SENSE[0]
PULLUP = 3.3 / 2 / RPU.number
SINK = R_REF.number + R2.number + MUX_FORCE[0]


def loading(span: str) -> float:
    """Nominal factor that makes good for what the converter takes through both sense taps."""
    pair, ground = ADC_LOAD[span]
    return 1 + TAP * (2 / pair + 1 / ground)


def harness_current(reference: float) -> float:
    """Ampere through the harness from the current in Rref: the sunk pin's own pull-up is taken off."""
    return reference * (1 + SINK / RPU.number) - PULLUP


def _board(span: str) -> list[str]:
    """Subcircuit of one board.

    Nodes that all boards share are set by the control block: `fwd`, `rev` (1 V: that direction is on), `rx` (ohm as
    volt), `lk` (leakage of a measuring line, ampere as volt), `cc` (contact, ohm as volt).
    """
    pair, ground = ADC_LOAD[span]
    return [
        "* forward: supply, pin A, 100, 820, rx, 820, 100, force switch, Rref; reversed: A and B exchanged",
        ".global fwd rev rx lk cc",
        "Vfwd fwd 0 0\nVrev rev 0 0\nVrx rx 0 1\nVlk lk 0 0\nVcc cc 0 0",
        ".subckt board d f rsa=820 rsb=820 roa=248 rob=248 rfa=220 rfb=220 rrf=100 rpa=10.35k rpb=10.35k"
        " rua=330k rub=330k z=1 la=0 lb=0 lf=0 na=0 nb=0 ct=0",
        "Vdd vdd 0 3.3",
        "BhA vdd na I=v(vdd,na)*(v(fwd)/{roa}+1p)",
        "BfB nb nf I=v(nb,nf)*(v(fwd)/{rfb}+1p)",
        "BhB vdd nb I=v(vdd,nb)*(v(rev)/{rob}+1p)",
        "BfA na nf I=v(na,nf)*(v(rev)/{rfa}+1p)",
        "RsA na ta {rsa}",
        "RsB nb tb {rsb}",
        "Vx ta tx 0",
        "Bx tx tb V=(v(rx)+v(cc)*{ct})*i(Vx)",
        "Rref nf 0 {rrf}",
        "RuA vpu na {rua}",
        "RuB vpu nb {rub}",
        "Vr vr 0 1.65",
        "Rr vr vpu 5k",
        "RpA ta sa {rpa}",
        "RpB tb sb {rpb}",
        f"RcA sa 0 {{{ground:g}*z}}",
        f"RcB sb 0 {{{ground:g}*z}}",
        f"Rz sa sb {{{pair:g}*z}}",
        "BsA 0 sa I=v(lk)*{la}",
        "BsB 0 sb I=v(lk)*{lb}",
        "Bf 0 nf I=v(lk)*{lf}",
        "InA 0 na DC {na}",
        "InB 0 nb DC {nb}",
        "Ed d 0 sa sb 1",
        "Ef f 0 nf 0 1",
        ".ends board",
    ]


def _control(cases: Sequence[tuple[str, float, float]], values: Sequence[float]) -> list[str]:
    """Every case (word, leakage, contact) with every value and direction; one ROW with all boards for each."""
    lines = [f"save {all_boards('d')} {all_boards('f')}"]
    for word, leak, contact in cases:
        lines += [f"alter Vlk dc = {leak:g}", f"alter Vcc dc = {contact:g}"]
        lines += [f"foreach rx {' '.join(f'{rx:g}' for rx in values)}", "  alter Vrx dc = $rx"]
        for direction, (forward, reverse) in enumerate(((1, 0), (0, 1), (0, 0))):
            lines += [
                f"  alter Vfwd dc = {forward}",
                f"  alter Vrev dc = {reverse}",
                "  op",
                f"  compose x values {all_boards('d')}",
                f"  compose y values {all_boards('f')}",
                f"  echo ROW {word} $rx {direction} $&x $&y",
                "  destroy all",
            ]
        lines.append("end")
    return lines


@dataclass(frozen=True)
class Method:
    """How the raw voltages of a case are read.

    `way`: "both" directions, "zero" (one direction less the reading without current), "one" (nothing taken off).
    `lsb` of the sense pair, `noise` of one reading, volt; `span` of the sense pair.
    """

    case: str
    name: str
    way: str
    lsb: float
    noise: float
    span: str = "256"


METHODS = (
    Method("typical", "typical_leakage", "both", LSB_256, NOISE_128),
    Method("one_card", "one_card", "both", LSB_256, NOISE_128),
    Method("one_card", "one_card_860_a_second", "both", LSB_256, NOISE_860),
    Method("contact", "contact_20_mohm", "both", LSB_256, NOISE_128),
    Method("four_cards", "four_cards_worst", "both", LSB_512, NOISE_128),
    Method("one_card", "one_direction_less_zero", "zero", LSB_256, NOISE_128),
    Method("one_card", "one_direction_alone", "one", LSB_256, NOISE_128),
)
WIDE_METHODS = (Method("one_card", "one_card", "both", LSB_4096, NOISE_4096, "4096"),)

State = tuple[float, float]

PROMISE = (0.02, 0.05)
PROMISE_WIDE = (0.02, 0.2)
"""Relative and absolute (ohm) part of what each range promises; hwspec/limits.toml says the same."""

ERROR = (0.018, 0.0125)
"""Absolute (ohm) and relative error that no board exceeded up to 20 ohm, without contacts; limits.toml likewise."""


def _results(raw: Sequence[Sequence[str]], methods: Sequence[Method], promise: tuple[float, float]) -> list[Row]:
    """Largest errors of each method and value, against relative and absolute promise."""
    volts: dict[tuple[str, float, int], list[State]] = {}
    for case, ohms, direction, *numbers in raw:
        both = [float(number) for number in numbers]
        volts[case, float(ohms), int(direction)] = list(zip(both[:BOARDS], both[BOARDS:], strict=True))
    values = sorted({rx for _, rx, _ in volts})
    rows: list[Row] = []
    for index, method in enumerate(methods):
        for rx in values:
            rng = random.Random(SEED + 1000 * index + int(rx * 10))
            states = [volts[method.case, rx, direction] for direction in (0, 1, 2)]
            measured = [_measure(rng, method, [state[n] for state in states]) for n in range(BOARDS)]
            truth = 0.0 if rx < 1e-3 else rx
            mean, deviation, least, most = spread_of(measured)
            worst = max(abs(least - truth), abs(most - truth))
            allowed = promise[0] * truth + promise[1]
            bound = (ERROR[0] + ERROR[1] * truth) / worst
            rows.append((method.name, truth, mean, deviation, worst, allowed, allowed / worst, bound))
    return rows


def _measure(rng: random.Random, method: Method, states: Sequence[State]) -> float:
    """Ohm from the states +I, -I and no current of one board, through its own converter, two readings averaged."""
    chain = Chain.drawn(rng)
    noise = method.noise / 2**0.5

    def one(state: State) -> State:
        sense = chain.read(rng, state[0], False, method.lsb, noise)
        return sense, chain.read(rng, state[1], True, LSB_256, NOISE_128 / 2**0.5)

    (plus, r_plus), (minus, r_minus), (zero, r_zero) = (one(state) for state in states)
    if method.way == "one":
        volts, reference = plus, r_plus
    elif method.way == "zero":
        volts, reference = plus - zero, r_plus - r_zero
    else:
        volts, reference = (plus - minus) / 2, (r_plus + r_minus) / 2 - r_zero
    return volts / harness_current(reference / R_REF.number) * loading(method.span)


COLUMNS = (
    "method",
    "true_ohm",
    "mean_ohm",
    "deviation_ohm",
    "worst_error_ohm",
    "promised_ohm",
    "margin",
    "error_margin",
)


def resistance() -> Deck:
    """Largest error of 300 boards from 0 to 100 ohm."""
    cases = [(word, leak, 0.0) for word, leak in LEAKS.items()] + [("contact", LEAKS["one_card"], 0.02)]
    return Deck(
        "resistance",
        f"Four-wire resistance, {BOARDS} boards drawn within tolerance, current both ways",
        COLUMNS,
        text("resistance: 300 boards", [*_board("256"), *boards()], _control(cases, NEAR_ZERO)),
        (
            "Circuit by ngspice; the converter's errors (gain, match, offset, linearity, noise, steps) come after;",
            "two readings averaged. worst_error_ohm: of all boards. margin: promised (2 % + 0.05 ohm) over it;",
            f"error_margin: {ERROR[1]:.2%} + {ERROR[0]} ohm over it, for the uncertainty of single readings.",
            "one_direction_alone shows why the current is reversed: leakage through the 10k taps looks like 40 ohm.",
        ),
        lambda raw: _results(raw, METHODS, PROMISE),
        tolerance=0.05,
    )


def wide_range() -> Deck:
    """The same on the 4.096 V range."""
    cases = [("one_card", LEAKS["one_card"], 0.0)]
    return Deck(
        "range",
        f"Four-wire resistance on the 4.096 V range, {BOARDS} boards",
        COLUMNS,
        text("range: 300 boards, wide range", [*_board("4096"), *boards()], _control(cases, WIDE)),
        ("margin: promised (2 % + 0.2 ohm) over worst error. Above 5 kohm the isolation method takes over.",),
        lambda raw: _results(raw, WIDE_METHODS, PROMISE_WIDE),
        tolerance=0.05,
    )
