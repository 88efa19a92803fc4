"""Sounds: the terminal's bell in patterns that differ for right, wrong and dropout; each is also told in words."""

from __future__ import annotations

from collections.abc import Callable

PATTERNS: dict[str, tuple[float, ...]] = {
    "right": (0.0,),
    "wrong": (0.0, 0.12, 0.24, 0.36),
    "dropout": (0.0, 0.5),
    "found": (0.0, 0.12),
}
"""Sound -> when its bells ring, in seconds after the event. No two are alike in number and distance."""

Later = Callable[[float, Callable[[], None]], object]


class Sounds:
    """Plays patterns through `bell`, later bells through `later(seconds, what)`. `on` False: silent."""

    def __init__(self, bell: Callable[[], None], later: Later, on: bool = True) -> None:
        self._bell = bell
        self._later = later
        self.on = on
        self.played: list[str] = []

    def play(self, sound: str) -> None:
        """Play one of PATTERNS, unless sounds are off."""
        if not self.on:
            return
        self.played = [*self.played[-99:], sound]
        for delay in PATTERNS[sound]:
            if delay:
                self._later(delay, self._bell)
            else:
                self._bell()
