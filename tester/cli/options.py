"""What the parsers of all verbs are made of. Imports no room that does work."""

from __future__ import annotations

import argparse
import os
import sys

TYPE_CHECKING = False  # typing's own takes a tenth of the start of --help to import
if TYPE_CHECKING:
    from typing import NoReturn

SHORT = {
    "demo": "the whole job on the virtual board, told in under 60 lines",
    "bench": "the bench app: the whole job, screen after screen",
    "scan": "full scan of what is plugged in: which cavities are joined",
    "test": "as-left test: the finished harness against what is expected",
    "wiggle": "watch for dropouts while you move the harness",
    "find": "touch the probe lead to a terminal: which cavity, which circuit",
    "plan": "write, check and print plans",
    "records": "the log of jobs",
    "board": "the scan board",
    "completion": "print the completion script of a shell",
}


class Words(argparse.RawDescriptionHelpFormatter):
    """Help as wide as the terminal. argparse's own way of finding that out imports a dozen compression modules."""

    def __init__(self, prog: str, indent_increment: int = 2, max_help_position: int = 24, width: int = 0) -> None:
        super().__init__(prog, indent_increment, max_help_position, width or _columns() - 2)


def _columns() -> int:
    """Columns of the terminal, 80 where there is none: as shutil.get_terminal_size() has it."""
    told = os.environ.get("COLUMNS", "")
    if told.isdecimal() and int(told) > 0:
        return int(told)
    try:
        return os.get_terminal_size(sys.__stdout__.fileno()).columns or 80  # type: ignore[union-attr]
    except (AttributeError, ValueError, OSError):
        return 80


class Parser(argparse.ArgumentParser):
    """argparse whose usage errors leave with status 3 and say where help is."""

    def error(self, message: str) -> NoReturn:
        sys.stderr.write(f"{self.prog}: {message}\nTry: {self.prog} --help\n")
        raise SystemExit(3)


def verb(verbs: argparse._SubParsersAction[Parser], name: str, handler: str, short: str, more: str = "") -> Parser:
    parser = verbs.add_parser(
        name,
        help=short,
        description=f"{short[:1].upper()}{short[1:]}.\n\n{more}".rstrip(),
        formatter_class=Words,
    )
    parser.set_defaults(handler=handler)
    parser.add_argument("--json", action="store_true", help="print the result as one JSON object on standard output")
    return parser


def group(verbs: argparse._SubParsersAction[Parser], name: str, short: str) -> argparse._SubParsersAction[Parser]:
    parser = verbs.add_parser(name, help=short, description=f"{short[:1].upper()}{short[1:]}.")
    return parser.add_subparsers(dest="action", metavar="ACTION", required=True)


def positive(text: str) -> float:
    """A finite number above zero, as an option's value."""
    value = float(text)
    if not 0 < value < 1e9:
        raise argparse.ArgumentTypeError(f"{text!r}: write a number above 0")
    return value


def whole(text: str) -> int:
    """A whole number above zero, as an option's value."""
    if not (text.isascii() and text.isdecimal() and 0 < int(text[:12]) < 1e9):
        raise argparse.ArgumentTypeError(f"{text!r}: write a whole number above 0")
    return int(text)


def file(parser: Parser, *names: str, help: str, **more: object) -> None:
    parser.add_argument(*names, metavar="FILE", help=help, **more)  # type: ignore[arg-type]


def board_options(parser: Parser, leads_needed: bool = True) -> None:
    parser.add_argument(
        "--board",
        metavar="ADDRESS",
        help="serial port such as /dev/ttyACM0, a serial address such as socket://host:port, or virtual:FILE for the "
        "virtual board with that harness plugged in (default: the only board found)",
    )
    file(
        parser, "--leads", required=leads_needed, action="append",
        help="lead map: which channel goes to which cavity; several times for several rounds",
    )  # fmt: skip
    file(parser, "--wired-by", help="with virtual:FILE: the lead map that the harness is really wired by")
    file(parser, "--recording", help="save every byte on the line, with its time, into this file")
    parser.add_argument(
        "--accept-cautions", action="store_true",
        help="the cautions (said when this is missing) have been read and are met; a virtual board needs none",
    )  # fmt: skip


def leave_out(parser: Parser) -> None:
    parser.add_argument(
        "--leave-out", action="append", default=[], metavar="CAVITY",
        help="do not drive this cavity (possibly wet); it counts as not on a lead",
    )  # fmt: skip


def log_option(parser: Parser) -> None:
    parser.add_argument("--log", metavar="STORE", help="the log of jobs (default: under $XDG_DATA_HOME/loomwright/)")


positive.__name__ = "number"
