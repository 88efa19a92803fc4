"""Themes: dark, light, and one of sixteen colours that also serves NO_COLOR. Signs carry the meaning, colours help."""

from __future__ import annotations

import os
from collections.abc import Mapping

from textual.theme import Theme

DARK = Theme(
    name="bench-dark", dark=True,
    background="#15181a", surface="#1d2124", panel="#262b2f", foreground="#e9e4d8",
    primary="#e0a263", secondary="#7fb8c9", accent="#e0a263", success="#8fd18a", warning="#ecc766", error="#ff8578",
    variables={"bench-dim": "#a09a8c", "bench-on": "#15181a", "bench-cursor": "#33393d"},
)  # fmt: skip
LIGHT = Theme(
    name="bench-light", dark=False,
    background="#f7f3ea", surface="#efe9dc", panel="#e4dccb", foreground="#211e19",
    primary="#8a4510", secondary="#155e75", accent="#8a4510", success="#1d6428", warning="#6f5200", error="#a3190f",
    variables={"bench-dim": "#5f594d", "bench-on": "#f7f3ea", "bench-cursor": "#dccfb4"},
)  # fmt: skip
SIXTEEN = Theme(
    name="bench-16", dark=True, ansi=True,
    background="ansi_default", surface="ansi_default", panel="ansi_default", foreground="ansi_default",
    primary="ansi_yellow", secondary="ansi_cyan", accent="ansi_yellow", success="ansi_green", warning="ansi_magenta",
    error="ansi_red",
    variables={
        "bench-dim": "ansi_default", "bench-on": "ansi_black", "bench-cursor": "ansi_default",
        "block-cursor-foreground": "ansi_black", "block-cursor-background": "ansi_white",
        "input-cursor-background": "ansi_white", "input-cursor-foreground": "ansi_black",
        "input-selection-background": "ansi_cyan", "input-selection-foreground": "ansi_black",
        "ansi-background": "ansi_black", "ansi-foreground": "ansi_white", "border-blurred": "ansi_white",
    },
)  # fmt: skip
THEMES = (DARK, LIGHT, SIXTEEN)


def few_colours(environ: Mapping[str, str] = os.environ) -> bool:
    """True when the terminal has sixteen colours or fewer, or the person asked for none (NO_COLOR)."""
    if "NO_COLOR" in environ:
        return True
    if environ.get("TEXTUAL_COLOR_SYSTEM") == "truecolor" or "web_driver" in environ.get("TEXTUAL_DRIVER", ""):
        return False  # in a browser
    if environ.get("COLORTERM", "").strip().lower() in ("truecolor", "24bit"):
        return False
    return "256color" not in environ.get("TERM", "") and environ.get("TERM", "") not in ("xterm-kitty", "alacritty")
