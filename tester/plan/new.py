"""A first plan, with comments that explain each part and one example of everything commented out."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import tomlkit

from tester.errors import InputError
from tester.harness.cavity import is_connector_id
from tester.plan.load import load_plan


def parse_connector(text: str) -> tuple[str, int]:
    """``D=18`` or ``D:18`` -> ("D", 18). Raises InputError."""
    id, mark, count = text.replace(":", "=").partition("=")
    id = id.strip().upper()
    if not mark or not count.strip().isdecimal() or not is_connector_id(id) or not 1 <= int(count) <= 1000:
        raise InputError(f"connector {text!r}: write its letter and how many cavities it has, such as D=18")
    return id, int(count)


def new_plan(
    id: str,
    connectors: Sequence[tuple[str, int]],
    title: str = "",
    sides: Sequence[str] = (),
) -> str:
    """Text of a plan to fill in. It is read as it is: no steps, hazards not declared. Raises InputError."""
    if not connectors:
        raise InputError("a plan needs a connector; give each with its cavities, such as D=18 and H=32")
    if not id.strip():
        raise InputError("a plan needs a short name, such as hatch-lamp")
    first, second = connectors[0], connectors[-1]
    other = f"{second[0]}-1" if second[0] != first[0] else f"{first[0]}-{min(2, first[1])}"
    ends = {"a": f"{first[0]}-1", "b": other}
    values = {
        **ends,
        "id": _quoted(id.strip()),
        "title": _quoted(title),
        "connectors": "\n".join(_connector(name, count) for name, count in connectors),
        "sides": "\n".join(f"[sides.{_key(side)}]" for side in sides) or _filled(_NO_SIDES, ends),
    }
    text = _filled(_TEMPLATE, values)
    load_plan(text, "new plan")
    return text


def _filled(template: str, values: Mapping[str, str]) -> str:
    """The template with each %name% put in once, so that what a person typed is never taken for a place."""
    return re.sub("%([a-z]+)%", lambda found: values[found[1]], template)


def _quoted(text: str) -> str:
    return str(tomlkit.string(text).as_string())


def _key(text: str) -> str:
    return str(tomlkit.key(text).as_string())


def _connector(id: str, count: int) -> str:
    return f"""[[connector]]
id = "{id}"
title = ""                      # what people call it
cavities = {count}
# rows = ["1-{max(1, count // 2)}", "{count // 2 + 1}-{count}"]      # how the face looks; a dot is a gap: "1-4 . 5"
# drawn = "wire"                # side from which the rows are drawn: "wire" or "mating"
# moulded = [1, {count}]               # the numbers that can really be read on the plastic
# lock = "white slide, to the left"
# sealed = true                 # empty cavities of a sealed housing need a plug
"""


_NO_SIDES = """# One plan for both sides of the vehicle: write it for the first side, then what differs on the other.
# [sides.left]
# [sides.right]
# note = "what else differs"
# [sides.right.cavities]
# "%a%" = "%b%"
# "%b%" = "%a%\""""

_TEMPLATE = """# A plan: what is done to a harness, and how it is proved.
# Lines that begin with # are comments. Check it with: loomwright plan check THIS-FILE
format = 1
id = %id%
revision = "1"
title = %title%
vehicle = ""                    # what it fits
checks = ["continuity", "isolation"]   # needed for PASS; also: "resistance", "direction", "dropout"
prove_leads = true              # each lead must be seen joined, or be touched, before PASS

# Look the connectors up in the service manual BEFORE a board drives them. Restraint means air bags and pretensioners,
# high voltage the orange cables. Each is a list of cavities, or "none" if there is none; say where you looked.
[hazards]
restraint = "not declared"      # ["%a%"] or "none"
high_voltage = "not declared"
checked = ""                    # manual, page, date

%sides%

%connectors%
# The kit: one table a wire. Colours are IEC 60757 letters (BK BN RD OG YE GN BU VT GY WH PK GD TQ SR), BU/RD is blue
# with a red stripe. An end is a cavity, a splice, a ring or a named loose lead.
# [[wire]]
# id = "W1"
# colour = "BU/RD"
# size_mm2 = 0.5                # or awg = 20
# length_mm = 800
# amperes = 2.0                 # load, for the advice on voltage drop
# a = { cavity = "%a%" }
# b = { cavity = "%b%" }

# What is known of the untouched harness. A harness that says otherwise is shown before the first terminal is pulled.
# [[fact]]
# that = { joined = ["%a%", "%b%"] }
# note = "what it means if it is not so"

# The steps, in order. when = { ... } makes a step depend on the harness as found:
#   { occupied = "%a%" }  { lone = "%a%" }  { joined = ["%a%", "%b%"] }  { side = "left" }  { eye = "Is it grey?" }
#   { not = { ... } }  { all = [ {...}, {...} ] }  { any = [ {...}, {...} ] }
# do is one of: unlock remove move insert tug cut splice seal-off tape-back plug route lock look
# [[step]]
# id = "out"
# do = "remove"
# cavity = "%a%"
# lead = "old wire"             # a name, so that the next step can seal it off
# when = { occupied = "%a%" }
#
# [[step]]
# id = "cap"
# do = "seal-off"
# lead = "old wire"
# when = { occupied = "%a%" }
#
# [[step]]
# id = "in-a"
# do = "insert"
# wire = "W1"
# end = "a"

# What to try once everything is installed.
# [[function]]
# id = "lamp"
# do = "switch it on"
# see = "it lights"
"""
