"""The parsers of `plan`, `records` and `board`. Imports no room that does work."""

from __future__ import annotations

import argparse

from tester.cli.options import SHORT, Parser, file, group, log_option, verb, whole

HANDLERS = {
    "show": "show_plan",
    "records show": "show_record",
    "records list": "list_",
    "records import": "import_",
    "import": "import_",
    "from-scan": "from_scan",
}


Verbs = argparse._SubParsersAction


def add_plan(verbs: Verbs[Parser]) -> None:
    plan = group(verbs, "plan", SHORT["plan"])
    _plan_written(plan)
    _plan_used(plan)
    _plan_exchanged(plan)


def _action(plan: Verbs[Parser], name: str, short: str, more: str = "") -> Parser:
    return verb(plan, name, f"tester.cli.plan:{HANDLERS.get(name, name)}", short, more)


def _with_plan(plan: Verbs[Parser], name: str, short: str, more: str = "") -> Parser:
    parser = _action(plan, name, short, more)
    parser.add_argument("plan", metavar="PLAN", help="plan file")
    return parser


def _plan_written(plan: Verbs[Parser]) -> None:
    new = _action(
        plan, "new", "a commented plan to fill in",
        "Example:\n  loomwright plan new --id hatch-lamp --connector D=18 --connector H=32 --output hatch-lamp.toml",
    )  # fmt: skip
    new.add_argument("--id", default="", help="short name, such as hatch-lamp (asked for if left out)")
    new.add_argument("--connector", action="append", default=[], metavar="D=18", help="letter and number of cavities")
    new.add_argument("--title", default="", help="what the plan is for")
    new.add_argument("--side", action="append", default=[], metavar="SIDE", help="a side of the vehicle, such as left")
    new.add_argument("--replace", action="store_true", help="replace the output file if it exists")
    file(new, "--output", help="write the plan into this file instead of standard output")

    checking = _with_plan(
        plan, "check", "check a plan: every mistake with its place, every variant tried",
        "Status 3 when a variant contradicts itself.",
    )  # fmt: skip
    checking.add_argument(
        "--most",
        type=whole,
        default=4096,
        metavar="N",
        help="try so many combinations of conditions at most (default 4096)",
    )


def _plan_used(plan: Verbs[Parser]) -> None:
    _with_plan(plan, "show", "show what a plan says, in words")
    for name, short in (
        ("sheet", "the work sheet for one harness, as text, page or PDF"),
        ("expect", "the netlist that the finished harness must have"),
    ):
        parser = _with_plan(plan, name, short)
        _for_harness(parser)
        file(parser, "--output", help="write into this file instead of standard output")
        if name == "sheet":
            parser.add_argument("--variant", type=int, metavar="N", help="for this variant, as plan check numbers them")
            parser.add_argument(
                "--format", choices=("text", "html", "pdf"), help="default: by the ending of --output, else text"
            )
            parser.add_argument("--leads", action="append", default=[], metavar="FILE", help="lead map, listed on it")
            parser.add_argument(
                "--seen-from", choices=("wire", "mating"), default="wire", help="side that faces are drawn from"
            )
    leads = _with_plan(
        plan, "leads", "propose lead maps, in rounds where the board has fewer channels",
        "Example:\n  loomwright plan leads plan.toml --channels 20 --into leads/",
    )  # fmt: skip
    leads.add_argument("--channels", type=whole, required=True, metavar="N", help="channels of the board")
    leads.add_argument("--id", default="", help="name of the lead set (default: from the plan)")
    leads.add_argument("--into", metavar="FOLDER", help="write lead maps, wiring lists and labels into this folder")
    _for_harness(leads)
    _with_plan(plan, "advice", "voltage drop, shared splices, fuse against wire: advice, never a verdict")
    diff = _with_plan(plan, "diff", "what another plan has more, less or otherwise, in circuits and steps")
    diff.add_argument("other", metavar="OTHER", help="the newer plan file")
    diff.add_argument("--side", metavar="SIDE", help="compare for this side")


def _plan_exchanged(plan: Verbs[Parser]) -> None:
    made = _action(plan, "from-scan", "a plan from the scan of a reference harness")
    made.add_argument("scan", metavar="SCAN", help="file that scan --save wrote")
    file(made, "--output", help="write the plan into this file instead of standard output")
    made.add_argument("--id", default="", help="identity of the new plan (default: the name of the scan file)")
    taken = _action(plan, "import", "a plan from a spreadsheet (CSV) or a KBL harness file")
    taken.add_argument("file", metavar="FILE", help="file to import; its ending tells the format")
    taken.add_argument("--format", metavar="FORMAT", help="csv or kbl, where the ending does not tell")
    file(taken, "--colours", help="the file's own colour code, mapped to IEC 60757")
    file(taken, "--output", help="write the plan into this file instead of standard output")
    given = _with_plan(plan, "export", "the plan as a spreadsheet (CSV); reading it back loses nothing")
    given.add_argument("--format", metavar="FORMAT", help="csv or toml (default: by the ending of --output, else csv)")
    file(given, "--output", help="write into this file instead of standard output")
    schema = _action(plan, "schema", "JSON Schema of plans, so that editors complete and check")
    schema.add_argument("--leads", action="store_true", help="the schema of lead maps instead")
    file(schema, "--output", help="write into this file instead of standard output")


def _for_harness(parser: Parser) -> None:
    file(parser, "--as-found", help="scan saved before the work began; makes the result specific")
    parser.add_argument("--side", metavar="SIDE", help="side of the vehicle, where the plan has sides")
    parser.add_argument("--answer", metavar="QUESTION=ANSWER", action="append", default=[], help="see test --help")


def add_records(verbs: Verbs[Parser]) -> None:
    records = group(verbs, "records", SHORT["records"])

    def on_log(name: str, short: str, more: str = "") -> Parser:
        handler = f"tester.cli.records:{HANDLERS.get(f'records {name}', name)}"
        parser = verb(records, name, handler, short, more)
        log_option(parser)
        return parser

    def on_record(name: str, short: str, more: str = "") -> Parser:
        parser = on_log(name, short, more)
        parser.add_argument("record", metavar="RECORD", help="record number, such as the test printed")
        return parser

    listing = on_log("list", "the jobs in the log, newest first")
    listing.add_argument(
        "find", nargs="?", default="", help="tag, order, plan, harness, cavity or customer; * at the end"
    )
    listing.add_argument("--limit", type=whole, default=40, metavar="N", help="how many at most (default 40)")
    on_record("show", "one record in words")
    replay = on_record("replay", "judge a record again from its stored frames, beside the old verdict")
    file(replay, "--with-plan", help="judge the old frames by this corrected plan")
    replay.add_argument(
        "--wire", action="store_true", help="feed the recorded bytes to the client, requests checked too"
    )
    compare = on_record("compare", "what changed from a record to a later one: links, parts, resistance")
    compare.add_argument("later", metavar="LATER", help="later record, or a scan file that scan --save wrote")
    report = on_record("report", "a page on one job, for the bench or for the customer")
    report.add_argument(
        "--format",
        choices=("html", "pdf", "csv", "json", "junit"),
        help="default: by the ending of --output, else html",
    )
    report.add_argument("--customer", action="store_true", help="the page for the customer instead of the bench page")
    file(report, "--output", required=True, help="write into this file")
    label = on_record("label", "a label for the harness, with the end of the chain as QR code")
    label.add_argument("--format", choices=("svg", "pdf"), help="default: by the ending of --output, else svg")
    file(label, "--output", required=True, help="write into this file")
    photo = on_record("photo", "add a photo to a record, by its path")
    photo.add_argument("photo", metavar="PHOTO", help="JPEG or PNG file")
    photo.add_argument("--about", default="", help="what it shows")
    customer = on_record("customer", "set the customer reference of a record; it can be removed later")
    customer.add_argument("reference", metavar="REFERENCE", help="name, order or plate")
    forget = on_log(
        "forget", "remove a customer reference for good",
        "The salt that ties it to the chain is destroyed; the records stay and still verify.",
    )  # fmt: skip
    forget.add_argument("reference", metavar="REFERENCE", help="the reference as it was set")
    verify = on_log("verify", "check that no event in the log was changed, removed or reordered")
    verify.add_argument(
        "--head", action="append", default=[], metavar="HEAD",
        help="end of the chain from a label or an export: also finds what was cut off or rewritten since",
    )  # fmt: skip
    verify.add_argument("--mend-index", action="store_true", help="build the search index anew from the events")
    export = on_log("export", "the log as one file, for another bench")
    export.add_argument("file", metavar="FILE", help="archive to write")
    export.add_argument("--with-customers", action="store_true", help="take customer references along")
    on_log("import", "take the events of another bench from its archive").add_argument("file", metavar="FILE")
    figures = on_log("figures", "first-pass yield, faults by cavity and step, time at the bench, drift")
    figures.add_argument("--format", choices=("text", "csv", "svg"), default="text", help="default text")
    figures.add_argument("--plan", default="", help="only this plan")
    file(figures, "--output", help="write into this file instead of standard output")


def add_board(verbs: Verbs[Parser]) -> None:
    board = group(verbs, "board", SHORT["board"])
    verb(board, "list", "tester.cli.board:list_boards", "serial ports, and which of them answer as a board")

    def on_board(name: str, short: str, more: str = "") -> Parser:
        parser = verb(board, name, f"tester.cli.board:{name}", short, more)
        parser.add_argument("--board", metavar="ADDRESS", help="see scan --help (default: the only board found)")
        file(parser, "--leads", help="with virtual:FILE: the lead map that the harness is wired by")
        return parser

    on_board("info", "what a board is and what it can do")
    on_board(
        "check", "guided check: empty board, shorting plug, known resistor",
        "Nothing of a vehicle may be plugged in. Status 4 when the board is at fault, 2 when parts were left out.",
    )  # fmt: skip
    on_board("calibrate", "guided calibration, stored on the board with its date")
    install = on_board(
        "install", "install the firmware; goes on after a broken copy",
        "The firmware that was there stays the one that starts until the new one is complete.",
    )  # fmt: skip
    install.add_argument(
        "--yes", action="store_true", help="treat a port that does not answer as a bare board, unasked"
    )
    virtual = verb(
        board, "virtual", "tester.cli.board:virtual", "serve the virtual board on a pseudo-terminal",
        "Prints the port first, then serves until its standard input closes. Lines on standard input change what is\n"
        "plugged in: harness FILE, leads FILE, touch CAVITY, untouch, unplug, replug (hwspec/virtual/README.md).",
    )  # fmt: skip
    file(virtual, "--harness", required=True, help="virtual harness that is plugged in")
    file(virtual, "--leads", required=True, help="lead map that the harness is wired by")
    virtual.add_argument("--firmware", choices=("cpython", "micropython"), default="cpython", help="what runs it")
    virtual.add_argument("--build", choices=("full", "starter"), default="full", help="which board (default full)")
    file(virtual, "--trace", help="write each change of a channel between driven and released, with its time")
