"""Limits, verdict, diagnosis, comparison of two scans. Pure."""

from tester.judge.diagnosis import Diagnosis, diagnose
from tester.judge.explain import Explanation
from tester.judge.facts import Dropout, JudgeFacts, WatchResult, checks_of
from tester.judge.verdict import judge

__all__ = ["Diagnosis", "Dropout", "Explanation", "JudgeFacts", "WatchResult", "checks_of", "diagnose", "judge"]
