"""Names of the stages of a job and what is done in each, and the cautions said before anything is driven."""

from __future__ import annotations

STAGES: dict[str, str] = {
    "intake": "Who, which harness, which side, which plan.",
    "leads": "Connect the leads, prove them, read the cautions, check that no voltage is present.",
    "as found": "Scan the harness before anything is touched, and answer what only eyes can see.",
    "work sheet": "Do the steps for this harness, one after the other, and tick them.",
    "as left": "Scan after the last step, judge, and mend what is wrong.",
    "wiggle": "Watch for dropouts while the harness is moved.",
    "finish": "Initials, record, label, report.",
    "after installing": "Check the functions in the vehicle.",
    "comeback": "Find the record, scan again, see what changed.",
}

CAUTIONS: dict[str, str] = {
    "battery": (
        "The battery is disconnected, and the waiting time that the vehicle's own manual gives has passed since "
        "(makers state from ten seconds to ten minutes; the manual decides)."
    ),
    "out": "The harness is out of the vehicle, with both ends free. Control units and modules are unplugged.",
    "manual": "The service manual and local rules come first, whatever this program says.",
    "restraint": (
        "Restraint-system circuits (air bag, pretensioner, any other inflator) are for qualified people. Never put an "
        "ohmmeter or this board on an inflator, live or fired: a small current limit does not make it safe."
    ),
    "high-voltage": "Orange cables and anything over 60 V d.c. are out of scope: qualified people only.",
    "low-voltage": (
        "This is a low-voltage test. It says nothing about insulation under high voltage, sealing, routing or load."
    ),
}

TRYING = (
    "Service manual and local rules first. Hands out of the way of windows, latches and hatch. If the lamp of the "
    "restraint system (air bag) stays lit, that is for qualified people."
)

RENAMED = "its lead set was mapped otherwise when the harness was scanned as found"


def stage_line(stage: str) -> str:
    """What is done in a stage, in one sentence. KeyError for a stage that does not exist."""
    return STAGES[stage]


def connector_caution(connector: str, cavities: str) -> str:
    """Caution for the other cavities of a connector that has declared restraint or high-voltage cavities."""
    return (
        f"Connector {connector} also carries restraint or high-voltage circuits, in {cavities}. "
        f"No lead may touch these cavities; unplug what they lead to before you go on."
    )
