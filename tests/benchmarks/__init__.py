"""Benchmarks: `python -m tests.benchmarks` prints one table of ratios and counts."""
