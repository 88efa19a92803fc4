"""What MicroPython has and CPython lacks."""

try:
    from micropython import const  # type: ignore[import-not-found]
except ImportError:

    def const(value: int) -> int:
        """The value itself; MicroPython's compiler folds such constants away."""
        return value


try:
    from gc import mem_alloc, mem_free  # type: ignore[attr-defined]
except ImportError:

    def mem_free() -> int:
        """Free heap in bytes; 0 where the heap has no bound."""
        return 0

    def mem_alloc() -> int:
        """Used heap in bytes; 0 where it is not counted."""
        return 0


__all__ = ["const", "mem_alloc", "mem_free"]
