"""Limits, verdict, diagnosis, comparison of two scans. Pure."""

from tester.judge.branches import splice_pairs
from tester.judge.compare import Change, compare
from tester.judge.diagnosis import Diagnosis, diagnose
from tester.judge.dropout import Blip, WatchLog, judge_watch
from tester.judge.explain import Explanation
from tester.judge.facts import Dropout, JudgeFacts, WatchResult, checks_of
from tester.judge.limits import limit_of, result_of
from tester.judge.verdict import judge

__all__ = [
    "Blip",
    "Change",
    "Diagnosis",
    "Dropout",
    "Explanation",
    "JudgeFacts",
    "WatchLog",
    "WatchResult",
    "checks_of",
    "compare",
    "diagnose",
    "judge",
    "judge_watch",
    "limit_of",
    "result_of",
    "splice_pairs",
]
