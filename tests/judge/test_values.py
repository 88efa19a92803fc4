"""Values that rooms hand to each other cannot be changed by whoever gets them."""

import dataclasses
import importlib
import inspect

import pytest

ROOMS = [
    f"tester.judge.{name}"
    for name in ("branches", "compare", "diagnosis", "dropout", "explain", "facts", "faults", "limits", "parts")
] + ["tester.harness.netlist", "tester.harness.reading", "tester.harness.expected", "tester.harness.verdict"]


@pytest.mark.parametrize("room", ROOMS)
def test_a_value_refuses_to_be_changed(room):
    module = importlib.import_module(room)
    for _, cls in inspect.getmembers(module, dataclasses.is_dataclass):
        value = object.__new__(cls)
        for field in dataclasses.fields(cls):
            with pytest.raises(dataclasses.FrozenInstanceError):
                setattr(value, field.name, None)
