"""The events of a job as lines to step through: what happened, in one sentence each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

SIGNS = {
    "tick": ("✓", "right"), "undo": ("↶", "doubt"), "aborted": ("!", "wrong"), "scan": ("≈", "live"),
    "verdict": ("◆", "strong"), "caution": ("!", "doubt"), "touched": ("↻", "doubt"), "wiggle": ("≈", "live"),
    "left-out": ("–", "doubt"),
}  # fmt: skip


def event_words(kind: str, data: Mapping[str, Any], steps: Mapping[str, str]) -> str:
    """One sentence for one event. `steps`: id -> what the step says."""
    get = data.get
    step = steps.get(str(get("step", "")), str(get("step", "")))
    words = {
        "job-opened": f"job opened{by(get('by'))}",
        "plan": f"plan {get('id', '')}, revision {get('revision', '')} ({get('name', '')})",
        "leads": "lead maps: " + ", ".join(str(one.get("name", "")) for one in get("maps", ())),
        "leads-done": "leads are done",
        "lead-proven": "leads proven: " + ", ".join(map(str, get("cavities", ()))),
        "lead-unproven": f"lead set to be cleaned and proven again, wet in {get('since', '?')}",
        "board": f"board {get('model', '')}, serial {get('serial', '')}",
        "caution": f"caution acknowledged: {get('caution', '')}{by(get('by'))}",
        "answer": f"by eye: {get('question', '')}: {get('answer', '')}",
        "accepted": f"accepted: {get('what', '')}",
        "tick": f"done, {'seen by the board' if get('how') == 'board' else 'by hand'}: {step}",
        "undo": f"undone: {step}",
        "touched": "reworked: " + (", ".join(map(str, get("cavities", ()))) or "the harness"),
        "left-out": "possibly wet, left out: " + ", ".join(map(str, get("cavities", ()))) + by(get("by")),
        "scan": f"full scan, {get('purpose', '')}",
        "verdict": f"verdict {get('verdict', '')}",
        "wiggle": f"wiggled {float(get('seconds', 0)):.0f} s, {len(get('dropouts', ()))} dropouts",
        "aborted": f"broke off, {get('purpose', '')}: {get('message', '')}",
        "initials": f"initials of the {get('role', '')}: {get('initials', '')}",
        "note": f"note: {get('text', '')}",
        "photo": f"photo {get('name', '')}",
        "function-check": f"function {get('item', '')}: {get('result') or 'answer taken back'}",
        "finished": "job closed at the bench",
    }
    return words.get(kind, kind)


def by(who: object) -> str:
    """`, by AB`, or nothing."""
    return f", by {who}" if who else ""
