"""What MicroPython has and CPython lacks."""

import gc


def _itself(value: int) -> int:
    return value


try:
    const = __import__("micropython").const
except (ImportError, AttributeError):
    const = _itself
"""Marks a number that MicroPython's compiler folds away. (`__import__`: whether such a module is there differs.)"""


def heap() -> "tuple[int, int]":
    """Bytes of heap free and in use after a collection; zeros where the heap has no bound (CPython)."""
    if not hasattr(gc, "mem_free"):
        return 0, 0
    gc.collect()
    return gc.mem_free(), gc.mem_alloc()  # type: ignore[attr-defined]
