"""HAL over a byte link: the firmware under MicroPython's Unix port, the chips in another process.

Start: `micropython -X heapsize=192k -m hwspec.firmware.hal_link`; requests go out on standard output, replies come in
on standard input. A request is 0xA5, op, u16 length, payload; each gets one reply: 0x5A, status, u16 length, payload.
Status 1 is a fault in the chips: its text goes to standard error and the firmware stops. Status 2: I2C not answered.
"""

import sys

_HEAD = 4
_MOST = 4400


class Link:
    """Forwards every call. Calls of the scan loop allocate nothing."""

    def __init__(self, root: str = "") -> None:
        self.root = root
        self._in = open(0, "rb")  # noqa: SIM115
        self._out = open(1, "wb")  # noqa: SIM115
        self._buffer = bytearray(_MOST)
        self._view = memoryview(self._buffer)
        self._tail = self._view[_HEAD:]
        self._put(0x10, 0)
        self.cards = self._buffer[_HEAD]
        self.build = "starter" if self._buffer[_HEAD + 1] else "full"
        self.pins = self._buffer[_HEAD + 2]

    def _put(self, op: int, n: int) -> int:
        """Send the payload that stands in the buffer; the length of the reply, which then stands there."""
        buffer = self._buffer
        buffer[0] = 0xA5
        buffer[1] = op
        buffer[2] = n & 255
        buffer[3] = n >> 8
        self._out.write(buffer, 0, _HEAD + n)  # type: ignore[call-arg]
        self._get(0, _HEAD)
        if buffer[0] != 0x5A:
            raise SystemExit("link: no reply frame")
        status = buffer[1]
        n = buffer[2] | buffer[3] << 8
        if n:
            self._get(_HEAD, n)
        if status == 1:
            print(bytes(self._view[_HEAD : _HEAD + n]), file=sys.stderr)
            sys.exit(1)
        if status == 2:
            raise OSError(5)
        return n

    def _get(self, at: int, n: int) -> None:
        """Exactly n bytes into the buffer at `at`; a pipe may deliver them in parts."""
        first = self._in.readinto(self._view if at == 0 else self._tail, n)  # type: ignore[call-arg]
        while first < n:
            if not first:
                sys.exit(0)
            more = self._in.readinto(self._view[at + first : at + n])
            if not more:
                sys.exit(0)
            first += more

    def spi(self, cs: int, out: bytearray, inp: "bytearray | None") -> None:
        """See Hal."""
        buffer = self._buffer
        n = len(out)
        buffer[_HEAD] = cs
        for i in range(n):
            buffer[_HEAD + 1 + i] = out[i]
        if inp is None:
            self._put(0x01, n + 1)
            return
        self._put(0x02, n + 1)
        for i in range(n):
            inp[i] = buffer[_HEAD + i]

    def _send(self, op: int, data: "bytes | bytearray | memoryview") -> int:
        n = len(data)
        self._buffer[_HEAD : _HEAD + n] = data
        return self._put(op, n)

    def _byte(self, op: int, value: int) -> None:
        self._buffer[_HEAD] = value
        self._put(op, 1)

    def _u32(self) -> int:
        b = self._buffer
        return b[_HEAD] | b[_HEAD + 1] << 8 | b[_HEAD + 2] << 16 | b[_HEAD + 3] << 24

    def _put_u32(self, at: int, value: int) -> None:
        for i in range(4):
            self._buffer[at + i] = value >> (8 * i) & 255

    def mux(self, out: bytearray) -> None:
        """See Hal."""
        self._send(0x03, out)

    def i2c_write(self, addr: int, data: bytearray) -> None:
        """See Hal."""
        self._buffer[_HEAD] = addr
        self._buffer[_HEAD + 1 : _HEAD + 1 + len(data)] = data
        self._put(0x04, 1 + len(data))

    def i2c_read(self, addr: int, buf: bytearray) -> None:
        """See Hal."""
        self._buffer[_HEAD] = addr
        self._buffer[_HEAD + 1] = len(buf)
        self._put(0x05, 2)
        for i in range(len(buf)):
            buf[i] = self._buffer[_HEAD + i]

    def arm(self, level: int) -> None:
        """See Hal."""
        self._byte(0x06, level)

    def rail(self, state: int) -> None:
        """See Hal."""
        self._byte(0x07, state)

    def reference(self, state: int) -> None:
        """See Hal."""
        self._byte(0x11, state)

    def gpio_set(self, oe: int, out: int) -> None:
        """See Hal."""
        self._put_u32(_HEAD, oe)
        self._put_u32(_HEAD + 4, out)
        self._put(0x12, 8)

    def gpio_get(self) -> int:
        """See Hal."""
        self._put(0x13, 0)
        return self._u32()

    def ticks_us(self) -> int:
        """See Hal."""
        self._put(0x08, 0)
        return self._u32()

    def ticks_diff(self, later: int, earlier: int) -> int:
        """See Hal."""
        return ((later - earlier + 0x20000000) & 0x3FFFFFFF) - 0x20000000

    def wait_us(self, us: int) -> None:
        """See Hal."""
        self._put_u32(_HEAD, us)
        self._put(0x09, 4)

    def serial_read(self, buf: bytearray) -> int:
        """See Hal."""
        most = len(buf)
        self._buffer[_HEAD] = most & 255
        self._buffer[_HEAD + 1] = most >> 8
        n = self._put(0x0A, 2)
        for i in range(n):
            buf[i] = self._buffer[_HEAD + i]
        return n

    def serial_write(self, data: "bytes | bytearray | memoryview") -> None:
        """See Hal."""
        self._send(0x0B, data)

    def idle(self) -> None:
        """See Hal."""
        self._put(0x0C, 0)

    def restart(self) -> None:
        """See Hal: the other side starts a new process."""
        self._put(0x14, 0)
        sys.exit(0)

    def unique_id(self) -> bytes:
        """See Hal."""
        n = self._put(0x0D, 0)
        return bytes(self._tail[:n])

    def store_read(self, name: str) -> "bytes | None":
        """See Hal."""
        n = self._send(0x0E, name.encode())
        return bytes(self._tail[1:n]) if self._buffer[_HEAD] else None

    def store_write(self, name: str, data: "bytes | bytearray") -> None:
        """See Hal."""
        self._send(0x0F, bytes((len(name),)) + name.encode() + data)


def main(root: str = "") -> None:
    """Run the firmware on the link until standard input ends. `root`: folder of the firmware slots."""
    from .app import App

    App(Link(root)).run()


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "")
