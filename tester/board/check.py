"""Guided check of a board: nothing plugged in, then a shorting plug, then a resistor of known value.

Each finding says what was looked at and what came of it; a part that was left out, or that this board cannot do, has
neither passed nor failed.
"""

from __future__ import annotations

from dataclasses import dataclass

from tester.board.bench_steps import Dialog, all_channels, circuits, refuse_live
from tester.board.client import Board
from tester.board.limits import limit
from tester.board.ohms import resistance
from tester.errors import BoardError

PARTS = ("expanders", "multiplexers", "reference cell", "crosstalk between neighbours")
PLUG_MOST_OHM = 2.0  # a shorting plug with its leads and contacts; more is a bad contact
EMPTY = "Unplug everything from the board: no lead set, no harness."
PLUG = "Plug in the lead set, and the shorting plug onto it (three channels or more joined). Leave it out to skip this."
REFERENCE = "Take the plug off and put a resistor of known value (1 to 100 ohm) between two leads."
OHMS = "Its value in ohms?"


@dataclass(frozen=True)
class Finding:
    """One part of the check. `passed`: None when it was not done. `says`: one sentence or more."""

    name: str
    passed: bool | None
    says: tuple[str, ...]


def passed(findings: list[Finding]) -> bool:
    """Nothing failed, and something was looked at."""
    return all(finding.passed is not False for finding in findings) and any(finding.passed for finding in findings)


def check(board: Board, dialog: Dialog) -> list[Finding]:
    """The whole guided check. Raises BoardError when the link fails or a voltage is present."""
    findings = []
    try:
        if dialog.ask(EMPTY):
            refuse_live(board)
            findings += [*self_tests(board, dialog), drivers(board), empty(board, dialog)]
        else:
            findings.append(Finding("empty board", None, ("left out",)))
        findings.append(plug(board, dialog))
        findings.append(reference(board, dialog))
    finally:
        board.off()
    return findings


def self_tests(board: Board, dialog: Dialog) -> list[Finding]:
    """What the board tests in itself, with nothing plugged in."""
    if "voltage" not in board.info.can:
        return [Finding("self-test", None, ("this board has no converter and no expanders",))]
    cards = range(1, (board.info.channels + 63) // 64 + 1)
    asked = [(0, 1), (2, 1), *((part, card) for part in (1, 3) for card in cards)]
    findings = []
    for done, (part, card) in enumerate(asked):
        where = f", card {card}" if part in (1, 3) and len(cards) > 1 else ""
        dialog.say(f"self-test: {PARTS[part]}{where}", done, len(asked))
        frame = board.self_test(part, card)
        findings.append(Finding(PARTS[part] + where, frame.passed, _self_test_words(part, frame.found)))
    return findings


def _self_test_words(part: int, found: tuple[tuple[int, int], ...]) -> tuple[str, ...]:
    if part == 0:
        bad = [f"expander {chip}: bits {bits:04X} do not hold" for chip, bits in found if bits]
        return tuple(bad) or (f"{len(found)} expanders keep what is written to them",)
    if part == 2:
        value = found[0][1] if found else -1
        return (f"the reference cell reads {value / 1000:.3f} ohm" if value >= 0 else "no current in the cell",)
    if part == 1:
        trees = ("S+", "S-", "force")
        bad = [f"tree {trees[where // 1000]}, channel {where % 1000}: {mv} mV" for where, mv in found]
        return tuple(bad) or ("each tree finds its channels",)
    return tuple(f"channel {other} follows channel {driven}" for driven, other in found) or (
        "no channel follows another",
    )


def drivers(board: Board) -> Finding:
    """Each channel pulls itself low and lets go again."""
    frame = board.drivers(all_channels(board))
    bad = [f"channel {channel} does not pull low" for channel in frame.weak()]
    bad += [f"channel {channel} stays low when released" for channel in frame.stuck()]
    return Finding("drivers", not bad, tuple(bad) or (f"{len(frame.channels)} channels pull low and let go",))


def empty(board: Board, dialog: Dialog) -> Finding:
    """With nothing plugged in no channel is joined to another."""
    joined = [" and ".join(map(str, circuit)) for circuit in circuits(board, dialog.say)]
    says = tuple(f"channels {listed} are joined" for listed in joined)
    return Finding("nothing joined", not joined, says or ("no two channels are joined",))


def plug(board: Board, dialog: Dialog) -> Finding:
    """All channels of the shorting plug are joined, each with little resistance."""
    name = "shorting plug"
    if not dialog.ask(PLUG):
        return Finding(name, None, ("left out",))
    refuse_live(board)
    found = circuits(board, dialog.say)
    if not found or len(found[0]) < 3:
        return Finding(name, False, ("no three channels are joined: is the plug home?",))
    says, good = [f"joined: channels {', '.join(map(str, found[0]))}"], len(found) == 1
    says += [f"also joined: channels {', '.join(map(str, other))}" for other in found[1:]]
    if "resistance" not in board.info.can:
        return Finding(name, good, (*says, "resistance: this board cannot measure it"))
    first, *rest = found[0]
    for done, channel in enumerate(rest):
        dialog.say("resistance of the plug", done, len(rest))
        ohms = resistance(board.resistance(first, channel)).ohms
        if ohms > PLUG_MOST_OHM:
            good = False
            says.append(f"channel {first} to {channel}: {ohms:.2f} ohm; a contact is bad")
    return Finding(name, good, tuple(says))


def reference(board: Board, dialog: Dialog) -> Finding:
    """A known resistor reads its value within what is promised, lead resistance taken off where it is calibrated."""
    name = "known resistor"
    if "resistance" not in board.info.can:
        return Finding(name, None, ("this board cannot measure resistance",))
    true = dialog.number(OHMS) if dialog.ask(REFERENCE) else None
    if true is None:
        return Finding(name, None, ("left out",))
    refuse_live(board)
    a, b = known_pair(board, dialog)
    found = resistance(board.resistance(a, b, samples=8), board.calibration())
    allowed = limit("resistance_relative") * true + limit("resistance_absolute")
    says = f"channel {a} to {b}: {found.ohms:.3f} ohm, is {true:g}, {allowed:.3f} ohm allowed"
    return Finding(name, abs(found.ohms - true) <= allowed, (says,))


def known_pair(board: Board, dialog: Dialog) -> tuple[int, int]:
    """The two channels that the resistor joins. Raises BoardError when it is not exactly one pair."""
    found = circuits(board, dialog.say)
    if len(found) != 1 or len(found[0]) != 2:
        seen = "; ".join(", ".join(map(str, circuit)) for circuit in found) or "none"
        raise BoardError(
            f"{board.address}: exactly two channels should be joined by the resistor; joined are: {seen}",
            "Put one resistor between two leads, and nothing else.",
            code="self-check",
        )
    return found[0][0], found[0][1]
