"""Patterns to drive and the decoding of what was read; knows channels, not cavities. Pure."""
