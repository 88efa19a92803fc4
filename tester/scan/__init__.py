"""Patterns to drive and the decoding of what was read; knows channels, not cavities. Pure."""

from tester.scan.codes import (
    agrees,
    assign_codes,
    differing,
    expected_rows,
    hidden_touches,
    let_go_lists,
    let_go_steps,
    pattern_count,
    quick_check,
    watch_pattern,
)
from tester.scan.grading import PairOhms, WireGrade
from tester.scan.rounds import Round, combine, unanchored
from tester.scan.touch import Touch, touched
from tester.scan.walk import ChannelLinks, bits, decode_walk, merge_repeats

__all__ = [
    "ChannelLinks",
    "PairOhms",
    "Round",
    "Touch",
    "WireGrade",
    "agrees",
    "assign_codes",
    "bits",
    "combine",
    "decode_walk",
    "differing",
    "expected_rows",
    "hidden_touches",
    "let_go_lists",
    "let_go_steps",
    "merge_repeats",
    "pattern_count",
    "quick_check",
    "touched",
    "unanchored",
    "watch_pattern",
]
