"""Import of the open KBL harness format (VDA, prostep ivip): connectors, cavities, wires, the full expected netlist.

Read by a parser that refuses document types, entities and external references; sizes, depth and count are bounded.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any
from xml.etree.ElementTree import Element, ParseError

from tester.errors import InputError
from tester.harness.cavity import cavity, is_connector_id
from tester.harness.colours import Colour, parse_colour
from tester.harness.netlist import Joiner, Netlist
from tester.plan.models import Connector, End, Plan, Reference, Wire

MAX_BYTES = 16_000_000
MAX_ELEMENTS = 400_000
MAX_DEPTH = 60
_KEPT = frozenset({"Connector_housing", "General_wire", "Harness", "Unit"})
_LENGTHS = ("Production", "DMU")  # which of several lengths is taken first
_PREFIX = {"": 1000.0, "milli": 1.0, "centi": 10.0, "deci": 100.0}  # metre with this prefix in mm


@dataclass(frozen=True)
class Imported:
    """The plan made of a file, and what a person should know about it: what was left out, guessed or renamed."""

    plan: Plan
    notes: tuple[str, ...]


def import_kbl(data: bytes, name: str, colours: Mapping[str, Colour] | None = None) -> Imported:
    """A plan that expects the harness in a KBL file. `colours`: the file's colour code, from a file of the user.

    Raises InputError: too big, hostile, no XML, or no KBL.
    """
    roots = _read(data, name)
    harness = next((one for one in roots if _tag(one) == "Harness"), None)
    if harness is None:
        raise InputError(f"{name}: no <Harness> in it, so it is not a KBL file")
    return _Making(name, roots, harness, colours or {}).imported()


def _tag(element: Element) -> str:
    return str(element.tag).rpartition("}")[2]


def _read(data: bytes, name: str) -> list[Element]:
    """The top-level elements that matter; the others are dropped as they end."""
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import iterparse

    if len(data) > MAX_BYTES:
        raise InputError(f"{name}: {len(data) / 1e6:.1f} MB is too big; at most {MAX_BYTES / 1e6:.0f} MB are read")
    kept: list[Element] = []
    depth = count = 0
    root: Element | None = None
    try:
        for event, element in iterparse(io.BytesIO(data), events=("start", "end"), forbid_dtd=True):
            if event == "start":
                root = element if root is None else root
                depth += 1
                count += 1
                if depth > MAX_DEPTH or count > MAX_ELEMENTS:
                    raise InputError(f"{name}: nested too deep or too many elements for a harness file")
                continue
            depth -= 1
            if depth == 1 and root is not None:
                kept += [element] if _tag(element) in _KEPT else []
                root.remove(element)
    except ParseError as wrong:
        line = wrong.position[0]
        raise InputError(f"{name}, line {line}: not well-formed XML ({str(wrong).split(':')[0]})") from None
    except DefusedXmlException as wrong:
        what = type(wrong).__name__.replace("Forbidden", "")
        raise InputError(
            f"{name}: refused: {what} in the file; a KBL file has no document type and no entities"
        ) from None
    except (ValueError, LookupError) as wrong:
        raise InputError(f"{name}: cannot be read as XML: {wrong}") from None
    return kept


def _text(element: Element | None, tag: str) -> str:
    """Text of a child; "" when it is missing or /NULL."""
    child = element.find(tag) if element is not None else None
    text = (child.text or "").strip() if child is not None else ""
    return "" if text == "/NULL" else text


@dataclass
class _Making:
    name: str
    roots: list[Element]
    harness: Element
    colours: Mapping[str, Colour]
    notes: list[str] = field(default_factory=list)
    cavities: dict[str, str] = field(default_factory=dict)  # id of a cavity occurrence -> cavity
    contacts: dict[str, list[str]] = field(default_factory=dict)  # id of a contact point -> cavities

    def imported(self) -> Imported:
        self.units = {one.get("id", ""): one for one in self.roots if _tag(one) == "Unit"}
        connectors = tuple(self.connectors())
        if not connectors:
            raise InputError(f"{self.name}: no connector in it")
        wires = tuple(self.wires())
        buried = {name for one in connectors if one.kind == "splice" for name in one.names}
        joiner = Joiner(name for one in connectors for name in one.names)
        for ends in self.joined:
            for other in ends[1:]:
                joiner.join(ends[0], other)
        circuits = [[name for name in group if name not in buried] for group in joiner.circuits()]
        netlist = Netlist.of(circuit for circuit in circuits if circuit)
        modules = len(self.harness.findall("Module"))
        if modules > 1:
            self.notes.append(f"{modules} modules, all taken together: a real harness has some of them only")
        plan = Plan(
            format=1,
            id=(_text(self.harness, "Part_number") or "kbl-import")[:80],
            revision=(_text(self.harness, "Version") or "1")[:80],
            title=_text(self.harness, "Description")[:200],
            connector=connectors,
            wire=wires,
            expected=Reference(circuits=tuple(c for c in netlist if len(c) > 1), lone=netlist.lone()),
        )
        return Imported(plan, tuple(dict.fromkeys(self.notes)))

    def connectors(self) -> Iterator[Connector]:
        slots = {
            slot.get("id", ""): slot
            for one in self.roots
            if _tag(one) == "Connector_housing"
            for slot in one.iter("Slots")
        }
        taken: set[str] = set()
        for one in self.harness.findall("Connector_occurrence"):
            own = one.findall("Slots")
            for number, slot in enumerate(own, 1):
                id = self.connector_id(_text(one, "Id"), f".S{number}" if len(own) > 1 else "", taken)
                made = self.connector(id, one, slot, slots.get(_text(slot, "Part")))
                if made is not None:
                    yield made
            for point in one.findall("Contact_points"):
                refs = _text(point, "Contacted_cavity").split()
                self.contacts[point.get("id", "")] = [self.cavities[ref] for ref in refs if ref in self.cavities]

    def connector_id(self, given: str, suffix: str, taken: set[str]) -> str:
        id = re.sub(r"[^\w.]", "_", given.upper())[:60] + suffix
        if not is_connector_id(id):
            id = "C" + re.sub(r"^[\W_]+", "", id)
        base, count = id, 1
        while id in taken:
            count += 1
            id = f"{base}.{count}"
        if id != given:
            self.notes.append(f"connector {given or 'without a name'} is called {id}")
        taken.add(id)
        return id

    def connector(self, id: str, occurrence: Element, slot: Element, part: Element | None) -> Connector | None:
        texts = (
            {one.get("id", ""): _text(one, "Cavity_number") for one in part.iter("Cavities")}
            if part is not None
            else {}
        )
        own = [(one.get("id", ""), texts.get(_text(one, "Part"), "")) for one in slot.findall("Cavities")]
        if not own:
            self.notes.append(f"connector {id} has no cavity and was left out")
            return None
        plain = [text for _, text in own if text.isascii() and text.isdecimal() and int(text) <= 9999]
        numbers = [int(text) for text in plain]
        if len(set(numbers)) != len(own):
            numbers = list(range(1, len(own) + 1))
            names = ", ".join(f"{n} = {text or '?'}" for n, (_, text) in enumerate(own, 1))
            self.notes.append(f"connector {id}: its cavities are not numbered 1, 2, 3, so they were: {names}"[:500])
        for (ref, _), number in zip(own, numbers, strict=True):
            self.cavities[ref] = cavity(id, number)
        usage = _text(occurrence, "Usage").lower()
        kind = "ring" if "ring" in usage else "splice" if "splice" in usage else "housing"
        whole = sorted(numbers) == list(range(1, len(numbers) + 1))
        title = ", ".join(part for part in (_text(occurrence, "Id"), _text(occurrence, "Description")) if part)
        facts: dict[str, Any] = {"cavities": len(numbers)} if whole else {"numbers": tuple(numbers)}
        return Connector(id=id, title=title[:200], kind=kind, test=True if kind == "ring" else None, **facts)

    def wires(self) -> Iterator[Wire]:
        self.joined: list[list[str]] = []
        found = self.occurrences()
        taken: set[str] = set()
        for one in self.harness.findall("Connection"):
            ends = sorted(one.findall("Extremities"), key=lambda end: _number(_text(end, "Position_on_wire")) or 0.0)
            places = [name for end in ends for name in self.contacts.get(_text(end, "Contact_point"), [])]
            label = _text(one, "Id") or one.get("id", "?")
            if len(places) < 2:
                self.notes.append(f"connection {label} reaches {len(places)} cavity, so it joins nothing")
                continue
            self.joined.append(places)
            ref = _text(one, "Wire")
            if ref not in found:
                self.notes.append(f"connection {label} names no wire of the file; it is in the netlist only")
                continue
            yield self.wire(*found[ref], places[0], places[-1], _text(one, "Signal_name"), taken)

    def occurrences(self) -> dict[str, tuple[Element, Element | None, Element]]:
        """id of a wire or core -> its occurrence, its part, and what carries its length."""
        parts = {one.get("id", ""): one for one in self.roots if _tag(one) == "General_wire"}
        cores = {core.get("id", ""): core for part in parts.values() for core in part.iter("Core")}
        found: dict[str, tuple[Element, Element | None, Element]] = {}
        for one in self.harness.findall("General_wire_occurrence"):
            found[one.get("id", "")] = (one, parts.get(_text(one, "Part")), one)
            for core in one.findall("Core_occurrence"):
                found[core.get("id", "")] = (core, cores.get(_text(core, "Part")), one)
        return found

    def wire(
        self, own: Element, part: Element | None, long: Element, a: str, b: str, signal: str, taken: set[str]
    ) -> Wire:
        base = id = (_text(own, "Wire_number") or own.get("id", "wire"))[:60]
        count = 1
        while id in taken:
            count += 1
            id = f"{base}.{count}"
        taken.add(id)
        return Wire(
            id=id,
            colour=self.colour(id, part),
            size_mm2=self.value(
                part.find("Cross_section_area") if part is not None else None, f"wire {id}: size", True
            ),
            length_mm=self.length(id, long if own.find("Length_information") is None else own),
            a=End(cavity=a, fitted=True),
            b=End(cavity=b, fitted=True),
            note=signal[:200],
        )

    def length(self, id: str, carrier: Element) -> float | None:
        known = {_text(one, "Length_type"): one.find("Length_value") for one in carrier.findall("Length_information")}
        wanted = next((known[kind] for kind in _LENGTHS if kind in known), next(iter(known.values()), None))
        return self.value(wanted, f"wire {id}: length", False)

    def value(self, element: Element | None, what: str, area: bool) -> float | None:
        """A value in mm or mm2. None, with a note, when it is missing, not above zero, or of an unknown unit."""
        number = _number(_text(element, "Value_component"))
        unit = self.units.get(_text(element, "Unit_component"))
        factor = _PREFIX.get(_text(unit, "Si_prefix"), 0.0) if _text(unit, "Si_unit_name") == "metre" else 0.0
        made = number * (factor**2 if area else factor) if number is not None else 0.0
        if 0 < made <= (300 if area else 100_000):
            return made
        said = (
            "missing"
            if number is None
            else f"{number:g} {'in an unknown unit' if number and not factor else ''}".strip()
        )
        self.notes.append(f"{what} is {said}: no limit can be computed from it")
        return None

    def colour(self, id: str, part: Element | None) -> str:
        given = []
        for tag in ("Cover_colour", "Core_colour"):
            given += [_text(one, "Colour_value") for one in part.findall(tag)] if part is not None else []
        codes = [code for code in given if code][:2]
        try:
            paints = [parse_colour(code, self.colours) for code in codes]
        except ValueError:
            self.notes.append(
                f'wire {id}: colour "{"/".join(codes)}" is not in IEC 60757; map the file\'s code in a colour file'
            )
            return ""
        bases = list(dict.fromkeys(paint.base for paint in paints))
        return str(paints[0]) if len(bases) == 1 else "/".join(bases)


def _number(text: str) -> float | None:
    """A finite number, None if it is not one."""
    return float(text) if re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,2})?", text) else None
