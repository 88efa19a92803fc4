"""Which serial ports are here, and who holds them. Listing opens nothing; asking opens one port at a time."""

from __future__ import annotations

from dataclasses import dataclass, field

from tester.board.client import Board, BoardInfo
from tester.board.holders import holders
from tester.errors import BoardError

USB_IDS = {(0x2E8A, 0x0005): "MicroPython on RP2040"}  # the identity of MicroPython's own USB port for this chip


@dataclass(frozen=True)
class PortInfo:
    """One port. `usb`: vendor and product number, None where it is no USB port. `holders`: "pid name" of users."""

    path: str
    description: str
    usb: tuple[int, int] | None = None
    usb_serial: str = ""
    likely: bool = False
    holders: tuple[str, ...] = field(default=())


@dataclass(frozen=True)
class PortAnswer:
    """What asking a port gave: who answered, or why nobody did."""

    port: PortInfo
    info: BoardInfo | None
    error: BoardError | None = None


def list_ports() -> list[PortInfo]:
    """Every serial port of this machine, boards first. Opens none."""
    from serial.tools import list_ports as finder

    found = []
    for port in finder.comports():
        usb = (port.vid, port.pid) if port.vid is not None and port.pid is not None else None
        found.append(
            PortInfo(
                path=port.device,
                description=port.description if port.description not in ("n/a", None) else "",
                usb=usb,
                usb_serial=port.serial_number or "",
                likely=usb in USB_IDS,
                holders=holders(port.device),
            )
        )
    return sorted(found, key=lambda port: (not port.likely, port.usb is None, port.path))


def ask_port(port: PortInfo) -> PortAnswer:
    """Open the port and ask who is there. Only for ports that a person chose or that look like a board."""
    try:
        with Board.open(port.path) as board:
            return PortAnswer(port, board.info)
    except BoardError as error:
        return PortAnswer(port, None, error)
