"""Guided calibration: leakage of the empty board, zero by a shorting plug, gain by a resistor; stored on the board."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from statistics import median

from tester.board.bench_steps import Dialog, all_channels, circuits, refuse_live
from tester.board.check import EMPTY, OHMS, REFERENCE, known_pair
from tester.board.client import Board
from tester.board.readings import NO_VALUE, CalibrationFrame
from tester.errors import BoardError

BASELINE_CHANNELS = 6
PLUG_LEAST, PLUG_MOST = 3, 7
UNEVEN_OHM = 0.1  # a lead that reads so much more than its neighbours on one plug: a bad contact. Common practice
PLUG = "Put the shorting plug onto three channels or more of the lead set. Leave it out when all are done."


@dataclass(frozen=True)
class Calibration:
    """What is stored on the board now."""

    date: str
    check: int
    gain_ppm: int | None
    zeros: int
    baselines: int

    @property
    def says(self) -> str:
        """One sentence."""
        gain = "gain not calibrated" if self.gain_ppm is None else f"gain {self.gain_ppm} ppm"
        return f"calibrated {self.date}, check {self.check:08X}: {gain}, {self.zeros} zeros, {self.baselines} baselines"


def calibrate(board: Board, dialog: Dialog, today: datetime.date) -> Calibration:
    """The whole guided calibration; what is left out keeps its stored value.

    Raises BoardError when the board cannot measure, or reads something that cannot be.
    """
    if "resistance" not in board.info.can:
        raise BoardError(f"{board.address}: this board has no converter; there is nothing to calibrate", code="refused")
    try:
        done = baseline(board, dialog) + zeros(board, dialog) + gain(board, dialog)
        if not done:
            raise BoardError(f"{board.address}: everything was left out, nothing was stored", code="refused")
        board.calibrate_save(today.isoformat())
    finally:
        board.off()
    return stored(board)


def baseline(board: Board, dialog: Dialog) -> int:
    """Leakage of each channel of the empty board; how many were measured."""
    if "isolation" not in board.info.can or not dialog.ask(EMPTY):
        return 0
    refuse_live(board)
    _nothing_joined(board, dialog)
    every = tuple(all_channels(board))
    for at in range(0, len(every), BASELINE_CHANNELS):
        dialog.say("leakage of the empty board", at, len(every))
        board.calibrate_baseline(every[at : at + BASELINE_CHANNELS], every)
    return len(every)


def _nothing_joined(board: Board, dialog: Dialog) -> None:
    found = circuits(board, dialog.say)
    if found:
        raise BoardError(
            f"{board.address}: channels {', '.join(map(str, found[0]))} are joined; the board is not empty",
            "Unplug everything from the board.",
            code="self-check",
        )


def zeros(board: Board, dialog: Dialog) -> int:
    """Lead and contact resistance of each channel that a shorting plug reaches; how many were measured."""
    measured: set[int] = set()
    while dialog.ask(PLUG):
        refuse_live(board)
        found = [circuit for circuit in circuits(board, dialog.say) if len(circuit) >= PLUG_LEAST]
        if not found:
            dialog.say("no three channels are joined: is the plug home?", 0, 0)
            continue
        for circuit in found:
            zeros: dict[int, float] = {}
            for group in groups(circuit):
                frame = board.calibrate_zero(group)
                zeros.update({one: tenths / 10_000 for one, tenths in zip(frame.channels, frame.zeros, strict=True)})
            measured.update(zeros)
            for line in uneven(zeros):
                dialog.say(line, 0, 0)
        dialog.say(f"zero of {len(measured)} channels", len(measured), board.info.channels)
    return len(measured)


def uneven(zeros: Mapping[int, float]) -> list[str]:
    """A line for each lead that reads far more ohm than the others on its plug: it would hide faults later."""
    usual = median(zeros.values())
    return [
        f"channel {channel} reads {ohms:.2f} ohm, the others about {usual:.2f}: clean this contact and plug again"
        for channel, ohms in zeros.items()
        if ohms > usual + UNEVEN_OHM
    ]


def groups(circuit: list[int]) -> list[list[int]]:
    """The channels of a plug in groups of three to seven; the last ones lend to a rest that would be too small."""
    count = -(-len(circuit) // PLUG_MOST)
    size, larger = divmod(len(circuit), count)
    found, at = [], 0
    for n in range(count):
        end = at + size + (n < larger)
        found.append(circuit[at:end])
        at = end
    return found


def gain(board: Board, dialog: Dialog) -> int:
    """Gain by a resistor of known value; 1 when it was measured."""
    ohms = dialog.number(OHMS) if dialog.ask(REFERENCE) else None
    if ohms is None:
        return 0
    refuse_live(board)
    a, b = known_pair(board, dialog)
    board.calibrate_reference(a, b, round(ohms * 1000))
    return 1


def stored(board: Board) -> Calibration:
    """What the board has stored. Raises BoardError when it has nothing valid."""
    frame: CalibrationFrame = board.calibration()
    if not frame.stored:
        raise BoardError(f"{board.address}: no valid calibration is stored", "Calibrate again.", code="self-check")
    return Calibration(
        frame.date,
        frame.check,
        frame.gain_ppm if frame.flags & 1 else None,
        sum(zero != NO_VALUE for zero in frame.zeros) if frame.flags & 2 else 0,
        sum(base != NO_VALUE for base in frame.baselines) if frame.flags & 4 else 0,
    )
