"""Data on the screen: cleaned, measured, cut, never read as markup."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from tester.bench.big import big
from tester.bench.sounds import PATTERNS, Sounds
from tester.bench.text import count, fit, fold, pad, plain
from tester.bench.theme import DARK, LIGHT, few_colours


def test_escape_sequences_in_a_name_cannot_steer_the_terminal() -> None:
    assert "\x1b" not in plain("\x1b[31mred\x1b]0;title\x07")
    assert plain("J2 [/J2]") == "J2 [/J2]"
    assert plain("line one\nline two\ttab") == "line one line two tab"


def test_marks_that_turn_the_writing_direction_are_replaced() -> None:
    assert "\u202e" not in plain("abc\u202edef")
    assert plain("дверь 車門") == "дверь 車門"


@given(st.text(max_size=60), st.integers(0, 40))
def test_fitted_text_never_exceeds_its_columns(text: str, cells: int) -> None:
    assert cell_len(fit(plain(text), cells)) <= cells
    assert cell_len(pad(plain(text), cells)) == cells


@given(st.text(max_size=200), st.integers(2, 40))
def test_folded_lines_fit_and_lose_no_visible_character(text: str, cells: int) -> None:
    cleaned = plain(text)
    lines = fold(cleaned, cells)
    assert all(cell_len(line) <= cells for line in lines)
    assert "".join("".join(lines).split()) == "".join(cleaned.split())


def test_big_letters_fall_back_to_the_name_itself() -> None:
    assert len(big("H-11", 40)) == 3
    assert all(len(line) == 15 for line in big("H-11", 40))
    assert big("門-4", 40) == ["門-4"]
    assert big("H-11", 10) == ["H-11"]


def test_counts_read_as_a_person_writes_them() -> None:
    assert count(1, "cavity", "cavities") == "1 cavity"
    assert count(2, "cavity", "cavities") == "2 cavities"
    assert count(2, "step") == "2 steps"


def test_sounds_differ_and_can_be_turned_off() -> None:
    assert len(set(PATTERNS.values())) == len(PATTERNS)
    rung: list[float] = []
    sounds = Sounds(lambda: rung.append(0.0), lambda delay, what: rung.append(delay))
    sounds.play("wrong")
    assert len(rung) == len(PATTERNS["wrong"])
    sounds.on = False
    sounds.play("right")
    assert len(rung) == len(PATTERNS["wrong"])


@pytest.mark.parametrize("theme", [DARK, LIGHT], ids=lambda theme: theme.name)
@pytest.mark.parametrize("role", ["foreground", "primary", "secondary", "success", "warning", "error", "bench-dim"])
def test_every_text_colour_has_contrast_enough_on_every_ground(theme, role: str) -> None:
    """WCAG 2.1, success criterion 1.4.3: at least 4.5 to 1 (from memory)."""
    text = theme.variables.get(role) or getattr(theme, role)
    for ground in (theme.background, theme.surface):
        assert contrast(text, ground) >= 4.5, (theme.name, role, ground)
    assert contrast(theme.variables["bench-on"], theme.primary) >= 4.5
    assert contrast(theme.foreground, theme.variables["bench-cursor"]) >= 4.5


def contrast(a: str, b: str) -> float:
    """Contrast ratio by WCAG 2.1 relative luminance (from memory)."""

    def luminance(colour: str) -> float:
        parts = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_few_colours_are_seen_from_the_environment() -> None:
    assert few_colours({"NO_COLOR": "", "TERM": "xterm-256color"})
    assert few_colours({"TERM": "xterm-16color"})
    assert few_colours({"TERM": "linux"})
    assert not few_colours({"TERM": "xterm-256color"})
    assert not few_colours({"TERM": "foot", "COLORTERM": "truecolor"})
    assert not few_colours({"TEXTUAL_DRIVER": "textual.drivers.web_driver:WebDriver"})
