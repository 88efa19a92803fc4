"""The open board: protocol, limits, firmware, virtual board."""
