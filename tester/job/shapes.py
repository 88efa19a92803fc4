"""What the data of each kind of event must look like before the fold reads it. Pure.

A chain proves that an event is as it was written, not that this program wrote it: an archive may come from anywhere.
Kinds and keys of newer versions are passed over.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

Shape = Any
"""A test; a list of one shape, for each item; or key -> shape, where `?` ends a key that may be missing."""


def text(value: object) -> bool:
    """True for text."""
    return isinstance(value, str)


def number(value: object) -> bool:
    """True for a number that can be shown and reckoned with."""
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e18 and math.isfinite(value)


def count(value: object) -> bool:
    """True for a whole number."""
    return isinstance(value, int) and number(value)


def flag(value: object) -> bool:
    """True for true or false."""
    return isinstance(value, bool)


def verdict(value: object) -> bool:
    """True for one of the three words."""
    return value in ("PASS", "FAIL", "NOT TESTED")


def maybe(test: Callable[[object], bool]) -> Callable[[object], bool]:
    """The test, or nothing there."""
    return lambda value: value is None or test(value)


def plain(value: object) -> bool:
    """True for text, a number, a flag or nothing."""
    return value is None or text(value) or number(value) or flag(value)


def numbers(value: object) -> bool:
    """True for a table of numbers, or of text that says something of them."""
    return isinstance(value, dict) and all(number(one) or text(one) for one in value.values())


NAMES: Shape = [text]
FAULT: Shape = {
    "kind": text, "cavities": NAMES, "explanation": count, "action": text, "sits": NAMES, "belongs": NAMES,
    "steps": NAMES, "values": numbers,
}  # fmt: skip
CAVITY: Shape = {
    "cavity": text, "verdict": text, "expected": NAMES, "measured": NAMES, "why": text, "contact": text,
}  # fmt: skip
SHAPES: Mapping[str, Shape] = {
    "job-opened": {"tag?": plain, "job?": plain, "by?": plain, "side?": maybe(text), "title?": plain,
                   "celsius?": number},
    "plan": {"name": text, "text": text, "id?": text, "revision?": plain},
    "leads": {"maps": [{"name": text, "text": text}]},
    "lead-proven": {"cavities": NAMES, "how?": text, "sets?": NAMES},
    "lead-unproven": {"cavities": NAMES, "why?": text, "since?": text, "sets?": NAMES},
    "left-out": {"cavities": NAMES, "why": text, "purpose": text, "unproven?": NAMES, "sets?": NAMES},
    "board": {"can?": NAMES, "model?": plain, "serial?": plain, "channels?": count, "limits?": plain},
    "caution": {"caution": text, "by?": maybe(text)},
    "answer": {"question": text, "answer": text},
    "accepted": {"what": text},
    "tick": {"step": text, "how?": text, "by?": maybe(text)},
    "undo": {"step": text},
    "touched": {"cavities?": NAMES, "why?": text},
    "scan": {"purpose": text, "nets?": [NAMES], "left_out?": NAMES, "source?": text, "name?": text},
    "verdict": {
        "verdict": verdict, "scope": NAMES, "not_in_scope": [{"check": text, "why": text}], "cavities": [CAVITY],
        "faults": [FAULT], "explanations": count, "exact": flag, "outcome": text, "unproven": NAMES,
        "untested": [{"why": text, "names": NAMES}], "grade": text, "complete?": flag, "at_least?": count,
        "reach?": numbers, "says?": NAMES,
    },
    "wiggle": {
        "dropouts": [{"kind": text, "cavities": NAMES, "at_ms": number, "lasted_ms": maybe(number)}],
        "seconds": number, "cadence_us": number, "missed_ms": number, "complete": flag,
        "shorts_missed_ms?": maybe(number), "touch_blind?": [NAMES],
    },
    "aborted": {"purpose": text, "kind?": text, "message": text, "hint?": text, "left_out?": NAMES,
                "sources?": [{"cavity": text, "volts": number, "ohms": number}]},
    "initials": {"role": text, "initials": text},
    "note": {"text": text},
    "photo": {"name": text, "about?": text, "bytes?": count},
    "function-check": {"item": text, "result": text},
}  # fmt: skip


def misfit(kind: str, data: object) -> str:
    """What in an event's data is not as it must be, such as ``maps 1, text``; "" when all is."""
    return _misfit(data, SHAPES.get(kind, {}))


def _misfit(value: object, shape: Shape) -> str:
    if isinstance(shape, list):
        if not isinstance(value, list):
            return "itself"
        return next((f"{n}, {wrong}" for n, one in enumerate(value, 1) if (wrong := _misfit(one, shape[0]))), "")
    if isinstance(shape, dict):
        if not isinstance(value, dict):
            return "itself"
        for key, inner in shape.items():
            name, missing = key.rstrip("?"), key.endswith("?")
            if name not in value and not missing:
                return f"{name} is missing"
            if name in value and (wrong := _misfit(value[name], inner)):
                return f"{name} {wrong}".replace(" itself", "")
        return ""
    return "" if shape(value) else "itself"
