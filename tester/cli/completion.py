"""`completion`: the script that teaches a shell the verbs and options."""

from __future__ import annotations

import argparse

import shtab

from tester.cli.output import show, show_json
from tester.cli.parser import build_parser


def run(options: argparse.Namespace) -> int:
    """Print the completion script of one shell."""
    script = shtab.complete(build_parser(), options.shell)
    if options.json:
        show_json({"shell": options.shell, "script": script})
    else:
        show(script)
    return 0
