"""Two scans compared, a sentence a change; and a dropout watch in words."""

from __future__ import annotations

from collections.abc import Sequence

from tester.words.lists import counted, listed, ohms

MOST = 8
TOUCHED = {
    "circuit edited": "the job edited this circuit",
    "connector opened": "the job opened this connector, not this circuit",
    "not handled": "the job did not handle it",
}


def change_says(
    kind: str,
    cavities: Sequence[str],
    sides: Sequence[Sequence[str]],
    before: float | None,
    after: float | None,
    touched: str,
) -> str:
    """One sentence on one change between two scans; the arguments are the fields of a Change."""
    names = listed(cavities, most=MOST)
    parts = [listed(side, most=MOST) for side in sides]
    pair = f"{cavities[0]} and {cavities[-1]}"
    text = {
        "gone": lambda: f"No longer joined: {listed(parts, last='from', ordered=False)}",
        "new": lambda: f"Newly joined: {listed(parts, last='with', ordered=False)}",
        "resistance": lambda: f"Resistance between {pair} moved from {_ohms(before)} to {_ohms(after)}",
        "part gone": lambda: f"The part between {pair} ({_ohms(before)}) is gone",
        "part new": lambda: f"New between {pair}: a part of {_ohms(after)}",
        "part changed": lambda: f"The part between {pair} changed from {_ohms(before)} to {_ohms(after)}",
        "not comparable": lambda: f"Not comparable, on a lead or certain in one scan only: {names}",
    }[kind]()
    return text if kind == "not comparable" else f"{text}; {TOUCHED[touched]}"


def _ohms(value: float | None) -> str:
    return "no reading" if value is None else ohms(value)


def watch_line(
    seconds: float,
    cadence_us: float,
    missed_ms: float,
    shorts_missed_ms: float | None,
    touch_blind: Sequence[Sequence[str]] = (),
) -> str:
    """What a dropout watch did and what it could have missed, in one sentence; arguments as in a WatchResult.

    Without a cadence it was left or broken off, and nothing is known of it but its first dropout.
    """
    if not cadence_us:
        return f"Broken off at {seconds:.3g} s or later: of what it saw only the first dropout was kept"
    text = (
        f"Watched for {seconds:.3g} s, a reading at least every {cadence_us / 1000:.3g} ms: "
        f"an opening of up to {missed_ms:.3g} ms could have been missed "
        "(where more than 4 m of wire come loose, a longer one)"
    )
    if shorts_missed_ms is None:
        return f"{text}; touches between circuits were not looked for"
    text = f"{text}, a touch between circuits of up to {shorts_missed_ms:.3g} ms"
    if not touch_blind:
        return text
    groups = "; ".join(listed(group, most=MOST) for group in touch_blind)
    return f"{text}; parts hide any touch between the circuits of {groups}"


def dropout_line(kind: str, cavities: Sequence[str], at_ms: float, lasted_ms: float) -> str:
    """One dropout: which circuit, when, how long."""
    names = listed(cavities, most=MOST)
    what = f"the circuit of {names} opened" if kind == "open" else f"circuits touched at {names}"
    return f"At {at_ms / 1000:.2f} s {what} for {lasted_ms:.3g} ms"


def count_changes(number: int) -> str:
    """``no change``, ``1 change``, ``4 changes``."""
    return counted(number, "change") if number else "no change"
