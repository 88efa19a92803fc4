"""Patterns to drive and the decoding of what was read; knows channels, not cavities. Pure."""

from tester.scan.codes import (
    agrees,
    assign_codes,
    differing,
    expected_rows,
    pattern_count,
    quick_check,
    watch_pattern,
)
from tester.scan.rounds import Round, combine, unanchored
from tester.scan.walk import ChannelLinks, bits, decode_walk, merge_repeats

__all__ = [
    "ChannelLinks",
    "Round",
    "agrees",
    "assign_codes",
    "bits",
    "combine",
    "decode_walk",
    "differing",
    "expected_rows",
    "merge_repeats",
    "pattern_count",
    "quick_check",
    "unanchored",
    "watch_pattern",
]
