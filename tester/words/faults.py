"""One sentence a fault: what is where, where it belongs, what to look at, which step it points back to.

Facts and where to look; no guess at how it came about.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from tester.harness.cavity import split_cavity
from tester.harness.partkinds import TWO_WAY_OHMS, TWO_WAY_RELATIVE
from tester.harness.verdict import Fault
from tester.words.lists import counted, listed, ohms

MOST = 8  # names of one circuit in a sentence


def says(fault: Fault, numbers: Mapping[str, int] | None = None) -> str:
    """One sentence on one fault, with the steps of the plan that touch its cavities.

    `numbers`: step -> its number on the work sheet; steps are named by these where all of the fault's are known.
    """
    by_kind: dict[str, Callable[[Fault], str]] = {
        "miswire": _miswire, "short": _short, "open": _open, "reversed": _reversed, "leakage": _leakage,
        "high-resistance": _high, "dropout": _dropout, "doubtful": _doubtful,
    }  # fmt: skip
    return by_kind[fault.kind](fault) + _steps(fault, numbers or {})


def _steps(fault: Fault, numbers: Mapping[str, int]) -> str:
    if not fault.steps:
        return ""
    names = list(fault.steps)
    if all(step in numbers for step in names):
        names = [str(number) for number in sorted(numbers[step] for step in names)]
    return f" ({'step' if len(names) == 1 else 'steps'} {listed(names, ordered=False, most=MOST)})"


def _miswire(fault: Fault) -> str:
    pairs = list(zip(fault.sits, fault.belongs, strict=True))
    places = listed([f"the one in {sits} belongs in {belongs}" for sits, belongs in pairs], most=MOST, ordered=False)
    if fault.action == "leads exchanged":
        return _leads_exchanged(pairs)
    if len(pairs) == 1:
        return f"The terminal in {fault.sits[0]} belongs in {fault.belongs[0]}"
    if fault.action == "swap":
        names = listed(fault.belongs, ordered=False)
        return f"The terminals in {names} are exchanged: each belongs in the other's cavity"
    many = counted(len(pairs), "terminal")
    if fault.action == "plugs exchanged":
        plugs = listed(dict.fromkeys(split_cavity(name)[0] for name in fault.belongs))
        return (
            f"{many} of {plugs} sit in the cavity of the same number of the other one: "
            f"look first whether the two plugs, or the tester's plugs for them, are exchanged"
        )
    side = split_cavity(fault.belongs[0])[0]
    text = {
        "mirrored face": f"{many} of {side} sit as in a mirror image of its face: {places}",
        "row offset": f"{many} of {side} sit off by the same number of places: {places}",
    }.get(fault.action, f"{many} sit in wrong cavities: {places}")
    return text if fault.steps else f"{text}; no step touched them, so look first at the tester's leads there"


def _leads_exchanged(pairs: list[tuple[str, str]]) -> str:
    """Two leads, or the terminals in their cavities: a scan cannot tell which, and no step touched either."""
    (sits, belongs), both = pairs[0], listed(pairs[0], ordered=True)
    leads = f"look first whether the tester's leads to {both} are exchanged"
    if len(pairs) == 1:
        return (
            f"What belongs in {belongs} is measured in {sits}, and no step touched them: "
            f"{leads}; if they are not, the terminal in {sits} belongs in {belongs}"
        )
    return (
        f"{both} measure as if exchanged, and no step touched them: "
        f"{leads}; if they are not, each terminal belongs in the other's cavity"
    )


def _short(fault: Fault) -> str:
    if fault.action == "one-way link":
        return (
            f"{fault.belongs[0]} conducts to {fault.sits[0]}, one way only, where nothing may: "
            f"look at the terminals in both and at what lies between"
        )
    if fault.action == "both ways":
        return (
            f"{fault.sits[0]} and {fault.belongs[0]} conduct both ways, where one way only is expected: "
            f"look at the part between them and at what is joined there"
        )
    one, other = listed(fault.sits, most=MOST), listed(fault.belongs, most=MOST)
    if fault.action == "sealed-off lead touching":
        return f"{one} {_is(fault.sits)} joined to {other} and must not be: look at the end that was sealed off"
    return (
        f"{one} {_is(fault.sits)} joined to {other} and must not be: look at the terminals and splices of both circuits"
    )


def _open(fault: Fault) -> str:
    cut, rest = listed(fault.sits, most=MOST), listed(fault.belongs, most=MOST)
    apart = f"{cut} {_is(fault.sits)} not joined to {rest}"
    if "ohms" in fault.values:
        apart = f"{cut} {_is(fault.sits)} joined to {rest} only {_through(fault.values)}"
    if fault.action == "plug not home":
        plugs = listed(dict.fromkeys(split_cavity(name)[0] for name in fault.sits))
        return (
            f"No wired cavity of {plugs} is joined to anything ({cut}): "
            f"look first whether {plugs} and the tester's plug for it are pushed home"
        )
    if fault.action == "part missing":
        return f"The part between {cut} and {rest} does not conduct: look whether it is there, and at its two ends"
    if fault.action == "missing wire":
        return f"{apart}: look whether the wire is there, and at its terminal at both ends"
    if fault.action == "splice incomplete":
        return f"{apart}: look at the splice between them"
    if fault.action == "lead not touching":
        if len(fault.belongs) == 1:
            return (
                f"{apart}, and no step touched them: "
                f"look first at the tester's leads to {cut} and {rest}, then at both terminals and the wire"
            )
        return f"{apart}, and no step touched it: look first at the tester's lead to {cut}, then at its terminal"
    if len(fault.belongs) == 1:
        return f"{apart}: look at the terminals in {cut} and {rest}"
    return f"{apart}: look at the terminal in {cut}"


def _through(values: Mapping[str, float]) -> str:
    """``through 1 kohm``; both ways where they differ by more than one part does from reading to reading."""
    one = ohms(values["ohms"])
    if "one_way" in values:
        return f"one way, through {one}"
    back = values.get("ohms_back", values["ohms"])
    alike = back - values["ohms"] <= TWO_WAY_RELATIVE * back + TWO_WAY_OHMS
    return f"through {one}" if alike else f"through {one} one way and {ohms(back)} the other"


def _is(names: tuple[str, ...]) -> str:
    return "is" if len(names) == 1 else "are"


def _reversed(fault: Fault) -> str:
    return f"The part between {fault.sits[0]} and {fault.belongs[0]} conducts the other way round: turn it"


def _leakage(fault: Fault) -> str:
    measured = f" ({ohms(fault.values['ohms'])})" if "ohms" in fault.values else ""
    if fault.action == "to any other":
        limit = ohms(fault.values["limit_ohms"])
        circuit = listed(fault.sits, most=MOST)
        return (
            f"The circuit of {circuit} leaks to others{measured}, least allowed {limit}: "
            f"look at its terminals and splices"
        )
    between = f"between {fault.sits[0]} and {fault.belongs[0]}"
    if fault.action == "part differs":
        wanted = ohms(fault.values["expected_ohms"])
        return f"The part {between} reads too low{measured}, expected {wanted}: look at what is joined there"
    return f"Something conducts {between}{measured}, where nothing may: look at both ends and at what lies between"


def _high(fault: Fault) -> str:
    value = ohms(fault.values["ohms"])
    if fault.action in ("branch", "branches not told apart"):
        names = listed(fault.cavities)
        where = f"in the branch to {names}" if fault.action == "branch" else f"in the branches to {names} together"
        which = "" if fault.action == "branch" else ", which the readings cannot tell apart"
        return f"Too much resistance {where}: {value} more than its wire{which}: look at the crimps and terminals there"
    between = f"between {fault.sits[0]} and {fault.belongs[0]}"
    if fault.action == "part differs":
        wanted = ohms(fault.values["expected_ohms"])
        return f"The part {between} reads {value}, expected {wanted}: look at its two ends"
    limit = ohms(fault.values["limit_ohms"])
    return f"Too much resistance {between}: {value}, limit {limit}: look at the crimps and terminals on the way"


def _dropout(fault: Fault) -> str:
    names, ms = listed(fault.cavities, most=MOST), fault.values.get("ms", 0.0)
    what = f"The circuit of {names} opened"
    if fault.action.startswith("short"):
        what = f"Circuits touched at {names}"
    return f"{what} for {ms:.3g} ms while it was moved: look at the terminals and splices there"


def _doubtful(fault: Fault) -> str:
    names = listed(fault.cavities)
    return f"Readings of {names} disagree from one time to the next: look at the contacts there, then scan again"
