"""Wire colours by IEC 60757, base and stripe apart; a shop's own code comes from a file of its own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pydantic import BaseModel, ConfigDict, Field

from tester.harness.tables import checked, near, read_toml

# IEC 60757, in table order: two colours on one item are written in this order.
NAMES = {
    "BK": "black", "BN": "brown", "RD": "red", "OG": "orange", "YE": "yellow", "GN": "green", "BU": "blue",
    "VT": "violet", "GY": "grey", "WH": "white", "PK": "pink", "GD": "gold", "TQ": "turquoise", "SR": "silver",
}  # fmt: skip
GREEN_YELLOW = "GNYE"
_ORDER = {code: place for place, code in enumerate(NAMES)}


@dataclass(frozen=True)
class Colour:
    """Colour of one wire: `base` and, if it has one, `stripe`, as IEC 60757 letters; "" when not known."""

    base: str
    stripe: str = ""

    def __str__(self) -> str:
        """Letters with the stripe after a slash, such as ``BU/RD``: IEC 60757 itself loses which is the stripe."""
        return f"{self.base}/{self.stripe}" if self.stripe else self.base

    @property
    def iec(self) -> str:
        """IEC 60757 letters in table order, such as ``RDBU``; green-and-yellow is always ``GNYE``."""
        if {self.base, self.stripe} == {"GN", "YE"}:
            return GREEN_YELLOW
        return "".join(sorted(filter(None, (self.base, self.stripe)), key=_ORDER.__getitem__))

    @property
    def words(self) -> str:
        """Such as ``blue with a red stripe``."""
        if self.iec == GREEN_YELLOW:
            return "green and yellow"
        return NAMES.get(self.base, "") + (f" with a {NAMES[self.stripe]} stripe" if self.stripe else "")


def parse_colour(text: str, house: Mapping[str, Colour] | None = None) -> Colour:
    """Colour of one wire as written: ``BU``, ``BU/RD`` (base/stripe), ``RDBU``, ``GNYE``, a name, or a house code.

    ``RDBU`` does not say which is the stripe; the first is taken as base. Raises ValueError.
    """
    given = text.strip()
    if house and given.lower() in house:
        return house[given.lower()]
    code = given.upper()
    by_name = {name.upper(): code for code, name in NAMES.items()} | {"GRAY": "GY"}
    code = by_name.get(code, code)
    parts = [by_name.get(part.strip(), part.strip()) for part in code.split("/")]
    if len(parts) == 1 and len(code) == 4:
        parts = [code[:2], code[2:]]
    if len(parts) > 2 or any(part not in NAMES for part in parts) or len(set(parts)) != len(parts):
        hint = near(given.upper(), NAMES) or f"; one of {', '.join(NAMES)}, or base/stripe such as BU/RD"
        raise ValueError(f'"{text}" is not a colour by IEC 60757{hint}')
    return Colour(*parts)


def parse_cores(text: str) -> list[Colour]:
    """Colours of several items, such as ``BK+BK+BN+BU+GNYE``. Raises ValueError."""
    return [parse_colour(part) for part in text.split("+")]


class _HouseFile(BaseModel):
    model_config = ConfigDict(extra="forbid")

    format: int = Field(1, ge=1, le=1)
    colours: dict[str, str]


def load_house_colours(data: bytes | str, name: str) -> dict[str, Colour]:
    """A shop's or maker's colour code, lower case -> colour, from a file such as ``[colours]`` / ``sw = "BK"``."""
    from tester.errors import InputError
    from tester.harness.tables import where

    tables, text = read_toml(data, name)
    file = checked(_HouseFile, tables, name, text)
    found: dict[str, Colour] = {}
    for key, given in file.colours.items():
        try:
            found[key.strip().lower()] = parse_colour(given)
        except ValueError as wrong:
            raise InputError(f"{where(name, text, ('colours', key), tables)}: {wrong}") from None
    return found
