"""Three multiplexer trees (S+, S-, force): per card and tree four CD74HC4067 behind one 74HC595.

A register byte holds the channel address in its low nibble and four enables, active low, in its high nibble. The
registers of all cards form one chain: the byte shifted first goes farthest; within a card the order from the far end
is force, S-, S+, and card 0 is nearest. Commons of each tree are tied across all cards.
"""

from __future__ import annotations

from collections.abc import Callable

from hwspec.virtual.faults import TwoMuxChannels

SENSE_PLUS, SENSE_MINUS, FORCE = 0, 1, 2
TREES = ("S+", "S-", "force")
_ALL_OFF = 0xF0

Selected = Callable[[int, int], None]


class Multiplexers:
    """`selected(tree, channel)` is told of every change; channel is the index 0.. on the board, -1 for none."""

    def __init__(self, cards: int, selected: Selected) -> None:
        self._cards = cards
        self._selected = selected
        self._shifted = bytearray([_ALL_OFF] * (3 * cards))
        self._latched = bytes(self._shifted)
        self._enabled = False
        self.now = [-1, -1, -1]

    def shift(self, out: bytes) -> None:
        """Clock bytes into the chain; they show at the outputs only after `latch`."""
        kept = (bytes(self._shifted) + bytes(out))[-3 * self._cards :] if self._cards else b""
        self._shifted[:] = kept

    def latch(self) -> None:
        """Take over what was shifted."""
        self._latched = bytes(self._shifted)
        self._apply()

    def enable_outputs(self, enabled: bool) -> None:
        """OE of the registers. Off: the enables are pulled up, every multiplexer is off."""
        self._enabled = enabled
        self._apply()

    def registers(self) -> bytes:
        """Latched bytes, card 0 first, in the order S+, S-, force."""
        return self._latched[::-1]

    def _apply(self) -> None:
        for tree in range(3):
            on = self._channels_on(tree) if self._enabled else []
            if len(on) > 1:
                names = " and ".join(str(channel + 1) for channel in on)
                raise TwoMuxChannels(f"{TREES[tree]} bus: channels {names} are connected at once")
            channel = on[0] if on else -1
            if channel != self.now[tree]:
                self.now[tree] = channel
                self._selected(tree, channel)

    def _channels_on(self, tree: int) -> list[int]:
        on = []
        chain = self._latched[::-1]
        for card in range(self._cards):
            value = chain[3 * card + tree]
            on += [card * 64 + chip * 16 + (value & 15) for chip in range(4) if not value >> (4 + chip) & 1]
        return on
