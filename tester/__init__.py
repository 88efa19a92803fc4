"""Bench tester for modified vehicle harnesses.

The rooms, low to high: harness; plan, scan, judge, words; board, records; job, reports; cli, bench.
A room imports only lower ones. DEVELOPERS.md draws the flow.
"""

__version__ = "0.1.0"
