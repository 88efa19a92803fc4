"""`plan`: check, show, sheet, expect, from-scan."""

from __future__ import annotations

import argparse
import re
from pathlib import Path
from typing import Any

from tester.cli.common import parse_answers
from tester.cli.output import say, show, show_json, show_or_write
from tester.harness.reading import Measured
from tester.job.files import read_bytes, read_text
from tester.job.scanfile import load_scan
from tester.plan.blind import exchange_blind
from tester.plan.expect import expectation
from tester.plan.fromscan import from_scan as plan_text_from_scan
from tester.plan.load import load_plan
from tester.plan.models import Plan
from tester.plan.resolve import resolve
from tester.plan.sheet import sheet_text


def _plan(options: argparse.Namespace) -> Plan:
    return load_plan(read_bytes(options.plan, "plan"), options.plan)


def _as_found(options: argparse.Namespace) -> Measured | None:
    return load_scan(read_text(options.as_found, "scan"), options.as_found) if options.as_found else None


def check(options: argparse.Namespace) -> int:
    """Every rule that a plan must keep; the first mistake ends with its place, warnings are listed."""
    plan = _plan(options)
    warnings = [blind.words for blind in exchange_blind(plan)]
    if plan.hazards.undeclared:
        warnings.append(f"hazards not declared ({', '.join(plan.hazards.undeclared)}): a real board refuses this plan")
    if options.json:
        show_json({"plan": plan.id, "revision": plan.revision, "warnings": warnings})
        return 0
    show(f"{options.plan}: plan {plan.id}, revision {plan.revision}: no mistake found")
    show(f"{len(plan.cavities)} cavities, {len(plan.wire)} kit wires, {len(plan.step)} steps")
    for warning in warnings:
        show(f"Mind: {warning}")
    return 0


def show_plan(options: argparse.Namespace) -> int:
    """The plan in words, all variants."""
    plan = _plan(options)
    if options.json:
        show_json(plan.model_dump(mode="json", by_alias=True, exclude_defaults=True))
    else:
        show_or_write(sheet_text(plan), None)
    return 0


def sheet(options: argparse.Namespace) -> int:
    """The work sheet; with an as-found scan, the one for that harness."""
    plan, as_found = _plan(options), _as_found(options)
    found = resolve(plan, as_found, parse_answers(options.answer), options.side) if as_found else None
    text = sheet_text(plan, found)
    if options.json:
        show_json({"plan": plan.id, "revision": plan.revision, "sheet": text})
        return 0
    show_or_write(text, options.output)
    for question in found.questions if found else ():
        say(f"Still open: {question.says} Answer with --answer '{question.id}=yes' or '=no'.")
    return 0


def expect(options: argparse.Namespace) -> int:
    """The netlist that the finished harness must have; several where the harness can fall apart in several ways."""
    plan = _plan(options)
    expected = expectation(plan, _as_found(options), parse_answers(options.answer), options.side)
    result: dict[str, Any] = {
        "plan": plan.id,
        "revision": plan.revision,
        "checks": list(expected.checks),
        "outcomes": [{"nets": [list(c) for c in o.netlist], "note": o.note} for o in expected.outcomes],
        "edited": sorted(expected.edited),
        "required": sorted(expected.required),
        "notes": list(expected.notes),
    }
    if options.json:
        show_json(result)
        return 0
    lines = []
    for number, outcome in enumerate(expected.outcomes, 1):
        if len(expected.outcomes) > 1:
            lines.append(f"Outcome {number}: {outcome.note}")
        lines += [" ".join(circuit) for circuit in outcome.netlist if len(circuit) > 1]
        lines.append(f"joined to nothing: {' '.join(outcome.netlist.lone()) or 'none'}")
    show_or_write("\n".join([*lines, *expected.notes]), options.output)
    return 0


def from_scan(options: argparse.Namespace) -> int:
    """A plan that expects exactly what a reference harness was measured to be."""
    measured = load_scan(read_text(options.scan, "scan"), options.scan)
    id = options.id or re.sub(r"[^\w.-]+", "-", Path(options.scan).stem) or "reference"
    text = plan_text_from_scan(measured, id)
    if options.json:
        show_json({"plan": text})
    else:
        show_or_write(text, options.output)
    return 0
