"""Touch to find: which channel a loose probe lead touches, with a wet finger told from metal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

METAL_OHMS = 5.0  # probe tip on a terminal with two leads; damp skin has a kilohm and more. Common practice, no source


@dataclass(frozen=True)
class Touch:
    """What the probe touches: channels that answered, and "metal", "unsteady" or "skin"; no channels: nothing."""

    channels: tuple[int, ...]
    kind: str = "metal"


def touched(out: Sequence[frozenset[int]], back: Sequence[frozenset[int]], ohms: float | None = None) -> Touch:
    """Judge several looks at a probe.

    `out[i]`: channels that read low while the probe was driven; `back[i]`: channels of them that pulled the probe low
    in turn. Metal answers alike in every look and both ways. A finger conducts a little: on a circuit of two points it
    can read low, but seldom both ways and steadily; where the converter measured the contact, `ohms` decides
    (infinite: nothing flows). Raises ValueError for no look or an uneven number of looks.
    """
    if not out or len(out) != len(back):
        raise ValueError("as many looks back as out, and at least one")
    seen = frozenset().union(*out)
    if not seen:
        return Touch(())
    channels = tuple(sorted(seen))
    steady = all(look == seen for look in out) and all(look >= seen for look in back)
    if ohms is not None and ohms > METAL_OHMS:
        return Touch(channels, "skin")
    return Touch(channels, "metal" if steady else "unsteady")
