"""Request lines to program message units: headers in short and long form, parameters, channel lists."""

from .errors import ScpiError
from .installer import nothing

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable

CHANNELS_MAX = 256
NUMBER_MOST = 0xFFFFFFFF
_DIGITS_MOST = 66
_PIECE = 31

_SPACE = b" \t"
_DIGITS = "0123456789"


def split_line(line: bytes, mark: int, breathe: "Callable[[], None]" = nothing) -> "list[bytes]":
    """Cut at `mark` (a byte such as 0x3B) outside strings and parentheses; pieces lose outer blanks.

    `breathe` is called every few bytes, here and below: a long line takes a while.
    Raises -102 for a string and -171 for a parenthesis that is not closed.
    """
    pieces = []
    start = 0
    depth = 0
    quote = 0
    for i in range(len(line)):
        byte = line[i]
        if not i & _PIECE:
            breathe()
        if quote:
            if byte == quote:
                quote = 0
        elif byte == 0x22 or byte == 0x27:
            quote = byte
        elif byte == 0x28:
            depth += 1
        elif byte == 0x29:
            depth -= 1
            if depth < 0:
                raise ScpiError(-171, "')' without '('")
        elif byte == mark and depth == 0:
            pieces.append(line[start:i].strip(_SPACE))
            start = i + 1
    if quote:
        raise ScpiError(-102, "string not closed")
    if depth:
        raise ScpiError(-171, "'(' not closed")
    pieces.append(line[start:].strip(_SPACE))
    return pieces


def split_unit(unit: bytes, breathe: "Callable[[], None]" = nothing) -> "tuple[str, list[bytes]]":
    """Header (upper case, as sent) and raw parameters of one unit."""
    end = len(unit)
    for i in range(len(unit)):
        byte = unit[i]
        if not i & _PIECE:
            breathe()
        if not 0x20 <= byte < 0x7F and byte != 9:
            raise ScpiError(-102, "byte 0x%02X" % byte)
        if i < end and byte in _SPACE:
            end = i
    header = str(unit[:end], "ascii").upper()
    rest = unit[end:].strip(_SPACE)
    return header, split_line(rest, 0x2C, breathe) if rest else []


def short_form(word: str) -> str:
    """Short form of a keyword in SCPI notation: its capitals (`MEASure` -> `MEAS`)."""
    return "".join([c for c in word if not "a" <= c <= "z"])


class Headers:
    """Finds the number of a command in a list of headers, given in any mix of short and long forms.

    Notation: `SYSTem:ERRor[:NEXT]?`, capitals the short form, brackets a node that may be left out.
    """

    def __init__(self, notations: "list[str]") -> None:
        self._nodes: dict[str, str] = {}
        self._table: dict[str, int] = {}
        self._asked = "", ""
        self._found = 0, ""
        for number in range(len(notations)):
            self._add(notations[number], number)

    def _add(self, notation: str, number: int) -> None:
        query = "?" if notation.endswith("?") else ""
        paths = [""]
        for part in notation.rstrip("?").replace("[:", ":[").split(":"):
            word = part.strip("[]")
            short = short_form(word)
            self._nodes[short] = short
            self._nodes[word.upper()] = short
            longer = [path + ":" + short if path else short for path in paths]
            paths = paths + longer if part.startswith("[") else longer
        for path in paths:
            self._table[path + query] = number

    def find(self, header: str, branch: str) -> "tuple[int, str]":
        """The number of a header and the branch that a following unit continues from.

        `branch`: short path such as "SYST" left by the unit before, "" at the start of a line. Raises -113, -114.
        """
        if self._asked[0] == header and self._asked[1] == branch and header:
            return self._found
        query = header.endswith("?")
        bare = header[:-1] if query else header
        asked_from = branch
        if bare.startswith("*"):
            path = bare
        else:
            if bare.startswith(":"):
                bare = bare[1:]
                branch = ""
            path = branch
            for word in bare.split(":"):
                path = path + ":" + self._node(word, header) if path else self._node(word, header)
        number = self._table.get(path + "?" if query else path)
        if number is None:
            raise ScpiError(-113, header)
        self._asked = header, asked_from
        self._found = number, branch if bare.startswith("*") else path[: path.rfind(":")] if ":" in path else ""
        return self._found

    def _node(self, word: str, header: str) -> str:
        short = self._nodes.get(word)
        if short is None:
            if self._nodes.get(word.rstrip(_DIGITS)) is not None:
                raise ScpiError(-114, header)
            raise ScpiError(-113, header)
        return short


def integer(raw: bytes) -> int:
    """A whole number: decimal (a fraction is rounded), or #H #Q #B.

    Raises -104, -161 for a block, -222 for one that is larger than any parameter: what computes with it need not
    fear a number that does not fit a machine word.
    """
    number = _number(raw)
    if not -NUMBER_MOST <= number <= NUMBER_MOST:
        raise ScpiError(-222, str(raw[:20], "ascii"))
    return number


def _number(raw: bytes) -> int:
    if raw.isdigit() and len(raw) <= 20:
        return int(raw)
    text = str(raw, "ascii")
    if text.startswith("#"):
        if len(text) > _DIGITS_MOST:
            raise ScpiError(-104, text[:20])
        base = {"H": 16, "Q": 8, "B": 2}.get(text[1:2].upper())
        if base is None:
            raise ScpiError(-161 if text[1:2] and text[1:2] in _DIGITS else -104, text[:20])
        digits = text[2:]
        for c in digits:
            if c not in "0123456789abcdefABCDEF":
                raise ScpiError(-104, text[:20])
        try:
            return int(digits, base)
        except ValueError:
            raise ScpiError(-104, text[:20]) from None
    if not text or len(text) > 20:
        raise ScpiError(-104, text[:20])
    for c in text:
        if c not in "0123456789+-.eE":
            raise ScpiError(-104, text[:20])
    digits = text[1:] if text[0] in "+-" else text
    if digits and all([c in _DIGITS for c in digits]):
        return int(text)
    try:
        number = float(text)
    except ValueError:
        raise ScpiError(-104, text[:20]) from None
    if not -5e9 < number < 5e9:
        raise ScpiError(-222, text[:20])
    return int(number + 0.5) if number >= 0 else -int(0.5 - number)


def text(raw: bytes) -> str:
    """A quoted string. Raises -104 when it is none."""
    if len(raw) < 2 or raw[0] != raw[-1] or raw[0] not in b"\"'":
        raise ScpiError(-104, str(raw[:20], "ascii"))
    return str(raw[1:-1], "ascii")


def channel_list(raw: bytes, breathe: "Callable[[], None]" = nothing) -> "list[int]":
    """`(@1:3,7)` -> [1, 2, 3, 7] (SCPI-99 8.3.2, one dimension). Raises -171, or -222 beyond 256 entries."""
    source = str(raw, "ascii")
    if not (source.startswith("(") and source.endswith(")")):
        raise ScpiError(-104, source[:20])
    inner = source[1:-1].strip()
    if not inner.startswith("@"):
        raise ScpiError(-171, source[:20])
    channels: list[int] = []
    for part in inner[1:].split(","):
        breathe()
        ends = part.split(":")
        if len(ends) > 2:
            raise ScpiError(-171, part[:20])
        first = _channel(ends[0])
        last = _channel(ends[-1])
        step = 1 if last >= first else -1
        if len(channels) + (last - first) * step + 1 > CHANNELS_MAX:
            raise ScpiError(-222, "more than 256 channels")
        channels.extend(range(first, last + step, step))
    return channels


def _channel(part: str) -> int:
    part = part.strip()
    if not part or len(part) > 5 or not all([c in _DIGITS for c in part]):
        raise ScpiError(-171, part[:20])
    return int(part)
