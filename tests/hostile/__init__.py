"""Data that attacks: fuzzed files, names, addresses; and what the source must not hold."""
