"""Names and numbers by which the board identifies itself."""

MAKER = "Loomwright"
MODELS = {"full": "Scanboard Full", "starter": "Scanboard Starter"}
FIRMWARE = "1.1.2"
PROTOCOL_MAJOR = 1
PROTOCOL_MINOR = 1
LIMITS = 1
"""Format number of hwspec/limits.toml that limits.py follows."""
