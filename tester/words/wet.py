"""Sentences about a harness that may be wet: what was found, what to do in which order, what it does to a verdict."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from tester.words.lists import listed, ohms

WET = "possibly wet, left out of the scan"
WET_FOUND = "possibly wet, left out of the scan as found"
UNCLEAN = "the lead set was on a wet harness; clean it and prove it again by touch"


def left_out_line(purpose: str, cavities: Sequence[str]) -> str:
    """``as left: A-2 and B-2``, for the report."""
    return f"{purpose}: {listed(cavities)}"


class Found(Protocol):
    """A voltage on a cavity, and what it stands behind."""

    @property
    def cavity(self) -> str: ...
    @property
    def volts(self) -> float: ...
    @property
    def ohms(self) -> float: ...


def wet_lines(sources: Sequence[Found]) -> list[str]:
    """What the voltage check found, a line each."""
    rows = [f"{one.cavity}: {one.volts:+.2f} V behind {ohms(one.ohms)}, possibly wet." for one in sources]
    return [*rows, "Nothing was driven. A weak voltage is what water and two metals make."]


def measure_again(wet: Sequence[str], key: str, photographed: bool) -> str:
    """The next step while a harness may be wet."""
    first = "let it dry" if photographed else "photograph it (p), let it dry"
    return f"Possibly wet: {listed(wet, most=4)}. Clean nothing: {first}, then {key} measures again. e scans the rest."


def order_of_work(wet: Sequence[str], photographed: bool) -> list[tuple[str, str, str]]:
    """What to do now, in this order, as (sign, sentence, what it is for short)."""
    return [
        ("✓" if photographed else "!", "Photograph it as it is: p.", "done" if photographed else "first"),
        ("✓", f"Measured before anything was cleaned: {listed(wet)}.", "done"),
        ("!", "Unplug it, let the connectors dry, plug it in again.", "dry"),
        ("!", "Measure again: every cavity is looked at.", "again"),
        ("–", f"Or scan the rest now: e leaves {listed(wet)} out, never PASS.", "or"),
        ("–", "Then clean the lead set, and prove it again by touch.", "after"),
    ]


def leave_out_question(wet: Sequence[str]) -> tuple[str, str]:
    """Title and text of the question before a scan leaves cavities out."""
    return (
        f"Leave {listed(wet)} out?",
        "Possibly wet: these cavities are not driven, and nothing is said of them. The rest is scanned; the verdict "
        "cannot be PASS. Before a scan may give PASS again, the lead set must be cleaned and proven again by touch. "
        "y: I have read this, scan the rest.",
    )


def prove_again(provable: bool, proven: bool = False) -> str:
    """What to do after a scan of a wet harness."""
    if proven:
        return "The lead set is proven again. Is the harness dry, both ends on their leads? s scans all of it."
    if not provable:
        return (
            "The lead set was on a wet harness, and its map names no probe lead to prove it with: no PASS. Add "
            "probe = CHANNEL to the lead map, and begin a new job."
        )
    return "Let the harness dry. Clean the lead set, then press c: the leads are proven again by touch, then scan."
