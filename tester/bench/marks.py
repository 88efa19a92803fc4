"""Marks: what is known of a cavity, as a sign that is told apart without colour, with a role for its style."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class Mark(Enum):
    """One sign. `sign` one column wide, `role` the style it is drawn in, `means` its words on the help screen."""

    NO_LEAD = ("·", "dim", "not on a lead")
    UNKNOWN = ("∙", "dim", "not seen yet")
    LONE = ("○", "plain", "lone: joined to nothing")
    JOINED = ("●", "wire", "in a circuit")
    RIGHT = ("✓", "right", "right")
    WRONG = ("✗", "wrong", "wrong")
    DOUBT = ("?", "doubt", "doubtful")
    NOT_TESTED = ("–", "doubt", "not tested")
    DROPPED = ("!", "wrong", "dropped out")

    def __init__(self, sign: str, role: str, means: str) -> None:
        self.sign = sign
        self.role = role
        self.means = means


@dataclass(frozen=True)
class CavityMark:
    """What a face or a list shows of one cavity. `chosen`: framed and inverted, the one meant now."""

    mark: Mark = Mark.UNKNOWN
    chosen: bool = False


UNKNOWN = CavityMark()
