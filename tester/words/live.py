"""Sentences for what the board sees while the work is going on."""

from __future__ import annotations

from collections.abc import Sequence

from tester.words.lists import listed


def right_now(circuit: Sequence[str]) -> str:
    """The new circuit is where it belongs."""
    return f"Right: {listed(circuit)} are joined."


def wrong_now(a: str, b: str, belongs_with: Sequence[str]) -> str:
    """Two cavities became joined that must not be."""
    wanted = f"{a} belongs with {listed(belongs_with)}" if belongs_with else f"{a} must be joined to nothing"
    return f"Wrong: {a} is joined to {b}; {wanted}."


def lost_now(a: str, others: Sequence[str]) -> str:
    """An untouched circuit came apart."""
    return f"Lost: {a} is no longer joined to {listed(others)}, and no open step does that."


def gone_now(a: str, others: Sequence[str]) -> str:
    """A terminal that must come out no longer answers."""
    return f"{a} no longer answers to {listed(others)}. Touch the pulled terminal with the probe, or confirm by hand."


def back_now(a: str, others: Sequence[str]) -> str:
    """A lost circuit is there again."""
    return f"Back: {a} is joined to {listed(others)} again."
