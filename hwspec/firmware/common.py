"""Common commands of IEEE 488.2 and the SYSTem commands that SCPI asks for: text answers."""

from .board import Board
from .errors import ScpiError


class CommonCommands:
    """One method a command; what it returns is the answer, None for none."""

    def __init__(self, board: Board) -> None:
        self.board = board
        self.status = board.status

    def clear(self) -> None:
        """*CLS"""
        self.status.clear()

    def set_event_mask(self, mask: int) -> None:
        """*ESE"""
        self.status.event_mask = self._mask(mask)

    def event_mask(self) -> str:
        """*ESE?"""
        return "%d" % self.status.event_mask

    def events(self) -> str:
        """*ESR?"""
        return "%d" % self.status.read_events()

    def identity(self) -> str:
        """*IDN?"""
        return self.board.identity()

    def complete(self) -> None:
        """*OPC"""
        self.status.events |= 1

    def one(self) -> str:
        """*OPC?"""
        return "1"

    def reset(self) -> None:
        """*RST"""
        self.board.reset()

    def set_service_mask(self, mask: int) -> None:
        """*SRE"""
        self.status.service_mask = self._mask(mask)

    def service_mask(self) -> str:
        """*SRE?"""
        return "%d" % self.status.service_mask

    def status_byte(self) -> str:
        """*STB?"""
        return "%d" % self.status.byte(False)

    def self_test(self) -> str:
        """*TST?"""
        failed = self.board.self_test()
        if failed:
            self.status.report(ScpiError(-330, failed))
            return "1"
        return "0"

    def wait(self) -> None:
        """*WAI: commands run one after another anyway."""

    def error(self) -> str:
        """SYSTem:ERRor?"""
        return self.status.errors.pop()

    def error_count(self) -> str:
        """SYSTem:ERRor:COUNt?"""
        return "%d" % len(self.status.errors)

    def scpi_version(self) -> str:
        """SYSTem:VERSion?"""
        return "1999.0"

    def _mask(self, mask: int) -> int:
        if not 0 <= mask <= 255:
            raise ScpiError(-222, "%d: not 0 to 255" % mask)
        return mask
