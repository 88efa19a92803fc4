"""Pages in headless Chromium: as picture at a width and zoom, and printed."""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--hide-scrollbars",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


def _run(program: str, page: Path, *options: str) -> None:
    with tempfile.TemporaryDirectory(prefix="chromium-", ignore_cleanup_errors=True) as profile:
        subprocess.run(
            [program, *FLAGS, f"--user-data-dir={profile}", *options, page.as_uri()],
            capture_output=True, timeout=120, check=True,
        )  # fmt: skip


def picture(program: str, page: Path, out: Path, width: int, height: int, zoom: float = 1.0) -> Path:
    """The page in a window of `width` by `height` device pixels at a zoom."""
    css = f"{round(width / zoom)},{round(height / zoom)}"
    _run(program, page, f"--screenshot={out}", f"--window-size={css}", f"--force-device-scale-factor={zoom}")
    return out


def printed(program: str, page: Path, out: Path) -> Path:
    """The page as PDF, as it would be printed."""
    _run(program, page, f"--print-to-pdf={out}", "--no-pdf-header-footer")
    return out
