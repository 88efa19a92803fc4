"""Plan files: the only definition of what a plan may say. Steps and conditions have modules of their own."""

from __future__ import annotations

from functools import cached_property
from typing import Any, Literal

from pydantic import ConfigDict, Field, model_validator

from tester.harness.cavity import cavity
from tester.harness.colours import Colour, parse_colour
from tester.harness.connectors import Face, make_face
from tester.harness.copper import awg_mm2
from tester.plan.conditions import Cavity, Condition, ConnectorId, Strict
from tester.plan.steps import Name, Step, Text

Check = Literal["continuity", "isolation", "resistance", "direction", "dropout"]
NOT_DECLARED = "not declared"


class Connector(Strict):
    """A connector of the harness, a ring terminal, or a loose plug of the kit."""

    id: ConnectorId = Field(description='short name, such as "D" for cavities D-1, D-2')
    title: Text = Field("", description="what people call it")
    kind: Literal["housing", "ring", "loose", "splice"] = Field(
        "housing", description="a ring or loose end may have leads of its own; a buried splice has none"
    )
    cavities: int | None = Field(None, ge=1, le=1000, description="how many cavities, numbered from 1")
    numbers: tuple[int, ...] = Field((), description="the cavity numbers, if they are not 1, 2, 3 ...")
    rows: tuple[str, ...] = Field((), description='rows of the face, such as "1-9", "10-17 . 18"; a dot is a gap')
    drawn: Literal["wire", "mating"] = Field("wire", description="side from which the rows are drawn")
    moulded: tuple[int, ...] = Field((), description="cavity numbers that can be read on the plastic")
    lock: Text = Field("", description="its lock, in words")
    sealed: bool = Field(False, description="a sealed housing: empty cavities need a plug")
    test: bool | None = Field(None, description="all its cavities must be on a lead; true for housings if left out")
    note: Text = ""

    @model_validator(mode="after")
    def _numbering(self) -> Connector:
        if (self.cavities is None) == (not self.numbers):
            raise ValueError("give cavities = HOW MANY, or numbers = [ ... ] (one of the two)")
        if any(n < 0 or n > 9999 for n in self.numbers) or len(set(self.numbers)) != len(self.numbers):
            raise ValueError("numbers holds each cavity number once, 0 to 9999")
        make_face(self.rows, self.all_numbers, self.drawn)
        strange = [n for n in self.moulded if n not in self.all_numbers]
        if strange:
            raise ValueError(f"moulded names cavity {strange[0]}, which this connector does not have")
        return self

    @property
    def all_numbers(self) -> tuple[int, ...]:
        """Its cavity numbers, ascending."""
        return tuple(sorted(self.numbers)) or tuple(range(1, (self.cavities or 0) + 1))

    @property
    def names(self) -> tuple[str, ...]:
        """Its cavities by name."""
        return tuple(cavity(self.id, n) for n in self.all_numbers)

    @property
    def tested(self) -> bool:
        """True when every cavity of it must be on a lead."""
        return self.kind == "housing" if self.test is None else self.test

    @property
    def face(self) -> Face:
        """Its face as drawn."""
        return make_face(self.rows, self.all_numbers, self.drawn)

    @property
    def face_names(self) -> tuple[tuple[str, ...], ...]:
        """Its face as rows of cavity names, "" for a gap."""
        return tuple(tuple("" if n is None else cavity(self.id, n) for n in row) for row in self.face.rows)


class End(Strict):
    """One end of a kit wire: exactly one of cavity, splice, ring, lead."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"cavity": "D-5"}]})

    cavity: Cavity | None = Field(None, description="cavity that its terminal goes into")
    splice: Name | None = Field(None, description="splice that it goes into")
    ring: Name | None = Field(None, description='ring terminal; a cavity such as "G-1" if a lead reaches it')
    lead: Name | None = Field(None, description='a named loose lead; a cavity such as "K-3" if a lead reaches it')
    fitted: bool = Field(False, description="comes already in that cavity: no step inserts it")
    terminal: Text = Field("", description="terminal and its seal, for the sheet")
    strip_mm: float | None = Field(None, gt=0, le=100, description="length to strip, mm")
    crimp: Text = Field("", description="crimp data, for the sheet")

    @model_validator(mode="after")
    def _one_place(self) -> End:
        given = [key for key in ("cavity", "splice", "ring", "lead") if getattr(self, key) is not None]
        if len(given) != 1:
            found = " and ".join(given) or "nothing"
            raise ValueError(f"an end has exactly one of cavity, splice, ring, lead; found {found}")
        if self.fitted and self.cavity is None:
            raise ValueError("fitted is for an end with a cavity; rings and leads always come fitted")
        return self

    @property
    def loose(self) -> bool:
        """True when a step puts it somewhere."""
        return (self.cavity is not None and not self.fitted) or self.splice is not None

    @property
    def words(self) -> str:
        """Such as ``cavity D-5``, ``splice S1``."""
        if self.cavity is not None:
            return f"cavity {self.cavity}"
        if self.splice is not None:
            return f"splice {self.splice}"
        return f"ring {self.ring}" if self.ring is not None else f"lead {self.lead}"


class Wire(Strict):
    """A pre-terminated wire of the kit."""

    id: Name
    colour: Text = Field("", description='IEC 60757 letters of the base colour, or base/stripe such as "BU/RD"')
    size_mm2: float | None = Field(None, gt=0, le=300, description="cross-section, mm2")
    awg: int | None = Field(None, ge=0, le=40, description="size by AWG, instead of size_mm2")
    length_mm: float | None = Field(None, gt=0, le=100_000, description="length, mm")
    a: End = Field(description="one end")
    b: End = Field(description="other end")
    amperes: float | None = Field(None, gt=0, le=1000, description="load current, A")
    fuse_a: float | None = Field(None, gt=0, le=1000, description="fuse that protects it, A")
    insulation_c: int = Field(105, ge=60, le=250, description="temperature rating of its insulation, degrees C")
    note: Text = ""

    @model_validator(mode="after")
    def _sense(self) -> Wire:
        if self.colour:
            parse_colour(self.colour)
        if self.size_mm2 is not None and self.awg is not None:
            raise ValueError("give size_mm2 or awg, not both")
        return self

    @property
    def mm2(self) -> float | None:
        """Cross-section, mm2, from either way of saying it."""
        return awg_mm2(self.awg) if self.awg is not None else self.size_mm2

    @property
    def length_m(self) -> float | None:
        """Length in metres."""
        return self.length_mm / 1000 if self.length_mm is not None else None

    @property
    def paint(self) -> Colour:
        """Its colour, base and stripe apart; without letters and words when the plan does not say."""
        return parse_colour(self.colour) if self.colour else Colour("")

    @property
    def look(self) -> str:
        """Such as ``BU/RD blue with a red stripe, 0.5 mm2``; "" when nothing is known."""
        size = f"AWG {self.awg}" if self.awg is not None else (f"{self.size_mm2:g} mm2" if self.size_mm2 else "")
        paint = f"{self.colour} {self.paint.words}".strip()
        return ", ".join(part for part in (paint, size) if part)

    def end(self, which: str) -> End:
        """Its end "a" or "b"."""
        return self.a if which == "a" else self.b


class Hazards(Strict):
    """Restraint (air bag, pretensioner) and high-voltage (orange) cavities, or "none" with where that was checked."""

    restraint: tuple[Cavity, ...] | Literal["none", "not declared"] = "not declared"
    high_voltage: tuple[Cavity, ...] | Literal["none", "not declared"] = "not declared"
    checked: Text = Field("", description="where it was checked: manual, page, date")

    @property
    def undeclared(self) -> tuple[str, ...]:
        """Which of the two nobody has declared, or "checked" when none was looked up anywhere."""
        open_ones = [key for key in ("restraint", "high_voltage") if getattr(self, key) == NOT_DECLARED]
        said_none = any(given in ("none", ()) for given in (self.restraint, self.high_voltage))
        return tuple(open_ones) or (("checked",) if said_none and not self.checked.strip() else ())

    @property
    def cavities(self) -> dict[str, str]:
        """Declared cavity -> "restraint" or "high voltage"."""
        found: dict[str, str] = {}
        for words, given in (("restraint", self.restraint), ("high voltage", self.high_voltage)):
            found |= dict.fromkeys(given, words) if isinstance(given, tuple) else {}
        return found


class Fact(Strict):
    """Something known of the untouched harness; odd if as found says otherwise."""

    that: Condition
    note: Text = Field("", description="what it means if it is not so")


class Limit(Strict):
    """A limit of its own for one circuit or wire."""

    wire: Name | None = None
    between: tuple[Cavity, Cavity] | None = None
    ohms: float = Field(gt=0, le=1e6, description="highest acceptable resistance, ohm")
    why: Text = ""

    @model_validator(mode="after")
    def _one(self) -> Limit:
        if (self.wire is None) == (self.between is None):
            raise ValueError('a limit is for wire = "W1" or between = ["D-1", "H-1"] (one of the two)')
        return self


class Limits(Strict):
    """Numbers that differ from the defaults."""

    celsius: float | None = Field(None, ge=-40, le=125, description="bench temperature, degrees C")
    table: Literal["IEC 60228 class 5", "IEC 60228 class 5 tinned", "ISO 6722-1"] | None = None
    contact_ohms: float | None = Field(None, ge=0, le=10, description="allowance for one mated contact, ohm")
    joint_ohms: float | None = Field(None, ge=0, le=10, description="allowance for one crimp or splice, ohm")
    isolation_ohms: float | None = Field(None, gt=0, le=1e9, description="lowest acceptable isolation, ohm")
    dropout_ms: float | None = Field(None, gt=0, le=1000, description="longest acceptable dropout, ms")
    wiggle_s: float | None = Field(None, gt=0, le=3600, description="how long to wiggle, seconds")


class Advice(Strict):
    """Rule for the voltage drop advice. Advice, never a verdict."""

    volts: float = Field(12.0, gt=0, le=60, description="supply, V")
    drop_percent: float = Field(10.0, gt=0, le=50, description="allowed drop, percent of the supply")
    return_path: bool = Field(True, description="count the way back to ground as long as the way out")
    celsius: float = Field(20.0, ge=-40, le=125, description="conductor temperature, degrees C")
    engine_space: bool = False


class Side(Strict):
    """One side of the vehicle. `cavities`: cavity as the plan writes it = cavity on this side."""

    cavities: dict[Cavity, Cavity] = Field({}, description="only those that differ")
    note: Text = Field("", description="what else differs, in words")


class Function(Strict):
    """Something to try once everything is installed."""

    id: Name
    do: Text = Field(min_length=1, description="what to do")
    see: Text = Field(min_length=1, description="what must happen")


class Part(Strict):
    """A part between two circuits of the reference harness."""

    a: Cavity
    b: Cavity
    ohms_ab: float | None = Field(None, ge=0, description="ohm with a positive; left out where nothing conducts")
    ohms_ba: float | None = Field(None, ge=0, description="ohm with b positive")
    drop_v: float | None = Field(None, ge=0, le=60)


class Reference(Strict):
    """Full netlist that the finished harness must have, from a reference harness."""

    circuits: tuple[tuple[Cavity, ...], ...] = Field((), description="circuits of two cavities or more")
    lone: tuple[Cavity, ...] = Field((), description="cavities joined to nothing")
    directed: tuple[tuple[Cavity, Cavity], ...] = Field((), description="[a, b]: b answers to a, not a to b")
    unsteady: tuple[tuple[Cavity, Cavity], ...] = Field((), description="pairs that would not hold still")
    part: tuple[Part, ...] = ()
    grade: Literal["", "scan", "wire"] = Field(
        "", description="of the reference scan: scan (no converter: parts may read as wire) or wire; empty: not known"
    )
    note: Text = ""


class Plan(Strict):
    """What is done to a harness, and how it is proved."""

    format: Literal[1] = Field(description="version of this file format, always 1")
    id: Name = Field(description="short name, such as hatch-lamp")
    revision: Name = Field(description="revision, as text")
    title: Text = ""
    vehicle: Text = Field("", description="what it fits")
    note: Text = ""
    checks: tuple[Check, ...] = Field(("continuity", "isolation"), min_length=1, description="required for PASS")
    prove_leads: bool = Field(True, description="each lead must be seen joined or touched before PASS")
    hazards: Hazards = Hazards()
    sides: dict[str, Side] = Field({}, description="sides of the vehicle; left out if there is only one")
    connector: tuple[Connector, ...] = Field(min_length=1)
    wire: tuple[Wire, ...] = Field((), description="wires of the kit")
    fact: tuple[Fact, ...] = Field((), description="facts about the untouched harness")
    step: tuple[Step, ...] = Field((), description="steps, in order")
    limits: Limits = Limits()
    limit: tuple[Limit, ...] = ()
    advice: Advice = Advice()
    function: tuple[Function, ...] = Field((), description="checks after installing")
    expected: Reference | None = None

    @model_validator(mode="before")
    @classmethod
    def _number_steps(cls, data: Any) -> Any:
        steps = data.get("step") if isinstance(data, dict) else None
        if isinstance(steps, list | tuple) and all(isinstance(step, dict) for step in steps):
            numbered = [{"id": str(n)} | step for n, step in enumerate(steps, 1)]
            return data | {"step": numbered}
        return data

    @cached_property
    def cavities(self) -> tuple[str, ...]:
        """All cavities of all connectors."""
        return tuple(name for one in self.connector for name in one.names)

    @cached_property
    def required(self) -> frozenset[str]:
        """Cavities that must be on a lead for a PASS: those of tested connectors, without declared hazards."""
        tested = {name for one in self.connector if one.tested for name in one.names}
        return frozenset(tested - set(self.hazards.cavities))

    def wire_of(self, id: str) -> Wire:
        """The kit wire of that id. KeyError when there is none."""
        return self._wires[id]

    @cached_property
    def _wires(self) -> dict[str, Wire]:
        return {wire.id: wire for wire in self.wire}
