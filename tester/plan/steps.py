"""Steps of a plan: what the person does with the harness, one model a kind."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from tester.plan.conditions import Cavity, Condition, ConnectorId, Strict

Name = Annotated[str, Field(min_length=1, max_length=80, pattern=r"^[^\x00-\x1f\x7f]+$")]
Text = Annotated[str, Field(max_length=2000, pattern=r"^[^\x00-\x08\x0b-\x1f\x7f]*$")]
Which = Literal["a", "b"]
Groups = tuple[tuple[Cavity, ...], ...]


class _Step(Strict):
    id: Name = Field(description="name of the step, unique in the plan; its number in the file if left out")
    when: Condition | None = Field(None, description="do it only if this holds of the harness as found")
    note: Text = Field("", description="a hint for the person")
    caution: Text = Field("", description="a warning shown before the step")
    photo: bool = Field(False, description="a photo is wanted")


class Unlock(_Step):
    """Open the lock of a connector, so that terminals can come out."""

    do: Literal["unlock"]
    connector: ConnectorId = Field(description="connector whose housing is opened")


class Lock(_Step):
    """Close the lock of a connector."""

    do: Literal["lock"]
    connector: ConnectorId = Field(description="connector whose housing is closed")


class Remove(_Step):
    """Pull a terminal out of its cavity."""

    do: Literal["remove"]
    cavity: Cavity = Field(description="cavity that the terminal comes out of")
    lead: Name | None = Field(None, description="name for the lead that came out, if later steps use it")
    junction: bool | None = Field(
        None, description="true: two wires share this terminal, so the rest of its circuit falls apart; false: not"
    )
    groups: Groups = Field((), description="what the rest of the circuit falls apart into, if known")


class Move(_Step):
    """Pull a terminal out and put it into another cavity."""

    do: Literal["move"]
    from_: Cavity = Field(alias="from", description="cavity that it sits in")
    to: Cavity = Field(description="cavity that it goes into")


class Insert(_Step):
    """Push a terminal of a kit wire, or of a lead named before, into a cavity."""

    do: Literal["insert"]
    wire: Name | None = Field(None, description="kit wire")
    end: Which | None = Field(None, description="which end of the wire, a or b")
    lead: Name | None = Field(None, description="lead that an earlier step named, instead of a wire")
    cavity: Cavity | None = Field(None, description="cavity; the one that the wire's end names if left out")

    @model_validator(mode="after")
    def _what(self) -> Insert:
        _one_end(self.wire, self.end, self.lead)
        return self


class Tug(_Step):
    """Pull lightly at an inserted terminal: it must hold."""

    do: Literal["tug"]
    cavity: Cavity


class Cut(_Step):
    """Cut the wire close behind a cavity."""

    do: Literal["cut"]
    cavity: Cavity = Field(description="cavity behind which the wire is cut")
    stub: Name | None = Field(None, description="name for the end that stays with the cavity, if used later")
    lead: Name | None = Field(None, description="name for the other end, if used later")
    junction: bool | None = Field(None, description="true: two wires share this terminal and one is cut; false: one")
    groups: Groups = Field((), description="what the circuit falls apart into, if known")


class Splice(_Step):
    """Join kit wires whose end names this splice, named leads and existing wires."""

    do: Literal["splice"]
    splice: Name = Field(description="name of the splice, as in the ends of the kit wires")
    ways: int | None = Field(None, ge=2, le=20, description="how many leads it must join")
    leads: tuple[Name, ...] = Field((), description="leads that earlier steps named")
    taps: tuple[Cavity, ...] = Field((), description="existing wires, each named by a cavity of its circuit")


class SealOff(_Step):
    """Cap a lead that this variant does not need, so that it touches nothing."""

    do: Literal["seal-off"]
    wire: Name | None = None
    end: Which | None = Field(None, description="which end; both loose ends if left out")
    lead: Name | None = None

    @model_validator(mode="after")
    def _what(self) -> SealOff:
        _one_end(self.wire, self.end, self.lead, whole=True)
        return self


class TapeBack(_Step):
    """Tape a lead back along the bundle."""

    do: Literal["tape-back"]
    wire: Name | None = None
    end: Which | None = Field(None, description="which end; both loose ends if left out")
    lead: Name | None = None

    @model_validator(mode="after")
    def _what(self) -> TapeBack:
        _one_end(self.wire, self.end, self.lead, whole=True)
        return self


class Plug(_Step):
    """Close an empty cavity of a sealed housing with a blanking plug."""

    do: Literal["plug"]
    cavity: Cavity


class Route(_Step):
    """Lay a wire or the bundle; only eyes see it."""

    do: Literal["route"]
    wire: Name | None = None
    way: Text = Field(description="where it runs")


class Look(_Step):
    """Look at something and confirm it."""

    do: Literal["look"]
    see: Text = Field(min_length=1, description="what must be seen")
    cavity: Cavity | None = None


def _one_end(wire: str | None, end: str | None, lead: str | None, whole: bool = False) -> None:
    if (wire is None) == (lead is None):
        raise ValueError('say what: wire = "W1" with end = "a" or "b", or lead = "..." (one of the two)')
    if wire is not None and end is None and not whole:
        raise ValueError(f'which end of wire {wire}? add end = "a" or end = "b"')
    if lead is not None and end is not None:
        raise ValueError("a lead has one end only; leave out end")


Step = Annotated[
    Unlock | Remove | Move | Insert | Tug | Cut | Splice | SealOff | TapeBack | Plug | Route | Lock | Look,
    Field(discriminator="do"),
]
AnyStep = Unlock | Remove | Move | Insert | Tug | Cut | Splice | SealOff | TapeBack | Plug | Route | Lock | Look


def cavities_of(step: AnyStep) -> tuple[str, ...]:
    """Cavities that a step names itself (an insert without `cavity` names none)."""
    if isinstance(step, Move):
        return (step.from_, step.to)
    if isinstance(step, Splice):
        return step.taps
    if isinstance(step, Unlock | Lock | SealOff | TapeBack | Route):
        return ()
    return (step.cavity,) if step.cavity is not None else ()
