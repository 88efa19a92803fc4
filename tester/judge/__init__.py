"""Limits, verdict, diagnosis, comparison of two scans. Pure."""
