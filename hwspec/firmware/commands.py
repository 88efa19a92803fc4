"""Every command: its header, its parameters, what it does. hwspec/protocol.md is the page to this module."""

from .block import Reply, unit_crc
from .board import Board
from .errors import ScpiError
from .parser import Headers, channel_list, integer, split_unit, text
from .products import Product, Products

SEQ_MAX = 65535


def arguments(signature: str, raw: "list[bytes]") -> "list[object]":
    """Parameters by signature: i whole number, c channel list, s string; after '|' optional; '*' repeats the last.

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
        kind = kinds[i] if i < len(kinds) else kinds[-1]
        if kind == "i":
            values.append(integer(raw[i]))
        elif kind == "c":
            values.append(channel_list(raw[i]))
        else:
            values.append(text(raw[i]))
    return values


class Commands:
    """Executes program message units on a board."""

    def __init__(self, board: Board) -> None:
        self.board = board
        self.reply = Reply()
        self.headers = Headers()
        self._add_common()
        self._add_products()

    def _add_common(self) -> None:
        status = self.board.status
        for notation, signature, function in (
            ("*CLS", "", status.clear),
            ("*ESE", "i", self._set_event_mask),
            ("*ESE?", "", lambda: "%d" % status.event_mask),
            ("*ESR?", "", lambda: "%d" % status.read_events()),
            ("*IDN?", "", self.board.identity),
            ("*OPC", "", self._operation_complete),
            ("*OPC?", "", lambda: "1"),
            ("*RST", "", self.board.reset),
            ("*SRE", "i", self._set_service_mask),
            ("*SRE?", "", lambda: "%d" % status.service_mask),
            ("*STB?", "", lambda: "%d" % status.byte(False)),
            ("*TST?", "", self._self_test),
            ("*WAI", "", lambda: None),
            ("SYSTem:ERRor[:NEXT]?", "", status.errors.pop),
            ("SYSTem:ERRor:COUNt?", "", lambda: "%d" % len(status.errors)),
            ("SYSTem:VERSion?", "", lambda: "1999.0"),
        ):
            self.headers.add(notation, (signature, function))

    def _add_products(self) -> None:
        for product in Products(self.board, self.reply).table():
            self.headers.add(product.notation, product)

    def execute(self, unit: bytes, branch: str) -> "tuple[object, str]":
        """Run one unit: its answer (text, block or None) and the branch for the next unit.

        Raises ScpiError where no answer can be given; a product query that fails answers with an E block instead.
        """
        header, raw = split_unit(unit)
        found, branch = self.headers.find(header, branch)
        if isinstance(found, Product):
            return self._product(found, unit, raw), branch
        return self._common(found, raw), branch

    def _common(self, found: object, raw: "list[bytes]") -> object:
        signature, function = found  # type: ignore[misc]
        return function(*arguments(signature, raw))  # type: ignore[has-type]

    def _product(self, product: Product, unit: bytes, raw: "list[bytes]") -> memoryview:
        board = self.board
        reply = self.reply
        if not raw:
            raise ScpiError(-109, "sequence number")
        seq = integer(raw[0])
        if not 0 <= seq <= SEQ_MAX:
            raise ScpiError(-222, "sequence number")
        kind = product.kind
        reply.start()
        try:
            values = arguments(product.signature, raw[1:])
            product.check(board)
            product.function(*values)  # type: ignore[operator]
            if product.lease:
                board.guard.renew()
        except ScpiError as error:
            kind = self._failed(error)
        except (ArithmeticError, AttributeError, LookupError, MemoryError, TypeError, ValueError, OSError) as error:
            board.off()
            kind = self._failed(ScpiError(-310, type(error).__name__))
        crc = unit_crc(board.nonce, unit)
        return reply.finish(kind, seq, crc, board.guard.milliseconds(), board.state_bits())

    def _failed(self, error: ScpiError) -> int:
        self.board.status.report(error)
        self.reply.start()
        self.reply.i16(error.number)
        self.reply.raw(error.text().encode())
        return 0x45

    def _set_event_mask(self, mask: int) -> None:
        self.board.status.event_mask = self._mask(mask)

    def _set_service_mask(self, mask: int) -> None:
        self.board.status.service_mask = self._mask(mask)

    def _mask(self, mask: int) -> int:
        if not 0 <= mask <= 255:
            raise ScpiError(-222, "%d: not 0 to 255" % mask)
        return mask

    def _operation_complete(self) -> None:
        self.board.status.events |= 1

    def _self_test(self) -> str:
        failed = self.board.self_test()
        if failed:
            self.board.status.report(ScpiError(-330, failed))
            return "1"
        return "0"
