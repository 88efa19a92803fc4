"""`plan`: check, show, sheet, expect, advice, diff, and the ways a plan comes to be."""

from __future__ import annotations

import argparse
import json
import re
import sys
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tester.cli.common import parse_answers, read_leads
from tester.cli.output import json_or_write, say, show, show_json, show_or_write
from tester.errors import InputError
from tester.harness.colours import load_house_colours
from tester.harness.leads import lead_map_schema, write_leads
from tester.harness.reading import Measured
from tester.job.files import read_bytes, read_text, write_whole
from tester.job.scanfile import load_scan
from tester.plan.advice import advice_text, advise
from tester.plan.diff import diff_plans, diff_text, same_on_side
from tester.plan.exchange import EXPORTS, export_plan, format_of, import_plan, imported_text
from tester.plan.expect import expectation
from tester.plan.fromscan import from_scan as plan_text_from_scan
from tester.plan.leadsheet import lead_labels, lead_plan_text, leads_for_plan, wiring_list
from tester.plan.load import load_plan, plan_schema
from tester.plan.models import Plan
from tester.plan.new import new_plan, parse_connector
from tester.plan.page import WorkPage, work_page
from tester.plan.report_text import report_text
from tester.plan.resolve import Resolved, resolve
from tester.plan.sheet import sheet_text
from tester.plan.sheet_html import sheet_html
from tester.plan.sheet_pdf import draw_sheet
from tester.plan.sides import for_side
from tester.plan.variants import check_plan, variant_resolved
from tester.reports.sheet import load_sheet

XML_MOST = 32 * 1024 * 1024
_SHEETS = {".html": "html", ".htm": "html", ".pdf": "pdf"}


def _plan(options: argparse.Namespace) -> Plan:
    return load_plan(read_bytes(options.plan, "plan"), options.plan)


def _as_found(options: argparse.Namespace) -> Measured | None:
    return load_scan(read_text(options.as_found, "scan"), options.as_found) if options.as_found else None


def check(options: argparse.Namespace) -> int:
    """Every rule that a plan must keep, then every variant tried; status 3 when a variant contradicts itself."""
    plan = _plan(options)
    report = check_plan(plan, options.most)
    contradicts = not report.fits
    if options.json:
        show_json({"plan": plan.id, "revision": plan.revision, "fits": not contradicts, **_plain(asdict(report))})
        return 3 if contradicts else 0
    show(f"{options.plan}: plan {plan.id}, revision {plan.revision}: read without a mistake")
    show(f"{len(plan.cavities)} cavities, {len(plan.wire)} kit wires, {len(plan.step)} steps")
    show(report_text(plan, report).rstrip())
    if plan.hazards.undeclared:
        show(f"Mind: hazards not declared ({', '.join(plan.hazards.undeclared)}): a real board refuses this plan")
    return 3 if contradicts else 0


def _plain(value: Any) -> Any:
    """Sets and tuples as lists, for JSON."""
    if isinstance(value, dict):
        return {str(key): _plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [_plain(one) for one in (sorted(value) if isinstance(value, set | frozenset) else value)]
    return value


def show_plan(options: argparse.Namespace) -> int:
    """The plan in words, all variants."""
    plan = _plan(options)
    if options.json:
        show_json(plan.model_dump(mode="json", by_alias=True, exclude_defaults=True))
    else:
        show(sheet_text(plan).rstrip("\n"))
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
        json_or_write(result, options.output)
        return 0
    lines = []
    for number, outcome in enumerate(expected.outcomes, 1):
        if len(expected.outcomes) > 1:
            lines.append(f"Outcome {number}: {outcome.note}")
        lines += [" ".join(circuit) for circuit in outcome.netlist if len(circuit) > 1]
        lines.append(f"joined to nothing: {' '.join(outcome.netlist.lone()) or 'none'}")
    show_or_write("\n".join([*lines, *expected.notes]), options.output)
    return 0


def sheet(options: argparse.Namespace) -> int:
    """The work sheet as text, page or PDF; for all variants, for one, or for the harness of a scan."""
    data = read_bytes(options.plan, "plan")
    plan = load_plan(data, options.plan)
    if options.side and not options.as_found:
        plan = for_side(plan, options.side)
    found = _resolved(plan, options)
    form = options.format or _SHEETS.get(Path(options.output or "").suffix.lower(), "text")
    if form == "text":
        content: str | bytes = sheet_text(plan, found)
    else:
        page = work_page(plan, found, read_leads(options.leads), data, options.seen_from)
        content = sheet_html(page) if form == "html" else _sheet_pdf(page)
    if options.json:
        show_json({"plan": plan.id, "revision": plan.revision, "sheet": sheet_text(plan, found)})
    if options.output:
        write_whole(options.output, content)
        say(f"written: {options.output}")
    elif form == "pdf":
        raise InputError("a PDF needs a place", "Give --output FILE.pdf.")
    elif not options.json:
        show_or_write(str(content), None) if form == "html" else show(str(content).rstrip("\n"))
    for question in found.questions if found else ():
        say(f"Still open: {question.says} Answer with --answer '{question.id}=yes' or '=no'.")
    return 0


def _resolved(plan: Plan, options: argparse.Namespace) -> Resolved | None:
    as_found = _as_found(options)
    answers = parse_answers(options.answer)
    if options.variant is not None:
        if as_found is not None or answers:
            raise InputError("--variant names a variant; --as-found and --answer find it", "Give one of the two.")
        return variant_resolved(plan, options.variant)
    if as_found is None and answers:
        raise InputError("--answer needs the harness that it is about", "Give its scan too: --as-found FILE.")
    return resolve(plan, as_found, answers, options.side) if as_found else None


def _sheet_pdf(page: WorkPage) -> bytes:
    paper = load_sheet(page.title, page.foot, datetime.now(UTC))
    draw_sheet(page, paper)
    return paper.finished()


def advice(options: argparse.Namespace) -> int:
    """Voltage drop, shared splices, fuse against wire. Advice, never a verdict."""
    found = advise(_plan(options))
    if options.json:
        show_json({"advice": [_plain(asdict(one)) for one in found]})
    else:
        show(advice_text(found).rstrip("\n"))
    return 0


def diff(options: argparse.Namespace) -> int:
    """What one plan has that the other has not, in circuits and steps."""
    old = _plan(options)
    new = load_plan(read_bytes(options.other, "plan"), options.other)
    if options.side:
        old, new = same_on_side(old, options.side), same_on_side(new, options.side)
    found = diff_plans(old, new)
    if options.json:
        show_json({"differences": [asdict(one) for one in found]})
    else:
        show(diff_text(found).rstrip("\n"))
    return 0


def from_scan(options: argparse.Namespace) -> int:
    """A plan that expects exactly what a reference harness was measured to be."""
    measured = load_scan(read_text(options.scan, "scan"), options.scan)
    text = plan_text_from_scan(measured, options.id or _id_of(options.scan))
    return _made(options, text)


def _id_of(path: str) -> str:
    return re.sub(r"[^\w.-]+", "-", Path(path).stem)[:80] or "reference"


def _made(options: argparse.Namespace, text: str) -> int:
    if options.json:
        if options.output:
            write_whole(options.output, text)
        show_json({"plan": text})
    else:
        show_or_write(text, options.output)
    return 0


def new(options: argparse.Namespace) -> int:
    """A commented plan to fill in, from options or from a few questions."""
    id, connectors = options.id, list(options.connector)
    if not (id and connectors):
        if not sys.stdin.isatty():
            raise InputError(
                "plan new needs --id and --connector",
                "Such as: plan new --id hatch-lamp --connector D=18 --connector H=32",
            )
        id = id or _ask("Short name of the plan, such as hatch-lamp: ")
        while not connectors:
            connectors = _ask("Connectors with their cavities, such as D=18 H=32: ").split()
    text = new_plan(id, [parse_connector(one) for one in connectors], options.title, options.side)
    if options.output and Path(options.output).exists() and not options.replace:
        raise InputError(f"{options.output}: there is a file already", "Give another name, or --replace.")
    return _made(options, text)


def _ask(question: str) -> str:
    sys.stderr.write(question)
    sys.stderr.flush()
    line = sys.stdin.readline()
    if not line:
        raise InputError("stopped before the questions were answered")
    return line.strip()


def leads(options: argparse.Namespace) -> int:
    """Propose lead maps for a board with so many channels; write them, a wiring list and labels into a folder."""
    plan = _plan(options)
    found = leads_for_plan(
        plan, options.channels, options.id, _as_found(options), parse_answers(options.answer), options.side
    )  # fmt: skip
    written = []
    if options.into:
        folder = Path(options.into)
        if not folder.is_dir():
            raise InputError(f"{folder}: no such folder", "Make it first: the lead maps are written into it.")
        for one in found.rounds:
            for ending, text in (
                (".toml", write_leads(one)), ("-wiring.csv", wiring_list(one)), ("-labels.txt", lead_labels(one)),
            ):  # fmt: skip
                write_whole(folder / f"{_id_of(one.id + '.x')}{ending}", text)
                written.append(f"{_id_of(one.id + '.x')}{ending}")
    if options.json:
        show_json({
            "rounds": [{"id": r.id, "channels": {str(c): n for c, n in r.channels.items()}} for r in found.rounds],
            "bound": found.bound, "bound_source": found.bound_source, "again": list(found.again),
            "moved": list(found.moved), "unseen": [_plain(asdict(u)) for u in found.unseen], "written": written,
        })  # fmt: skip
        return 0
    show(lead_plan_text(found).rstrip("\n"))
    for name in written:
        say(f"written: {name}")
    return 0


def import_(options: argparse.Namespace) -> int:
    """A plan from a spreadsheet or a KBL harness file."""
    house = load_house_colours(read_bytes(options.colours, "colour"), options.colours) if options.colours else None
    made = import_plan(read_bytes(options.file, "import", XML_MOST), options.file, options.format, house)
    for note in made.notes:
        say(f"Mind: {note}")
    return _made(options, imported_text(made, options.file))


def export(options: argparse.Namespace) -> int:
    """The plan as a spreadsheet; reading it back loses nothing."""
    plan = _plan(options)
    form = options.format or (format_of(options.output, None, EXPORTS) if options.output else "csv")
    return _made(options, export_plan(plan, form))


def schema(options: argparse.Namespace) -> int:
    """JSON Schema for editors: completes and checks plans (or lead maps) as they are typed."""
    found = lead_map_schema() if options.leads else plan_schema()
    show_or_write(json.dumps(found, indent=None if options.json else 2, ensure_ascii=False), options.output)
    return 0
