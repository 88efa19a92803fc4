"""Conditions of steps: tables such as ``{ occupied = "D-13" }``, asked of the harness as found."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from tester.harness.cavity import is_connector_id, parse_cavity


def _cavity(given: Any) -> Any:
    if not isinstance(given, str):
        raise ValueError(f'found {given!r}; a cavity is text, such as "D-13"')
    return parse_cavity(given)


Cavity = Annotated[str, BeforeValidator(_cavity), Field(description='a cavity: connector and number, such as "D-13"')]


def _connector_id(given: Any) -> Any:
    text = str(given).strip().upper() if isinstance(given, str) else ""
    if not is_connector_id(text):
        raise ValueError(f'{given!r} is not a connector; a letter first, then letters, digits, "_", such as "D"')
    return text


ConnectorId = Annotated[str, BeforeValidator(_connector_id)]


class Strict(BaseModel):
    """Base of all plan tables: no unknown keys, no NaN or infinity, never changed after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, populate_by_name=True)


class Condition(Strict):
    """One question about the harness as found. Exactly one key; combine with `not`, `all`, `any`."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"occupied": "D-13"}]})

    occupied: Cavity | None = Field(None, description="a terminal sits in this cavity")
    joined: tuple[Cavity, ...] | None = Field(None, min_length=2, description="these cavities are one circuit")
    lone: Cavity | None = Field(None, description="the scan sees this cavity joined to nothing")
    side: str | None = Field(None, min_length=1, description="the job is on this side")
    eye: str | None = Field(None, min_length=1, max_length=300, description="a question for the eye, yes or no")
    not_: Condition | None = Field(None, alias="not", description="the opposite of a condition")
    all_: tuple[Condition, ...] | None = Field(None, alias="all", min_length=1, description="all of these hold")
    any_: tuple[Condition, ...] | None = Field(None, alias="any", min_length=1, description="one or more hold")

    @model_validator(mode="after")
    def _one_key(self) -> Condition:
        given = [name.rstrip("_") for name in Condition.model_fields if getattr(self, name) is not None]
        if len(given) != 1:
            found = " and ".join(given) or "nothing"
            raise ValueError(
                f"a condition holds exactly one of occupied, joined, lone, side, eye, not, all, any; found {found}"
                + ("; put several into all = [ {...}, {...} ]" if given else "")
            )
        return self

    def inner(self) -> tuple[Condition, ...]:
        """The conditions that this one combines."""
        return (self.not_,) if self.not_ is not None else (self.all_ or self.any_ or ())

    def leaves(self) -> Iterator[Condition]:
        """The single questions in it."""
        inner = self.inner()
        if not inner:
            yield self
        for one in inner:
            yield from one.leaves()

    def cavities(self) -> tuple[str, ...]:
        """Cavities that this question, not those inside it, names."""
        return self.joined or tuple(name for name in (self.occupied, self.lone) if name is not None)

    @property
    def words(self) -> str:
        """In words: ``D-13 is occupied``, ``not (D-5 and D-14 joined)``."""
        if self.occupied is not None:
            return f"{self.occupied} is occupied"
        if self.lone is not None:
            return f"{self.lone} is joined to nothing"
        if self.joined is not None:
            return f"{' and '.join(self.joined)} are joined"
        if self.side is not None:
            return f"the side is {self.side}"
        if self.eye is not None:
            return f'"{self.eye}" is yes'
        if self.not_ is not None:
            return _denied(self.not_)
        link = " and " if self.all_ is not None else " or "
        return link.join(f"({one.words})" if len(one.inner()) > 1 else one.words for one in self.inner())

    def value(self, ask: Callable[[Condition], bool | None]) -> bool | None:
        """True, False, or None while an answer is missing that would decide it. `ask` answers the leaves."""
        if self.not_ is not None:
            inner = self.not_.value(ask)
            return None if inner is None else not inner
        inner_values = [one.value(ask) for one in self.inner()]
        if self.all_ is not None:
            return False if False in inner_values else (None if None in inner_values else True)
        if self.any_ is not None:
            return True if True in inner_values else (None if None in inner_values else False)
        return ask(self)


def _denied(inner: Condition) -> str:
    if inner.occupied is not None:
        return f"{inner.occupied} is empty"
    if inner.lone is not None:
        return f"{inner.lone} is joined to something"
    if inner.joined is not None:
        return f"{' and '.join(inner.joined)} are not joined"
    if inner.side is not None:
        return f"the side is not {inner.side}"
    if inner.eye is not None:
        return f'"{inner.eye}" is no'
    return f"not ({inner.words})"
