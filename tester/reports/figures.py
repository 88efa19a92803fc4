"""Figures over many records as text, as CSV and as a picture (SVG, black and white, no script). Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from tester.records.figures import BenchTime, Drift, Figures, FirstPass
from tester.records.statistics import Bar
from tester.reports.escape import markup, visible
from tester.reports.tables import csv_text

SHOWN = 12
NAME_W, BAR_W, ROW_H = 190.0, 360.0, 20.0


def figures_text(figures: Figures, most: int = SHOWN) -> str:
    """Everything as lines of text."""
    first = figures.first_pass
    lines = [f"Records: {figures.records}, with a verdict: {first.entered}", ""]
    lines.append(f"First-pass yield: {yield_words(first)}")
    lines += [f"  {visible(name)}: {yield_words(one)}" for name, one in figures.by_plan]
    for title, bars in _lists(figures):
        lines += ["", f"{title}:", *_bar_lines(bars, most)]
    lines += ["", f"Time at the bench: {_time_words(figures.bench_time)}"]
    lines += ["", "Reference resistor:", *(f"  {_drift_words(one)}" for one in figures.drift)]
    if not figures.drift:
        lines.append("  no readings")
    if figures.notes:
        lines += ["", *(f"Note: {visible(note)}" for note in figures.notes)]
    return "\n".join(lines) + "\n"


def yield_words(one: FirstPass) -> str:
    """``18 of 20 passed at the first test, 90 % (95 % interval 70 % to 97 %)``."""
    if one.share is None:
        return "none has a verdict"
    low, high = one.interval
    percent = [f"{100 * value:.0f} %" for value in (one.share, low, high)]
    return (
        f"{one.passed} of {one.entered} passed at the first test, {percent[0]}"
        f" (95 % interval {percent[1]} to {percent[2]})"
    )


def figures_csv(figures: Figures) -> str:
    """Long form: what, name, count, and numbers that go with it; one row a fact."""
    rows: list[Sequence[object]] = []
    for name, one in (("all", figures.first_pass), *figures.by_plan):
        low, high = one.interval
        rows.append(("first-pass yield", name, one.passed, one.entered, one.share, low, high))
    for title, bars in _lists(figures):
        rows += [(title.lower(), bar.name, bar.count, None, bar.running / 100, None, None) for bar in bars]
    if figures.bench_time:
        time = figures.bench_time
        rows.append(("minutes at the bench", "all", time.records, None, time.median, time.lower, time.upper))
    for drift in figures.drift:
        rows.append(
            ("reference resistor, ohm", drift.board, drift.readings, None, drift.mean, drift.lowest, drift.highest)
        )
    return csv_text(("what", "name", "count", "of", "value", "low", "high"), rows)


def figures_svg(figures: Figures, most: int = SHOWN) -> str:
    """A picture: yield with its interval, then faults by cavity as a Pareto chart. Numbers stand beside each bar."""
    bars = figures.by_cavity[:most]
    parts, y = [_yield_bar(figures.first_pass, 46.0)], 92.0
    parts.append(_label(10, y, f"Records with a fault, by cavity{_cut(figures.by_cavity, most)}", bold=True))
    y += 14
    top = max((bar.count for bar in bars), default=1)
    points = []
    for bar in bars:
        width = BAR_W * bar.count / top
        middle = y + ROW_H / 2
        parts.append(_label(NAME_W - 6, middle + 4, _short(bar.name), end=True))
        box = f'x="{NAME_W:g}" y="{y + 3:.1f}" width="{width:.1f}" height="{ROW_H - 6:g}"'
        parts.append(f'<rect {box} fill="#bbb" stroke="#555"/>')
        parts.append(_label(NAME_W + BAR_W + 60, middle + 4, f"{bar.count}", end=True))
        parts.append(_label(NAME_W + BAR_W + 120, middle + 4, f"{bar.running:.0f} %", end=True))
        points.append(f"{NAME_W + BAR_W * bar.running / 100:.1f},{middle:.1f}")
        y += ROW_H
    if points:
        parts.append(f'<polyline points="{" ".join(points)}" fill="none" stroke="#000" stroke-width="1.5"/>')
        parts.append(_label(10, y + 16, "Bars: records. Line and last column: share of all faults so far."))
    else:
        parts.append(_label(NAME_W, y + 14, "no faults"))
    y += 34
    for note in figures.notes:
        for line in _wrapped(note, 96):
            parts.append(_label(10, y, line))
            y += 16
    return _picture(parts, NAME_W + BAR_W + 130, y + 6, yield_words(figures.first_pass))


def _yield_bar(one: FirstPass, y: float) -> str:
    low, high = one.interval if one.entered else (0.0, 1.0)
    parts = [_label(10, 20, f"First-pass yield: {yield_words(one)}", bold=True)]
    parts.append(
        f'<path d="M{NAME_W:g} {y:g}h{BAR_W:g}M{NAME_W:g} {y - 6:g}v12M{NAME_W + BAR_W:g} {y - 6:g}v12" stroke="#000"/>'
    )
    for share, said in ((0.0, "0 %"), (0.5, "50 %"), (1.0, "100 %")):
        parts.append(_label(NAME_W + BAR_W * share, y + 22, said, middle=True))
    if one.share is not None:
        left, right = NAME_W + BAR_W * low, NAME_W + BAR_W * high
        parts.append(
            f'<rect x="{left:.1f}" y="{y - 5:g}" width="{right - left:.1f}" height="10" fill="#bbb" stroke="#000"/>'
        )
        parts.append(f'<circle cx="{NAME_W + BAR_W * one.share:.1f}" cy="{y:g}" r="5"/>')
    return "".join(parts)


def _picture(parts: Iterable[str], width: float, height: float, said: str) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {width:g} {height:g}" width="{width:g}"'
        f' height="{height:g}" font-family="DejaVu Sans, Arial, sans-serif" font-size="12"><title>Figures</title>'
        f'<desc>{markup(said)}</desc><rect width="100%" height="100%" fill="#fff"/>{"".join(parts)}</svg>\n'
    )


def _label(x: float, y: float, text: str, *, bold: bool = False, end: bool = False, middle: bool = False) -> str:
    anchor = ' text-anchor="end"' if end else ' text-anchor="middle"' if middle else ""
    weight = ' font-weight="bold"' if bold else ""
    return f'<text x="{x:.1f}" y="{y:.1f}"{anchor}{weight}>{markup(text)}</text>'


def _short(name: str, most: int = 24) -> str:
    return name if len(name) <= most else name[: most - 1] + "…"


def _cut(bars: Sequence[Bar], most: int) -> str:
    return f" (the first {most} of {len(bars)})" if len(bars) > most else ""


def _wrapped(text: str, width: int) -> list[str]:
    lines = [""]
    for word in text.split():
        if lines[-1] and len(lines[-1]) + len(word) >= width:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines


def _lists(figures: Figures) -> tuple[tuple[str, tuple[Bar, ...]], ...]:
    return (
        ("Records with a fault, by cavity", figures.by_cavity),
        ("Records with a fault, by step", figures.by_step),
        ("Records with a fault, by kind", figures.by_kind),
        ("Records with a fault, by plan", figures.by_revision),
    )


def _bar_lines(bars: Sequence[Bar], most: int) -> list[str]:
    if not bars:
        return ["  none"]
    wide = min(40, max(len(visible(bar.name)) for bar in bars[:most]))
    lines = [f"  {_short(visible(bar.name), 40):<{wide}}  {bar.count:>6}  {bar.running:>5.1f} %" for bar in bars[:most]]
    if len(bars) > most:
        rest = sum(bar.count for bar in bars[most:])
        lines.append(f"  and {len(bars) - most} more, {rest} together")
    return lines


def _time_words(time: BenchTime | None) -> str:
    if time is None:
        return "no record has a verdict"
    return (
        f"median {time.median:.0f} min, half of {time.records} records between {time.lower:.0f} and"
        f" {time.upper:.0f} min (pauses of more than half an hour left out)"
    )


def _drift_words(one: Drift) -> str:
    words = (
        f"board {visible(one.board) or '(unknown)'}: {one.readings} readings, mean {one.mean:.4f} ohm,"
        f" {one.lowest:.4f} to {one.highest:.4f}"
    )
    if one.ppm_a_year is not None and one.u_ppm is not None:
        words += f", drift {one.ppm_a_year:+.0f} ppm a year (standard uncertainty {one.u_ppm:.0f})"
    return words
