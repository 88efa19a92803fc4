"""The command line as a tree of argparse parsers. Builds without importing any room that does work."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from typing import NoReturn

from tester import __version__

ABOUT = """\
Tests a modified door or hatch harness at the bench, before it goes back into the vehicle.

Expected = as found + the plan's edits: scan the harness before touching it, do the steps of the plan, scan it
again. The tester says which terminal is wrong and where it belongs, and what it could not see.
"""

STATUS = """\
exit status:
  0  pass, or done
  1  the harness failed (test, wiggle, records compare, records verify)
  2  not fully tested
  3  a file or an option is wrong
  4  the board or the link failed; nothing was judged
  5  not stored, or an internal error

Start with: loomwright demo
"""


class Parser(argparse.ArgumentParser):
    """argparse whose usage errors leave with status 3 and say where help is."""

    def error(self, message: str) -> NoReturn:
        sys.stderr.write(f"{self.prog}: {message}\nTry: {self.prog} --help\n")
        raise SystemExit(3)


HANDLERS = {
    "show": "show_plan",
    "records show": "show_record",
    "records list": "list_",
    "records import": "import_",
    "import": "import_",
    "from-scan": "from_scan",
}


def build_parser() -> Parser:
    """The whole tree. Each leaf sets `handler` to "module:function", imported only when the verb runs."""
    top = Parser(
        prog="loomwright", description=ABOUT, epilog=STATUS, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    top.add_argument("--version", action="version", version=f"loomwright {__version__}")
    verbs = top.add_subparsers(dest="verb", metavar="VERB", required=True)
    _add_demo(verbs)
    _add_bench(verbs)
    _add_plan(verbs)
    _add_scan(verbs)
    _add_test(verbs)
    _add_watching(verbs)
    _add_records(verbs)
    _add_board(verbs)
    completion = _verb(
        verbs, "completion", "tester.cli.completion:run", "print the completion script of a shell",
        "For bash: loomwright completion bash > ~/.local/share/bash-completion/completions/loomwright",
    )  # fmt: skip
    completion.add_argument("shell", choices=("bash", "zsh", "fish"))
    return top


def _verb(verbs: argparse._SubParsersAction[Parser], name: str, handler: str, short: str, more: str = "") -> Parser:
    parser = verbs.add_parser(
        name,
        help=short,
        description=f"{short[:1].upper()}{short[1:]}.\n\n{more}".rstrip(),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.set_defaults(handler=handler)
    parser.add_argument("--json", action="store_true", help="print the result as one JSON object on standard output")
    return parser


def _group(verbs: argparse._SubParsersAction[Parser], name: str, short: str) -> argparse._SubParsersAction[Parser]:
    parser = verbs.add_parser(name, help=short, description=f"{short[:1].upper()}{short[1:]}.")
    return parser.add_subparsers(dest="action", metavar="ACTION", required=True)


def positive(text: str) -> float:
    """A finite number above zero, as an option's value."""
    value = float(text)
    if not 0 < value < 1e9:
        raise argparse.ArgumentTypeError(f"{text!r}: write a number above 0")
    return value


positive.__name__ = "number"


def _file(parser: Parser, *names: str, help: str, **more: object) -> None:
    parser.add_argument(*names, metavar="FILE", help=help, **more)  # type: ignore[arg-type]


def _board_options(parser: Parser, leads_needed: bool = True) -> None:
    parser.add_argument(
        "--board",
        metavar="ADDRESS",
        help="serial port such as /dev/ttyACM0, a serial address such as socket://host:port, or virtual:FILE for the "
        "virtual board with that harness plugged in (default: the only board found)",
    )
    _file(
        parser, "--leads", required=leads_needed, action="append",
        help="lead map: which channel goes to which cavity; several times for several rounds",
    )  # fmt: skip
    _file(parser, "--wired-by", help="with virtual:FILE: the lead map that the harness is really wired by")
    _file(parser, "--recording", help="save every byte on the line, with its time, into this file")
    parser.add_argument(
        "--accept-cautions", action="store_true",
        help="the cautions (said when this is missing) have been read and are met; a virtual board needs none",
    )  # fmt: skip


def _leave_out(parser: Parser) -> None:
    parser.add_argument(
        "--leave-out", action="append", default=[], metavar="CAVITY",
        help="do not drive this cavity (possibly wet); it counts as not on a lead",
    )  # fmt: skip


def _log_option(parser: Parser) -> None:
    parser.add_argument("--log", metavar="STORE", help="the log of jobs (default: under $XDG_DATA_HOME/loomwright/)")


def _add_demo(verbs: argparse._SubParsersAction[Parser]) -> None:
    demo = _verb(
        verbs, "demo", "tester.cli.demo:run", "the whole job on the virtual board, told in under 60 lines",
        "As found, the steps for this harness, work done wrong, what the tester says, rework, pass, record.",
    )  # fmt: skip
    _log_option(demo)


def _add_bench(verbs: argparse._SubParsersAction[Parser]) -> None:
    bench = _verb(
        verbs, "bench", "tester.bench.app:run_bench", "the bench app: the whole job, screen after screen",
        "Keyboard only; F1 shows the keys. Whatever is not given here is asked on the screen.\n\nExample:\n"
        "  loomwright bench --plan plan.toml --leads leads.toml --board /dev/ttyACM0",
    )  # fmt: skip
    bench.add_argument("record", nargs="?", metavar="RECORD", help="take this job up again where it was left")
    bench.add_argument("--board", metavar="ADDRESS", help="see scan --help")
    _file(bench, "--leads", action="append", help="lead map; several times for several rounds")
    _file(bench, "--wired-by", help="with virtual:FILE: the lead map that the harness is really wired by")
    _file(bench, "--plan", help="the plan of the job")
    bench.add_argument("--side", metavar="SIDE", help="side of the vehicle, where the plan has sides")
    bench.add_argument("--web", action="store_true", help="serve the app to a browser on this machine (loopback only)")
    bench.add_argument("--web-port", type=int, default=8765, metavar="PORT", help="port for --web (default 8765)")
    bench.add_argument("--no-sound", action="store_true", help="no sounds")
    _log_option(bench)


def _add_scan(verbs: argparse._SubParsersAction[Parser]) -> None:
    scan = _verb(
        verbs, "scan", "tester.cli.scan:run", "full scan of what is plugged in: which cavities are joined",
        "Example:\n  loomwright scan --leads leads.toml --board /dev/ttyACM0 --save as-found.json",
    )  # fmt: skip
    _board_options(scan)
    _leave_out(scan)
    _file(scan, "--save", help="save the scan, frames included, for --as-found and plan from-scan")


def _add_test(verbs: argparse._SubParsersAction[Parser]) -> None:
    test = _verb(
        verbs, "test", "tester.cli.test:run", "as-left test: the finished harness against what is expected",
        "Example:\n  loomwright test --plan plan.toml --leads leads.toml --as-found as-found.json --steps-done",
    )  # fmt: skip
    _file(test, "--plan", help="the plan of the job")
    _board_options(test, leads_needed=False)
    test.add_argument(
        "--resume", metavar="RECORD",
        help="take a job up again that broke off: plan, leads, as-found scan, answers and ticks come from its record",
    )  # fmt: skip
    _leave_out(test)
    _file(test, "--as-found", help="scan saved before the work began")
    test.add_argument("--side", metavar="SIDE", help="side of the vehicle, where the plan has sides")
    test.add_argument("--steps-done", action="store_true", help="every step of the work sheet has been done")
    test.add_argument(
        "--answer", metavar="QUESTION=ANSWER", action="append", default=[],
        help="what eyes found where no lead reaches, such as --answer 'occupied D-13=yes'",
    )  # fmt: skip
    test.add_argument("--tag", default="", help="tag on the harness, kept in the record")
    test.add_argument("--job", default="", help="job number or vehicle reference of the shop, kept in the record")
    test.add_argument("--by", default="", metavar="INITIALS", help="initials of who tests, kept in the record")
    _log_option(test)


def _add_watching(verbs: argparse._SubParsersAction[Parser]) -> None:
    wiggle = _verb(
        verbs, "wiggle", "tester.cli.watching:wiggle", "watch for dropouts while you move the harness",
        "Scans, then watches every circuit. Says which circuit opened or touched another, when and how long, and\n"
        "what could have been missed. With --resume it becomes part of that record.",
    )  # fmt: skip
    _board_options(wiggle, leads_needed=False)
    wiggle.add_argument("--seconds", type=positive, default=15.0, metavar="N", help="how long (default 15)")
    wiggle.add_argument("--resume", metavar="RECORD", help="the job that this belongs to")
    _log_option(wiggle)
    find = _verb(
        verbs, "find", "tester.cli.watching:find", "touch the probe lead to a terminal: which cavity, which circuit",
        "Needs a lead map that names the channel of a probe lead. A wet finger is told from metal. End with Ctrl-C.",
    )  # fmt: skip
    _board_options(find)
    _file(find, "--scan", help="saved scan: names the whole circuit of what is touched")
    find.add_argument("--once", action="store_true", help="end after the first firm touch")


def _add_plan(verbs: argparse._SubParsersAction[Parser]) -> None:
    plan = _group(verbs, "plan", "write, check and print plans")

    def action(name: str, short: str, more: str = "") -> Parser:
        return _verb(plan, name, f"tester.cli.plan:{HANDLERS.get(name, name)}", short, more)

    def with_plan(name: str, short: str, more: str = "") -> Parser:
        parser = action(name, short, more)
        parser.add_argument("plan", metavar="PLAN", help="plan file")
        return parser

    new = action(
        "new", "a commented plan to fill in",
        "Example:\n  loomwright plan new --id hatch-lamp --connector D=18 --connector H=32 --output hatch-lamp.toml",
    )  # fmt: skip
    new.add_argument("--id", default="", help="short name, such as hatch-lamp (asked for if left out)")
    new.add_argument("--connector", action="append", default=[], metavar="D=18", help="letter and number of cavities")
    new.add_argument("--title", default="", help="what the plan is for")
    new.add_argument("--side", action="append", default=[], metavar="SIDE", help="a side of the vehicle, such as left")
    new.add_argument("--replace", action="store_true", help="replace the output file if it exists")
    _file(new, "--output", help="write the plan into this file instead of standard output")

    checking = with_plan(
        "check", "check a plan: every mistake with its place, every variant tried",
        "Status 3 when a variant contradicts itself.",
    )  # fmt: skip
    checking.add_argument(
        "--most",
        type=int,
        default=4096,
        metavar="N",
        help="try so many combinations of conditions at most (default 4096)",
    )
    with_plan("show", "show what a plan says, in words")
    for name, short in (
        ("sheet", "the work sheet for one harness, as text, page or PDF"),
        ("expect", "the netlist that the finished harness must have"),
    ):
        parser = with_plan(name, short)
        _for_harness(parser)
        _file(parser, "--output", help="write into this file instead of standard output")
        if name == "sheet":
            parser.add_argument("--variant", type=int, metavar="N", help="for this variant, as plan check numbers them")
            parser.add_argument(
                "--format", choices=("text", "html", "pdf"), help="default: by the ending of --output, else text"
            )
            parser.add_argument("--leads", action="append", default=[], metavar="FILE", help="lead map, listed on it")
            parser.add_argument(
                "--seen-from", choices=("wire", "mating"), default="wire", help="side that faces are drawn from"
            )
    leads = with_plan(
        "leads", "propose lead maps, in rounds where the board has fewer channels",
        "Example:\n  loomwright plan leads plan.toml --channels 20 --into leads/",
    )  # fmt: skip
    leads.add_argument("--channels", type=int, required=True, metavar="N", help="channels of the board")
    leads.add_argument("--id", default="", help="name of the lead set (default: from the plan)")
    leads.add_argument("--into", metavar="FOLDER", help="write lead maps, wiring lists and labels into this folder")
    _for_harness(leads)
    with_plan("advice", "voltage drop, shared splices, fuse against wire: advice, never a verdict")
    diff = with_plan("diff", "what another plan has more, less or otherwise, in circuits and steps")
    diff.add_argument("other", metavar="OTHER", help="the newer plan file")
    diff.add_argument("--side", metavar="SIDE", help="compare for this side")
    made = action("from-scan", "a plan from the scan of a reference harness")
    made.add_argument("scan", metavar="SCAN", help="file that scan --save wrote")
    _file(made, "--output", help="write the plan into this file instead of standard output")
    made.add_argument("--id", default="", help="identity of the new plan (default: the name of the scan file)")
    taken = action("import", "a plan from a spreadsheet (CSV) or a KBL harness file")
    taken.add_argument("file", metavar="FILE", help="file to import; its ending tells the format")
    taken.add_argument("--format", metavar="FORMAT", help="csv or kbl, where the ending does not tell")
    _file(taken, "--colours", help="the file's own colour code, mapped to IEC 60757")
    _file(taken, "--output", help="write the plan into this file instead of standard output")
    given = with_plan("export", "the plan as a spreadsheet (CSV); reading it back loses nothing")
    given.add_argument("--format", metavar="FORMAT", help="csv or toml (default: by the ending of --output, else csv)")
    _file(given, "--output", help="write into this file instead of standard output")
    schema = action("schema", "JSON Schema of plans, so that editors complete and check")
    schema.add_argument("--leads", action="store_true", help="the schema of lead maps instead")
    _file(schema, "--output", help="write into this file instead of standard output")


def _for_harness(parser: Parser) -> None:
    _file(parser, "--as-found", help="scan saved before the work began; makes the result specific")
    parser.add_argument("--side", metavar="SIDE", help="side of the vehicle, where the plan has sides")
    parser.add_argument("--answer", metavar="QUESTION=ANSWER", action="append", default=[], help="see test --help")


def _add_records(verbs: argparse._SubParsersAction[Parser]) -> None:
    records = _group(verbs, "records", "the log of jobs")

    def on_log(name: str, short: str, more: str = "") -> Parser:
        handler = f"tester.cli.records:{HANDLERS.get(f'records {name}', name)}"
        parser = _verb(records, name, handler, short, more)
        _log_option(parser)
        return parser

    def on_record(name: str, short: str, more: str = "") -> Parser:
        parser = on_log(name, short, more)
        parser.add_argument("record", metavar="RECORD", help="record number, such as the test printed")
        return parser

    listing = on_log("list", "the jobs in the log, newest first")
    listing.add_argument(
        "find", nargs="?", default="", help="tag, order, plan, harness, cavity or customer; * at the end"
    )
    listing.add_argument("--limit", type=int, default=40, metavar="N", help="how many at most (default 40)")
    on_record("show", "one record in words")
    replay = on_record("replay", "judge a record again from its stored frames, beside the old verdict")
    _file(replay, "--with-plan", help="judge the old frames by this corrected plan")
    replay.add_argument(
        "--wire", action="store_true", help="feed the recorded bytes to the client, requests checked too"
    )
    compare = on_record("compare", "what changed from a record to a later one: links, parts, resistance")
    compare.add_argument("later", metavar="LATER", help="later record, or a scan file that scan --save wrote")
    report = on_record("report", "a page on one job, for the bench or for the customer")
    report.add_argument(
        "--format", choices=("html", "pdf", "csv", "json", "junit"), default="html", help="default html"
    )
    report.add_argument("--customer", action="store_true", help="the page for the customer instead of the bench page")
    _file(report, "--output", required=True, help="write into this file")
    label = on_record("label", "a label for the harness, with the end of the chain as QR code")
    label.add_argument("--format", choices=("svg", "pdf"), default="svg", help="default svg")
    _file(label, "--output", required=True, help="write into this file")
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
    _file(figures, "--output", help="write into this file instead of standard output")


def _add_board(verbs: argparse._SubParsersAction[Parser]) -> None:
    board = _group(verbs, "board", "the scan board")
    _verb(board, "list", "tester.cli.board:list_boards", "serial ports, and which of them answer as a board")

    def on_board(name: str, short: str, more: str = "") -> Parser:
        parser = _verb(board, name, f"tester.cli.board:{name}", short, more)
        parser.add_argument("--board", metavar="ADDRESS", help="see scan --help (default: the only board found)")
        _file(parser, "--leads", help="with virtual:FILE: the lead map that the harness is wired by")
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
    virtual = _verb(
        board, "virtual", "tester.cli.board:virtual", "serve the virtual board on a pseudo-terminal",
        "Prints the port first, then serves until its standard input closes. Lines on standard input change what is\n"
        "plugged in: harness FILE, leads FILE, touch CAVITY, untouch, unplug, replug (hwspec/virtual/README.md).",
    )  # fmt: skip
    _file(virtual, "--harness", required=True, help="virtual harness that is plugged in")
    _file(virtual, "--leads", required=True, help="lead map that the harness is wired by")
    virtual.add_argument("--firmware", choices=("cpython", "micropython"), default="cpython", help="what runs it")
    virtual.add_argument("--build", choices=("full", "starter"), default="full", help="which board (default full)")
    _file(virtual, "--trace", help="write each change of a channel between driven and released, with its time")


Handler = Callable[[argparse.Namespace], int]
