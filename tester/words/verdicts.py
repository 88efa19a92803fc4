"""The verdict as lines: the word, its scope, what was not tested, how many lone cavities, the faults."""

from __future__ import annotations

from collections.abc import Mapping

from tester.harness.verdict import FAIL, NOT_TESTED, PASS, Fault, Verdict
from tester.words.faults import says
from tester.words.lists import counted, listed, ohms

SHOWN = 3  # tied explanations on a screen
MOST = 12
STEPS_OPEN = "steps not ticked"
CHECK_NOT_DONE = "check not done: "  # how `judge` begins the reason for a check that is missing


def scope_line(verdict: Verdict) -> str:
    """``continuity and isolation; resistance not tested (this board cannot do it)``."""
    done = listed(verdict.scope, ordered=False) or "nothing"
    left = [f"{check} not tested ({reason})" for check, reason in verdict.not_in_scope]
    return "; ".join([done, *left])


def reach_lines(verdict: Verdict) -> list[str]:
    """How far the checks saw, a line each: what "joined" may be, which leak and which dropout can have hidden."""
    lines = []
    if "continuity" in verdict.scope and "joined_ohms" in verdict.reach:
        lines.append(f'"Joined" means up to {ohms(verdict.reach["joined_ohms"])}, in a circuit of two cavities.')
        if verdict.grade == "wire":
            lines[-1] = f'"Joined" means up to {ohms(verdict.reach["joined_ohms"])}, measured.'
    if "isolation" in verdict.scope and "isolation_ohms" in verdict.reach:
        seen = verdict.reach["isolation_ohms"]
        if "leak_ohms" in verdict.reach:
            lines.append(
                f"The strongest leak measured between a circuit and the others: {ohms(verdict.reach['leak_ohms'])}."
            )
        lines.append(
            f"Between circuits no leak below {ohms(seen)} can have hidden; a weaker one was not looked for."
            if seen > 0
            else "The largest circuits have too many cavities for a scan to surely see a leak between them."
        )
    if "dropout" in verdict.scope and "dropout_ms" in verdict.reach:
        lines.append(
            f"An opening of up to {verdict.reach['dropout_ms']:.3g} ms could have been missed{_touches(verdict)}."
        )
    return lines


def _touches(verdict: Verdict) -> str:
    """The rest of the sentence on dropouts: how far touches between circuits were looked for."""
    if "touch_ms" not in verdict.reach:
        return ""
    text = f", a touch between circuits of up to {verdict.reach['touch_ms']:.3g} ms"
    blind = int(verdict.reach.get("touch_blind", 0))
    return f"{text}; among {blind} circuits that parts lead on from, some touches at all" if blind else text


def headline(verdict: Verdict) -> str:
    """The word with its scope, in one line."""
    return f"{verdict.verdict}: {scope_line(verdict)}"


def untested_lines(verdict: Verdict, numbers: Mapping[str, int] | None = None) -> list[str]:
    """What stands between the result and PASS, a line each. `numbers`: of the steps on the work sheet."""
    lines = []
    for reason, names in verdict.untested:
        if reason == STEPS_OPEN and numbers and all(name in numbers for name in names):
            names = tuple(str(number) for number in sorted(numbers[name] for name in names))
        listed_names = listed(names, most=MOST)
        if reason.startswith(CHECK_NOT_DONE):
            lines.append(f"Not tested: {listed_names} ({reason.removeprefix(CHECK_NOT_DONE)})")
            continue
        lines.append(f"Not tested: {reason}" + (f": {listed_names}" if names else ""))
    return lines


def lone_line(verdict: Verdict) -> str:
    """How many lone cavities stand behind the verdict, and for how many the lead itself is unproven."""
    lone = [c for c in verdict.cavities if c.contact in ("proven", "unproven") and not c.expected and not c.measured]
    if not lone:
        return "No lone cavities."
    text = f"{counted(len(lone), 'lone cavity', 'lone cavities')}: known only to touch nothing else"
    if verdict.unproven:
        text += f"; {counted(len(verdict.unproven), 'lead')} not proven ({listed(verdict.unproven, most=MOST)})"
    return text + "."


def explanations(verdict: Verdict) -> list[list[Fault]]:
    """Faults of circuits grouped by tied explanation, likeliest first. `measured_faults` holds the others."""
    groups: dict[int, list[Fault]] = {}
    for fault in verdict.faults:
        if _of_circuits(fault):
            groups.setdefault(fault.explanation, []).append(fault)
    return [groups[number] for number in sorted(groups)]


def measured_faults(verdict: Verdict) -> list[Fault]:
    """Faults that stand whatever the explanation: of parts, resistance, isolation, dropouts, readings in doubt."""
    return [fault for fault in verdict.faults if not _of_circuits(fault)]


def _of_circuits(fault: Fault) -> bool:
    of_parts = ("part missing", "one-way link", "both ways")
    return fault.kind in ("open", "short", "miswire") and fault.action not in of_parts


def fault_lines(verdict: Verdict, most: int = SHOWN, numbers: Mapping[str, int] | None = None) -> list[str]:
    """The faults as sentences; tied explanations one after the other, at most `most` of them. `numbers`: as in says."""
    groups = explanations(verdict)
    lines = []
    if groups and not verdict.exact:
        lines.append(_bound(verdict))
    for number, group in enumerate(groups[:most]):
        if number:
            lines.append("Or, which would measure the same:")
        lines += [f"{says(fault, numbers)}." for fault in group]
    if len(groups) > most:
        known = "" if verdict.complete else "At least "
        lines.append(f"{known}{counted(len(groups) - most, 'more explanation')} would measure the same.")
    elif groups and verdict.exact and not verdict.complete:
        lines.append("Other explanations with as many faults may measure the same.")
    lines += [f"{says(fault, numbers)}." for fault in measured_faults(verdict)]
    return lines


def _bound(verdict: Verdict) -> str:
    """Said before explanations of more faults than can be searched to the end."""
    least = f"At least {counted(verdict.at_least, 'fault')}" if verdict.at_least else "Several faults"
    return (
        f"{least} (a bound: too many to search every explanation). "
        f"The following would measure so; fewer faults may as well:"
    )


def verdict_lines(verdict: Verdict, numbers: Mapping[str, int] | None = None) -> list[str]:
    """Everything that a person reads about a result, in order of weight. `numbers`: of the steps on the work sheet."""
    lines = [headline(verdict)]
    if verdict.outcome:
        lines.append(f"Found: {verdict.outcome}.")
    lines += fault_lines(verdict, numbers=numbers)
    lines += untested_lines(verdict, numbers)
    lines.append(lone_line(verdict))
    return lines + reach_lines(verdict)


def count_line(verdict: Verdict) -> str:
    """``41 cavities: 38 PASS, 2 FAIL, 1 NOT TESTED``."""
    counts = {word: sum(c.verdict == word for c in verdict.cavities) for word in (PASS, FAIL, NOT_TESTED)}
    parts = [f"{number} {word}" for word, number in counts.items() if number]
    return f"{counted(len(verdict.cavities), 'cavity', 'cavities')}: {', '.join(parts)}"
