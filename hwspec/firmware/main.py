"""Start on the board: `from firmware import main; main.run()` (boot and update: see boot.py)."""

from .app import App
from .hal_rp2040 import Rp2040


def run() -> None:
    """Serve the serial port for ever."""
    App(Rp2040()).run()
