"""Where the trees that travel with the package lie: `hwspec` and `fixtures`."""

from pathlib import Path


def shipped_root() -> Path:
    """Folder that holds `hwspec/` and `fixtures/`: inside an installed package, or the checkout."""
    here = Path(__file__).resolve().parent
    inside = here / "_shipped"
    if inside.is_dir():
        return inside
    return here.parent


def shipped(*parts: str) -> Path:
    """Path of a shipped file or folder, such as ``shipped("fixtures", "plans")``."""
    return shipped_root().joinpath(*parts)
