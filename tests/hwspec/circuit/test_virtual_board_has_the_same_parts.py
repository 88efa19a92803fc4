"""The virtual board has the values of the circuit and the diode models of the decks."""

import re

import pytest

from hwspec.circuit import cell, main
from hwspec.circuit.spice import MODELS
from hwspec.virtual import parts


def test_the_nominal_cell_is_the_cell_of_the_circuit() -> None:
    nominal = parts.Parts.nominal(64)
    one = nominal.cells[0]
    assert (one.series, one.pin_series, one.pull, one.sense) == (820.0, 100.0, 330e3, 10e3)
    assert (one.series, one.pull) == (cell.RS.number, cell.RPU.number)
    assert (nominal.reference, nominal.spare, nominal.spare_series) == (
        main.R_REF.number,
        main.R_CELL.number,
        main.R_CELL_DRIVE.number,
    )


@pytest.mark.parametrize(("model", "constants"), [("DCL", parts.CLAMP), ("DESD", parts.PIN_CLAMP)])
def test_clamps_have_the_model_of_the_decks(model: str, constants: tuple[float, float, float]) -> None:
    found = re.search(rf"\.model {model}\s+D\(IS=([\d.en-]+) N=([\d.]+) RS=([\d.]+)", MODELS)
    assert found is not None
    saturation = float(found[1].replace("n", "e-9")) if found[1].endswith("n") else float(found[1])
    assert constants == pytest.approx((saturation, float(found[2]) * 0.025864186, float(found[3])))
