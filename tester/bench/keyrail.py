"""The bottom line: the keys that work now, from the bindings that are active, most important first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from textual import events
from textual.binding import Binding

from tester.bench.lineview import LineView
from tester.bench.text import Part, length

if TYPE_CHECKING:
    from textual.screen import Screen

KEY_NAMES = {
    "f1": "F1",
    "enter": "Enter", "escape": "Esc", "space": "Space", "tab": "Tab", "shift+tab": "Shift+Tab", "up": "↑", "down": "↓",
    "left": "←", "right": "→", "question_mark": "?", "colon": ":", "slash": "/", "plus": "+", "minus": "-",
    "pageup": "PgUp", "pagedown": "PgDn", "home": "Home", "end": "End", "backspace": "Backspace", "full_stop": ".",
    "comma": ",", "left_square_bracket": "[", "right_square_bracket": "]",
}  # fmt: skip


def key_name(key: str) -> str:
    """A key as people write it: `Enter`, `Ctrl+Q`, `f`."""
    if key in KEY_NAMES:
        return KEY_NAMES[key]
    if key.startswith("ctrl+"):
        return f"Ctrl+{key[5:].upper()}"
    if key.startswith("upper_"):
        return key[6:]
    return key


def shown_bindings(screen: Screen[object]) -> list[tuple[Binding, bool]]:
    """Active bindings that want to be shown, one an action, those of the widget in focus first.

    A key that would only say why it does nothing here works, and takes no room.
    """
    seen: dict[str, tuple[Binding, bool]] = {}
    idle: tuple[str, ...] = getattr(screen, "idle_keys", tuple)()
    for active in screen.active_bindings.values():
        if active.binding.show and active.binding.action not in seen and active.binding.id not in idle:
            seen[active.binding.action] = (active.binding, active.enabled)
    return sorted(seen.values(), key=lambda one: one[0].key.partition(",")[0] != "enter")


class KeyRail(LineView):
    """One line of keys with their words; what does not fit is on the help screen."""

    DEFAULT_CSS = "KeyRail { height: 1; dock: bottom; overflow: hidden; scrollbar-size: 0 0; }"

    def __init__(self) -> None:
        super().__init__(id="keys")
        self._spans: list[tuple[int, int, str]] = []

    def on_mount(self) -> None:
        self.all_changed(1, 20)
        self.screen.bindings_updated_signal.subscribe(self, self._changed)

    def on_resize(self) -> None:
        self.all_changed()

    def line(self, y: int) -> Sequence[Part]:
        last = [(binding, on) for binding, on in shown_bindings(self.screen) if binding.id == "help"]
        rest = [(binding, on) for binding, on in shown_bindings(self.screen) if binding.id != "help" and on]
        tail = self._words(last)
        parts: list[Part] = [(" ", "plain")]
        self._spans = []
        for binding, _ in rest:
            words = self._words([(binding, True)])
            if length(parts) + length(words) + length(tail) >= self.size.width:
                break
            self._spans.append((length(parts), length(parts) + length(words), binding.action))
            parts += words
        if last:
            self._spans.append((length(parts), length(parts) + length(tail), last[0][0].action))
        return [*parts, *tail]

    def text(self) -> str:
        """The line as text, for tests."""
        return "".join(text for text, _ in self.line(0))

    async def on_click(self, event: events.Click) -> None:
        for first, end, action in self._spans:
            if first <= event.x < end:
                await self.screen.run_action(action)
                return

    def _changed(self, screen: Screen[object]) -> None:
        if self.is_attached and screen is self.screen:
            self.call_after_refresh(self.all_changed)

    @staticmethod
    def _words(bindings: Iterable[tuple[Binding, bool]]) -> list[Part]:
        parts: list[Part] = []
        for binding, _ in bindings:
            name = binding.key_display or key_name(binding.key)
            parts += [(name, "key"), (f" {binding.description}   ", "plain")]
        return parts
