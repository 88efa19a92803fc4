"""Electrical faults: things that firmware must never do. The chip models raise them where they happen."""

from __future__ import annotations


class ElectricalFault(BaseException):
    """Base of all electrical faults. Not an `Exception`, so that firmware that catches everything cannot hide one.

    `at_us` is the virtual time, microseconds since power-on.
    """

    def __init__(self, message: str, at_us: float = 0.0) -> None:
        super().__init__(message)
        self.message = message
        self.at_us = at_us

    def __str__(self) -> str:
        return f"{type(self).__name__}: {self.message} (at {self.at_us:.0f} us)"


class DriversFighting(ElectricalFault):
    """Two pins drive one circuit high and low for longer than a transaction or two."""


class PinOverCurrent(ElectricalFault):
    """More current in a driving pin than a point may ever carry."""


class TwoMuxChannels(ElectricalFault):
    """Two multiplexer channels are on at once on one bus (S+, S- or force, all cards together)."""


class DrivenWhileLive(ElectricalFault):
    """A pin drives into a circuit on which something outside holds a voltage."""


class AddressModeUnset(ElectricalFault):
    """An expander was used before IOCON.HAEN was set: every chip on that chip select answers."""


class NotModelled(ElectricalFault):
    """Firmware used something that these models do not have (README.md, "What is not modelled")."""
