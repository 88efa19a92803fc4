"""The command line as a tree of argparse parsers. Builds without importing any room that does work."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from tester import __version__
from tester.cli.options import SHORT, Parser, Words, board_options, file, leave_out, log_option, positive, verb

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


def build_parser(only: str | None = None) -> Parser:
    """The tree. Each leaf sets `handler` to "module:function", imported only when the verb runs.

    `only`: build the options of this verb alone, the others just by name; None builds all.
    """
    top = Parser(prog="loomwright", description=ABOUT, epilog=STATUS, formatter_class=Words)
    top.add_argument("--version", action="version", version=f"loomwright {__version__}")
    verbs = top.add_subparsers(dest="verb", metavar="VERB", required=True)
    for name, add in _ADDERS.items():
        if only is None or name == only:
            add(verbs)
        else:
            verbs.add_parser(name, help=SHORT[name], add_help=False)
    return top


def _add_completion(verbs: argparse._SubParsersAction[Parser]) -> None:
    completion = verb(
        verbs, "completion", "tester.cli.completion:run", SHORT["completion"],
        "For bash: loomwright completion bash > ~/.local/share/bash-completion/completions/loomwright",
    )  # fmt: skip
    completion.add_argument("shell", choices=("bash", "zsh", "fish"))


def _add_demo(verbs: argparse._SubParsersAction[Parser]) -> None:
    demo = verb(
        verbs, "demo", "tester.cli.demo:run", SHORT["demo"],
        "As found, the steps for this harness, work done wrong, what the tester says, rework, pass, record.",
    )  # fmt: skip
    log_option(demo)


def _add_bench(verbs: argparse._SubParsersAction[Parser]) -> None:
    bench = verb(
        verbs, "bench", "tester.bench.app:run_bench", SHORT["bench"],
        "Keyboard only; F1 shows the keys. Whatever is not given here is asked on the screen.\n\nExample:\n"
        "  loomwright bench --plan plan.toml --leads leads.toml --board /dev/ttyACM0",
    )  # fmt: skip
    bench.add_argument("record", nargs="?", metavar="RECORD", help="take this job up again where it was left")
    bench.add_argument("--board", metavar="ADDRESS", help="see scan --help")
    file(bench, "--leads", action="append", help="lead map; several times for several rounds")
    file(bench, "--wired-by", help="with virtual:FILE: the lead map that the harness is really wired by")
    file(bench, "--plan", help="the plan of the job")
    bench.add_argument("--side", metavar="SIDE", help="side of the vehicle, where the plan has sides")
    bench.add_argument("--web", action="store_true", help="serve the app to a browser on this machine (loopback only)")
    bench.add_argument("--web-port", type=int, default=8765, metavar="PORT", help="port for --web (default 8765)")
    bench.add_argument("--no-sound", action="store_true", help="no sounds")
    log_option(bench)


def _add_scan(verbs: argparse._SubParsersAction[Parser]) -> None:
    scan = verb(
        verbs, "scan", "tester.cli.scan:run", SHORT["scan"],
        "Example:\n  loomwright scan --leads leads.toml --board /dev/ttyACM0 --save as-found.json",
    )  # fmt: skip
    board_options(scan)
    leave_out(scan)
    file(scan, "--save", help="save the scan, frames included, for --as-found and plan from-scan")


def _add_test(verbs: argparse._SubParsersAction[Parser]) -> None:
    test = verb(
        verbs, "test", "tester.cli.test:run", SHORT["test"],
        "Example:\n  loomwright test --plan plan.toml --leads leads.toml --as-found as-found.json --steps-done",
    )  # fmt: skip
    file(test, "--plan", help="the plan of the job")
    board_options(test, leads_needed=False)
    test.add_argument(
        "--resume", metavar="RECORD",
        help="take a job up again that broke off: plan, leads, as-found scan, answers and ticks come from its record "
        "(a virtual board is still wired by --leads)",
    )  # fmt: skip
    leave_out(test)
    file(test, "--as-found", help="scan saved before the work began")
    test.add_argument("--side", metavar="SIDE", help="side of the vehicle, where the plan has sides")
    test.add_argument("--steps-done", action="store_true", help="every step of the work sheet has been done")
    test.add_argument(
        "--answer", metavar="QUESTION=ANSWER", action="append", default=[],
        help="what eyes found where no lead reaches, such as --answer 'occupied D-13=yes'",
    )  # fmt: skip
    test.add_argument(
        "--celsius",
        type=float,
        metavar="T",
        help="temperature at the bench, for the resistance limits (default: the plan's)",
    )
    test.add_argument("--tag", default="", help="tag on the harness, kept in the record")
    test.add_argument("--job", default="", help="job number or vehicle reference of the shop, kept in the record")
    test.add_argument("--by", default="", metavar="INITIALS", help="initials of who tests, kept in the record")
    log_option(test)


def _add_wiggle(verbs: argparse._SubParsersAction[Parser]) -> None:
    wiggle = verb(
        verbs, "wiggle", "tester.cli.watching:wiggle", SHORT["wiggle"],
        "Scans, then watches every circuit. Says which circuit opened or touched another, when and how long, and\n"
        "what could have been missed. With --resume it becomes part of that record.",
    )  # fmt: skip
    board_options(wiggle, leads_needed=False)
    wiggle.add_argument("--seconds", type=positive, default=15.0, metavar="N", help="how long (default 15)")
    wiggle.add_argument("--resume", metavar="RECORD", help="the job that this belongs to")
    leave_out(wiggle)
    log_option(wiggle)


def _add_find(verbs: argparse._SubParsersAction[Parser]) -> None:
    find = verb(
        verbs, "find", "tester.cli.watching:find", SHORT["find"],
        "Needs a lead map that names the channel of a probe lead. A wet finger is told from metal. End with Ctrl-C.",
    )  # fmt: skip
    board_options(find)
    file(find, "--scan", help="saved scan: names the whole circuit of what is touched")
    find.add_argument("--once", action="store_true", help="end after the first firm touch")


def _add_plan(verbs: argparse._SubParsersAction[Parser]) -> None:
    from tester.cli.groups import add_plan

    add_plan(verbs)


def _add_records(verbs: argparse._SubParsersAction[Parser]) -> None:
    from tester.cli.groups import add_records

    add_records(verbs)


def _add_board(verbs: argparse._SubParsersAction[Parser]) -> None:
    from tester.cli.groups import add_board

    add_board(verbs)


_ADDERS: dict[str, Callable[[argparse._SubParsersAction[Parser]], None]] = {
    "demo": _add_demo,
    "bench": _add_bench,
    "scan": _add_scan,
    "test": _add_test,
    "wiggle": _add_wiggle,
    "find": _add_find,
    "plan": _add_plan,
    "records": _add_records,
    "board": _add_board,
    "completion": _add_completion,
}
