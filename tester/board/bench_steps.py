"""What checking and calibrating share: talking to the person, and seeing what is plugged into the board."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from tester.board.client import Board
from tester.errors import BoardError

Say = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Dialog:
    """The person at the bench, however they are reached.

    ask     show what to do and wait: True when it is done, False to leave this part out
    number  ask for a number, None to leave this part out
    say     what is going on, and how far: text, done, total
    """

    ask: Callable[[str], bool]
    number: Callable[[str], float | None]
    say: Say = lambda text, done, total: None


def all_channels(board: Board) -> range:
    """Every channel of the board."""
    return range(1, board.info.channels + 1)


def refuse_live(board: Board) -> None:
    """Voltage check of every channel. Raises BoardError (code "voltage")."""
    if "voltage" not in board.info.can:
        return
    live = board.voltage(all_channels(board)).live()
    if live:
        listed = ", ".join(f"{channel} {volts:+.2f} V" for channel, volts in live)
        raise BoardError(
            f"{board.address}: voltage on channel {listed}", "Unplug everything from the board.", code="voltage"
        )


def circuits(board: Board, say: Say) -> list[list[int]]:
    """Channels joined by what is plugged in, largest circuits first; single channels are left out."""
    channels = tuple(all_channels(board))
    rows = board.walk(channels, channels, progress=lambda done, total: say("scanning", done, total)).rows
    left, found = set(channels), []
    while left:
        circuit: set[int] = set()
        fresh = {min(left)}
        while fresh:
            circuit |= fresh
            fresh = {b for a in fresh for b in left if rows[a - 1] >> b - 1 & 1 or rows[b - 1] >> a - 1 & 1} - circuit
        left -= circuit
        if len(circuit) > 1:
            found.append(sorted(circuit))
    return sorted(found, key=lambda circuit: (-len(circuit), circuit))
