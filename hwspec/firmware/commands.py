"""Runs program message units: header and parameters to a method, its result to an answer."""

from .block import Reply, unit_crc
from .board import Board
from .common import CommonCommands
from .errors import MISTAKES, ScpiError
from .guard import PAUSED
from .installer import nothing
from .parser import Headers, channel_list, integer, split_unit, text
from .products import Products
from .table import COMMANDS

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable


SEQ_MAX = 65535


def arguments(signature: str, raw: "list[bytes]", breathe: "Callable[[], None]" = nothing) -> "list[object]":
    """Parameters by signature (see table.py).

    Raises -109 when one is missing, -108 when there are too many.
    """
    least = signature.find("|")
    kinds = signature.replace("|", "")
    repeat = kinds.endswith("*")
    kinds = kinds.rstrip("*")
    if len(raw) < (len(kinds) if least < 0 else least):
        raise ScpiError(-109)
    if len(raw) > len(kinds) and not repeat:
        raise ScpiError(-108)
    values: list[object] = []
    for i in range(len(raw)):
        breathe()
        kind = kinds[i] if i < len(kinds) else kinds[-1]
        if kind == "i":
            values.append(integer(raw[i]))
        elif kind == "c":
            values.append(channel_list(raw[i], breathe))
        else:
            values.append(text(raw[i]))
    return values


class Commands:
    """Executes program message units on a board. The pump goes on in between the pieces of that work.

    `failed`: the newest unit was a product query that answered E.
    """

    def __init__(self, board: Board, reply: Reply) -> None:
        self.board = board
        self.reply = reply
        self.common = CommonCommands(board)
        self.products = Products(board, self.reply)
        self.headers = Headers([command[0] for command in COMMANDS])
        self.failed = False

    def execute(self, unit: bytes, branch: str) -> "tuple[object, str]":
        """Run one unit: its answer (text, block or None) and the branch for the next unit.

        Raises ScpiError where no answer can be given; a product query that fails answers with an E block instead.
        """
        breathe = self.board.breathe
        self.failed = False
        header, raw = split_unit(unit, breathe)
        breathe()
        found, branch = self.headers.find(header, branch)
        breathe()
        _, kind, signature, method, needs = COMMANDS[found]
        if kind:
            return self._product(kind, signature, method, needs, unit, raw), branch
        return getattr(self.common, method)(*arguments(signature, raw, breathe)), branch

    def _check(self, needs: str) -> None:
        """Raises -221 when something that a query needs is not there."""
        board = self.board
        if "A" in needs and not board.full:
            raise ScpiError(-221, "this board cannot measure")
        if "L" in needs and not board.guard.held:
            raise ScpiError(-221, "no lease")
        if "X" in needs and board.watch.running:
            raise ScpiError(-221, "watch is running")
        if "U" in needs and not board.root:
            raise ScpiError(-221, "this board cannot be updated")
        if "U" in needs and board.guard.held:
            raise ScpiError(-221, "give the lease back first")

    def _product(
        self, kind: str, signature: str, method: str, needs: str, unit: bytes, raw: "list[bytes]"
    ) -> memoryview:
        board = self.board
        if not raw:
            raise ScpiError(-109, "sequence number")
        seq = integer(raw[0])
        if not 0 <= seq <= SEQ_MAX:
            raise ScpiError(-222, "sequence number")
        self.reply.start()
        try:
            values = arguments(signature, raw[1:], board.breathe)
            board.breathe()
            board.service()  # the reply before this one in the line may have taken longer than the lease
            self._check(needs)
            lapses = board.guard.lapses
            getattr(self.products, method)(*values)
            if "L" in needs:
                if "X" in needs and board.guard.lapses != lapses:
                    board.watch.stop()
                    board.driver.release()
                    raise ScpiError(-240, PAUSED)
                board.guard.renew()
        except ScpiError as error:
            kind = self._failed(error)
        except MISTAKES as error:
            board.off()
            kind = self._failed(ScpiError(-310, type(error).__name__))
        board.breathe()
        crc = unit_crc(board.nonce, unit)
        return self.reply.finish(ord(kind), seq, crc, board.guard.milliseconds(), board.state_bits())

    def _failed(self, error: ScpiError) -> str:
        self.failed = True
        self.board.status.report(error)
        self.reply.start()
        self.reply.i16(error.number)
        self.reply.raw(error.text().encode())
        return "E"
