"""SCPI error numbers, the exception that carries one, and the error queue."""

TEXTS = {
    0: "No error",
    -100: "Command error",
    -102: "Syntax error",
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -113: "Undefined header",
    -114: "Header suffix out of range",
    -161: "Invalid block data",
    -171: "Invalid expression",
    -200: "Execution error",
    -220: "Parameter error",
    -221: "Settings conflict",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -240: "Hardware error",
    -310: "System error",
    -330: "Self-test failed",
    -350: "Queue overflow",
    -363: "Input buffer overrun",
    -365: "Time out error",
}
"""Number -> text (SCPI-99 volume 2, chapter 21)."""

QUEUE_LENGTH = 16
DETAIL_LENGTH = 120


MISTAKES = (ArithmeticError, AttributeError, LookupError, MemoryError, TypeError, ValueError, OSError)
"""What the firmware's own mistakes raise: answered as -310 with everything released. Anything else passes through."""


class ScpiError(Exception):
    """A command failed. `number`: SCPI error number; `detail`: what exactly, may be empty."""

    def __init__(self, number: int, detail: str = "") -> None:
        super().__init__(number)
        self.number = number
        self.detail = detail[:DETAIL_LENGTH]

    def text(self) -> str:
        """Standard text, then the detail after a semicolon."""
        text = TEXTS[self.number]
        return text + ";" + self.detail if self.detail else text


class ErrorQueue:
    """First in, first out; when full the newest entry becomes -350."""

    def __init__(self) -> None:
        self._entries: list[tuple[int, str]] = []

    def __len__(self) -> int:
        return len(self._entries)

    def push(self, error: ScpiError) -> None:
        """Append an error; the last place of a full queue tells of the overflow."""
        if len(self._entries) >= QUEUE_LENGTH:
            self._entries[-1] = (-350, TEXTS[-350])
            return
        self._entries.append((error.number, error.text()))

    def pop(self) -> str:
        """Oldest entry as `number,"text"`; `0,"No error"` when there is none."""
        number, text = self._entries.pop(0) if self._entries else (0, TEXTS[0])
        return '%d,"%s"' % (number, text.replace('"', "'"))

    def clear(self) -> None:
        """Forget everything."""
        self._entries = []
